"""The scripts laid out as their pages have them, and what the type checker and the linter say of them.

Run from the repository: `python -m js.checked` with `tests` on the path (`PYTHONPATH=.:tests`), after `npm ci` in tests/js.
"""

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from js.node_runs import HERE, node

import trunkwatch
from trunkwatch.maps.scripts import joined
from trunkwatch.sheets.field_page import SCRIPTS, SHARED, script_of

PACKAGE = Path(trunkwatch.__file__).parent
TOOLS = HERE / "node_modules"
TSC, ESLINT = TOOLS / "typescript" / "bin" / "tsc", TOOLS / "eslint" / "bin" / "eslint.js"
_EXPORTED = re.compile(r"^export (?:async function|function|const|let|class) (\w+)", re.MULTILINE)
_PLACE = re.compile(r"^phone\.js:(\d+):")


def why_not() -> str:
    """Return why nothing can be checked here; nothing where it can."""
    if node()[0] is None:
        return node()[1]
    return (
        "" if TSC.is_file() and ESLINT.is_file() else "no type checker and linter for scripts: run npm ci in tests/js"
    )


def lay_out(folder: Path) -> None:
    """Write the modules of desk and map as the desk serves them, and the phone's script as it stands in its page."""
    desk = folder / "desk"
    shutil.copytree(
        PACKAGE / "web" / "static", desk, ignore=lambda _, names: [one for one in names if one.endswith(".css")]
    )
    shutil.copytree(PACKAGE / "static" / "shared", desk / "shared")
    shutil.copy(PACKAGE / "static" / "block_map.js", desk)
    shutil.copy(PACKAGE / "static" / "field" / "worker.js", folder)
    for file in ("tsconfig.json", "pages.d.ts"):
        shutil.copy(HERE / file, folder)
    (folder / "phone.js").write_text(joined(*SHARED, *(f"field/{name}" for name in SCRIPTS)))


def types_said(folder: Path) -> list[str]:
    """Return what the type checker finds, a line each: file:line: what."""
    out = _run(folder, TSC, "-p", ".")
    return [_at_home(re.sub(r"^(\S+)\((\d+),\d+\)", r"\1:\2", line)) for line in out.splitlines() if line[:1] != " "]


def lint_said(folder: Path) -> list[str]:
    """Return what the linter finds, a line each: file:line: what."""
    # The phone's script uses what it needs of the shared modules, which are looked through as modules.
    shared = "".join((PACKAGE / "static" / name).read_text() for name in SHARED)
    parts = "\n".join(script_of(name) for name in SCRIPTS)
    whole = (folder / "phone.js").read_text()
    lines = whole[: whole.index(parts)].count("\n") if parts in whole else 0
    used = [name for name in _EXPORTED.findall(shared) if re.search(rf"\b{name}\(", parts)]
    head = f'"use strict"; /* global {", ".join(used)} */'
    linted = folder / "linted"
    shutil.copytree(folder, linted, ignore=lambda _, names: [one for one in names if one == "linted"])
    (linted / "phone.js").write_text(head + "\n" * lines + parts)
    found, file = [], ""
    for line in _run(linted, ESLINT, "-c", HERE / "eslint.config.js", "desk", "phone.js", "worker.js").splitlines():
        if line.startswith("/"):
            file = str(Path(line).relative_to(linted.resolve()))
        elif told := re.match(r"\s+(\d+):\d+\s+error\s+(.*\S)", line):
            found.append(_at_home(f"{file}:{told[1]}: {re.sub(r' {2,}', ' ', told[2])}"))
        elif not file and line.strip():
            found.append(line)
    return found


def _run(folder: Path, tool: Path, *words: object) -> str:
    program, why = node()
    if program is None:
        raise RuntimeError(why)
    done = subprocess.run(
        [program, str(tool), *map(str, words)], cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )
    if done.returncode and not done.stdout.strip():
        raise RuntimeError(f"{tool.name} did not run: {done.stderr}")
    return done.stdout


def _at_home(line: str) -> str:
    """Name the part of the phone's script that a line of it stands in."""
    told = _PLACE.match(line)
    if not told:
        return line
    whole, number = joined(*SHARED, *(f"field/{name}" for name in SCRIPTS)), int(told[1])
    for name in reversed(SCRIPTS):
        before = whole[: whole.index(script_of(name))].count("\n")
        if number > before:
            return f"field/{name}:{number - before}:{line[told.end() :]}"
    return line


def main() -> int:
    """Print all that both say, and end with how many lines that is."""
    if why_not():
        print(why_not())
        return 1
    with tempfile.TemporaryDirectory() as folder:
        lay_out(Path(folder))
        found = [*types_said(Path(folder)), *lint_said(Path(folder))]
    print("\n".join(found) or "Nothing is wrong.")
    return len(found)


if __name__ == "__main__":
    sys.exit(main())
