"""The repository tests itself: modules, commands, docs, samples."""

import ast
import re
from pathlib import Path

import pytest

from trunkwatch.cli import COMMANDS

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "trunkwatch"
MODULES = sorted(PACKAGE.rglob("[a-z]*.py"))
FILES = sorted((ROOT / "tests").rglob("test_*.py"))
TESTS = "\n".join(path.read_text() for path in FILES)
DOCSTRINGS = [ast.get_docstring(ast.parse(path.read_text())) or "" for path in FILES]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_every_module_is_named_in_a_test(path):
    dotted = ".".join(("trunkwatch", *path.relative_to(PACKAGE).with_suffix("").parts))
    room = ".".join(dotted.split(".")[:-1])
    told = [text for text in DOCSTRINGS if re.search(rf"\b{re.escape(room)}\b", text)]
    taken = re.search(rf"from {re.escape(room)} import [^\n]*\b{path.stem}\b", TESTS)
    named = dotted in TESTS or taken or any(re.search(rf"\b{path.stem}\b", text) for text in told)
    assert named or dotted.startswith("trunkwatch.cli."), f"no test names {dotted}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_are_short_and_say_what_they_are(path):
    text = path.read_text()
    assert len(text.splitlines()) <= 600
    assert ast.get_docstring(ast.parse(text))


def test_every_command_stands_in_the_readme():
    readme = (ROOT / "README.md").read_text()
    assert [verb for verb in COMMANDS if f"trunkwatch {verb}" not in readme] == []


def test_exported_names_are_there():
    import importlib

    for path in MODULES:
        module = importlib.import_module(".".join(("trunkwatch", *path.relative_to(PACKAGE).with_suffix("").parts)))
        for name in getattr(module, "__all__", ()):
            assert hasattr(module, name), f"{module.__name__} has no {name}"


def test_nothing_reaches_for_the_network():
    reports = sorted((ROOT / "reports").glob("*.html"))
    assert len(reports) >= 8
    for path in reports:
        assert not re.search(r"<(script|link|img|iframe)[^>]*(src|href)=", path.read_text()), path.name


def _pinned() -> bool:
    from importlib.metadata import version

    pins = dict(line.split("==") for line in (ROOT / "constraints.txt").read_text().lower().split() if "==" in line)
    return all(
        version(name) == pins[name] for name in ("numpy", "scipy", "pandas", "folium", "branca", "jinja2", "pyproj")
    )


def test_committed_reports_are_made_again(tmp_path):
    """Under the pinned versions the same bytes; elsewhere the same numbers and words."""
    from click.testing import CliRunner

    from trunkwatch.cli import main

    done = CliRunner().invoke(main, ["report", str(ROOT / "sample_blocks"), "--all-blocks", str(tmp_path)])
    assert done.exit_code == 0, done.output
    made = {path.name: path.read_text() for path in tmp_path.glob("*.html")}
    kept = {path.name: path.read_text() for path in (ROOT / "reports").glob("*.html")}
    assert set(made) == set(kept)
    for name in sorted(kept):
        if _pinned():
            assert made[name] == kept[name], f"{name} is stale: trunkwatch report sample_blocks --all-blocks reports"
        else:
            words = [re.sub(r"<[^>]+>|\b(numpy|scipy|trunkwatch) [\d.]+", " ", re.sub(r"<(script|svg|style).*?</\1>", "", page, flags=re.DOTALL)).split()
                     for page in (made[name], kept[name])]  # fmt: skip
            assert words[0] == words[1], name
