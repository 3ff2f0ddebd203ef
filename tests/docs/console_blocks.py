"""Console blocks of the pages: read, run, compared; `python tests/docs/console_blocks.py` writes what the commands print now.

A block is fenced as ```console; a line `$ trunkwatch ...` is run, the lines below it are what it prints. A line `...` stands for any number of lines.
"""

import contextlib
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from click.testing import CliRunner

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
_BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Command:
    """One command of a page and the lines that the page says it prints."""

    words: str
    prints: tuple[str, ...]


def pages_with_commands() -> list[Path]:
    """Return the pages that hold console blocks."""
    written = (
        path for path in sorted(DOCS.rglob("*.md")) if "generated" not in path.parts and "_build" not in path.parts
    )
    return [path for path in written if _BLOCK.search(path.read_text("utf-8"))]


def commands_of(text: str) -> list[Command]:
    """Return the commands of a page, in order."""
    found = []
    for block in _BLOCK.findall(text):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            lines = part.rstrip("\n").split("\n")
            taken = 1
            while lines[taken - 1].endswith("\\"):
                taken += 1
            words = " ".join(line.rstrip("\\").strip() for line in lines[:taken])
            found.append(Command(words, tuple(line.rstrip() for line in lines[taken:])))
    return found


@contextlib.contextmanager
def folder_of_a_reader() -> Iterator[Path]:
    """Yield a folder that holds the sample vineyard, as the pages take it."""
    with tempfile.TemporaryDirectory() as name, contextlib.chdir(name):
        shutil.copytree(ROOT / "sample_blocks", "sample_blocks")
        yield Path(name)


def run(words: str) -> tuple[int, list[str]]:
    """Run a command of ours; return its exit code and the lines that it prints."""
    from trunkwatch.cli import main

    program, *arguments = shlex.split(words)
    if program != "trunkwatch":
        raise ValueError(f"a console block runs {program!r}: only trunkwatch can be run here")
    done = CliRunner().invoke(main, arguments)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, [line.rstrip() for line in done.output.rstrip("\n").split("\n")]


def agrees(prints: tuple[str, ...], came: list[str]) -> bool:
    """Tell whether what came is what the page says, `...` standing for any lines."""
    pattern = "\n".join("(?:.*\n?)*?" if line == "..." else re.escape(line) for line in prints)
    pattern = pattern.replace("(?:.*\n?)*?\n", "(?:.*\n)*?")
    return re.fullmatch(pattern, "\n".join(came)) is not None


def _anew(command: Command, came: list[str]) -> list[str]:
    if "..." not in command.prints:
        return came
    return [*came[: command.prints.index("...")], "..."]


def write(page: Path) -> int:
    """Put what the commands of a page print now into it; return how many changed."""
    text, changed = page.read_text("utf-8"), 0
    with folder_of_a_reader():
        for command in commands_of(text):
            code, came = run(command.words)
            print(f"{page.name}: {command.words} -> {code}")
            if agrees(command.prints, came):
                continue
            changed += 1
            pattern = r"[ \\\n]+".join(map(re.escape, command.words.split()))
            before = re.compile(
                rf"(^\$ {pattern}\n)" + "".join(re.escape(line) + r"[ ]*\n" for line in command.prints), re.MULTILINE
            )
            after = "".join(f"{line}\n" for line in _anew(command, came))
            text, times = before.subn(lambda found, after=after: found[1] + after, text, count=1)
            if times != 1:
                raise ValueError(f"{page.name}: {command.words!r} is not found again")
    page.write_text(text, "utf-8")
    return changed


if __name__ == "__main__":
    for path in pages_with_commands() if len(sys.argv) == 1 else map(Path, sys.argv[1:]):
        print(f"{path}: {write(path.resolve())} written anew")
