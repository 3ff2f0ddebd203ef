"""Node, and how the tests of the scripts are run by it."""

import os
import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

HERE = Path(__file__).parent
FILES = sorted(HERE.glob("*.test.mjs"))
#: The first that groups a list by a key, as the tests do.
OLDEST = 21
_NAMED = re.compile(r'^(?:test|check)\("((?:[^"\\]|\\.)*)"', re.MULTILINE)
_TOLD = re.compile(r"^(not ok|ok) \d+ - (.*?)(?: # (?:SKIP (.*)|.*))?$")
#: How a test that was left out is told, before its reason.
LEFT_OUT = "left out: "


def _brought() -> str | None:
    """Return the node that the browser tests bring, if they are installed."""
    try:
        from playwright._impl._driver import compute_driver_executable
    except ImportError:
        return None
    node = compute_driver_executable()
    node = Path(node[0] if isinstance(node, tuple) else node)
    return str(node) if node.is_file() else None


@cache
def node() -> tuple[str | None, str]:
    """Return a node that runs the tests, or none and why."""
    for found in (_brought(), shutil.which("node")):
        if found is None:
            continue
        version = subprocess.run([found, "--version"], capture_output=True, text=True, check=True).stdout.strip()
        if int(version.lstrip("v").split(".")[0]) >= OLDEST:
            return found, ""
    return None, f"no node {OLDEST} or later: install playwright (extra test), or put node on the PATH"


def names_in(file: Path) -> list[str]:
    """Return the names of the tests that a file holds, in order."""
    return [name.replace('\\"', '"') for name in _NAMED.findall(file.read_text())]


def run(file: Path, made: Path, scripts: Path | None = None, *options: str) -> dict[str, str]:
    """Run the tests of a file: by name nothing where it passed, else what was said.

    Parameters
    ----------
    file : Path
        The test file.
    made : Path
        What `made_data.write_made` wrote.
    scripts : Path, optional
        A package folder with other scripts; the one beside the tests where left out.
    options : str
        For node.
    """
    more = {"TRUNKWATCH_SCRIPTS": str(scripts)} if scripts else {}
    program, why = node()
    if program is None:
        raise RuntimeError(why)
    done = subprocess.run(
        [program, "--test-reporter=tap", *options, str(file)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "TRUNKWATCH_MADE": str(made), **more},
        timeout=300,
    )
    found: dict[str, str] = {}
    last = ""
    for line in done.stdout.splitlines():
        if told := _TOLD.match(line):
            last = told[2].replace("\\#", "#")
            found[last] = f"{LEFT_OUT}{told[3]}" if told[3] else "" if told[1] == "ok" else "failed"
        elif last and found[last].startswith("failed"):
            found[last] += f"\n{line}"
    if not found:
        found[file.name] = f"nothing ran:\n{done.stdout}\n{done.stderr}"
    return found
