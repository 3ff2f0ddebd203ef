"""The repository tests itself: modules, commands, docs, samples."""

import ast
import re
from pathlib import Path

import pytest

from trunkwatch.cli import COMMANDS
from trunkwatch.vineyard.tables import TABLES

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


@pytest.mark.long
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
            words = [
                re.sub(
                    r"<[^>]+>|\b(numpy|scipy|trunkwatch) [\d.]+",
                    " ",
                    re.sub(r"<(script|svg|style).*?</\1>", "", page, flags=re.DOTALL),
                ).split()
                for page in (made[name], kept[name])
            ]
            assert words[0] == words[1], name


#: Rooms above the writing and the files: results carry values, and their sentences stand in words modules.
READING_ROOMS = ("block", "pattern", "peers", "decide", "surveys", "follow_up", "report", "sheets", "maps", "charts", "web", "cli",
                 "cold", "forecast", "renewal", "history", "programme")  # fmt: skip
READERS = [path for path in sorted(PACKAGE.rglob("*.py")) if path.relative_to(PACKAGE).parts[0] in READING_ROOMS]
#: What holds a sentence for people, as a name or an attribute.
SENTENCES = {"reason", "text", "sentence", "sentences", "words", "why", "message", "note", "notes", "problem", "expected",
             "caution", "cautions", "remark", "remarks"}  # fmt: skip
BEGINNINGS = {"startswith", "endswith", "removeprefix", "removesuffix"}
#: Places that ask how a text begins or what it holds, none of them a sentence for people: why each may.
TEXTS_ASKED = {
    ("cli/__init__.py", "args[0].startswith"): "an option as it is typed",
    ("cli/log_command.py", "args[0].startswith"): "an option as it is typed",
    ("cli/options.py", "typed.startswith"): "an address as it is typed",
    ("history/plants.py", "== line.reason"): "a code of the plants table",
    ("renewal/costs.py", "one.name.endswith"): "a file name",
    ("renewal/costs.py", "one.name.removesuffix"): "a file name",
    ("renewal/costs.py", "source.startswith"): "the mark that the examples carry in the file",
    ("renewal/measures.py", "text.startswith"): "a unit as it is typed",
    ("surveys/progress.py", "in self.last.note"): "the mark that finishes a survey is written into its note",
    ("web/app.py", "request.path.startswith"): "an address",
    ("web/once_more.py", "request.path.startswith"): "an address",
    ("web/imports.py", "folder.name.removeprefix"): "a file name",
    ("web/imports.py", "name.removeprefix"): "a field of the form",
    ("web/imports.py", "name.startswith"): "a field of the form",
}
RECORD_COLUMNS = {
    column.name for table in ("symptoms", "surveys", "work", "plants") for column in TABLES[table].columns
} - {"block", "vineyard"}  # they name the block, in pages and tables of all kinds
DICTIONARIES = {"records_of", "iterrows", "itertuples"}
#: Places that read a column by its name, none of them a record of what was seen or done: why each may.
COLUMNS_READ = {
    ("cli/card_command.py", "options['until']"): "what is typed",
    ("cli/load_command.py", "rest['look']"): "what is typed",
    ("cli/load_command.py", "rest['status']"): "what is typed",
    ("cli/load_command.py", "told['look']"): "what is typed",
    ("cli/load_command.py", "told['status']"): "what is typed",
    ("cli/new_command.py", "block['latitude']"): "what is typed",
    ("cold/days.py", "ordered['date']"): "weather",
    ("cold/margins.py", "records_of"): "lines of blocks",
    ("cold/noted.py", "record['covered']"): "what is noted of the winter",
    ("cold/noted.py", "record['date']"): "what is noted of the winter",
    ("cold/noted.py", "record['id']"): "what is noted of the winter",
    ("cold/noted.py", "records_of"): "what is noted of the winter",
    ("cold/of_store.py", "records_of"): "lines of blocks and rows",
    ("cli/programme_command.py", "entry['reason']"): "what is printed",
    ("cli/programme_command.py", "found['reason']"): "data of a whole block",
    ("cli/programme_command.py", "told['until']"): "what is typed",
    ("cli/programme_shown.py", "one['cultivar']"): "data of a whole block",
    ("cli/programme_shown.py", "one['planted']"): "data of a whole block",
    ("cli/programme_shown.py", "year['reason']"): "data of a whole block",
    ("programme/catalogue.py", "cells['until']"): "a line of the catalogue",
    ("pattern/on_record.py", "names['cultivar']"): "what vines are told apart by",
    ("pattern/on_record.py", "names['rootstock']"): "what vines are told apart by",
    ("pattern/winters.py", "coldest['date']"): "weather",
    ("pattern/winters.py", "days['date']"): "weather",
    ("pattern/winters.py", "frame['date']"): "weather",
    ("pattern/verdict.py", "corrected['row']"): "p-values by the name of the test",
    ("renewal/costs.py", "records_of"): "costs",
    ("report/bunched.py", "pattern.holm['row']"): "p-values by the name of the test",
    ("web/drawn.py", "data['position']"): "what is drawn",
    ("web/drawn.py", "data['row']"): "what is drawn",
    ("web/start.py", "records_of"): "lines of blocks",
    ("web/imports.py", "form['status']"): "a field of the form",
    ("web/writing.py", "record['recorded_at']"): "what is typed",
}


def _named(node):
    """Return the last name of an expression: that of an attribute, a variable, or what str() is made of."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "str" and node.args:
        return "text" if _named(node.args[0]) in ("error", *SENTENCES) else ""
    if isinstance(node, ast.Subscript):
        return _named(node.value)
    return getattr(node, "attr", getattr(node, "id", ""))


def texts_asked(source):
    """Return the places of a module that ask how a text begins, what it holds, or whether it is a sentence."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute) and node.attr in BEGINNINGS:
            found.append(ast.unparse(node))
        if isinstance(node, ast.Compare):
            parts = [node.left, *node.comparators]
            for before, asked, after in zip(parts, node.ops, parts[1:], strict=False):
                if isinstance(asked, ast.In | ast.NotIn) and _named(after) in SENTENCES:
                    found.append(f"in {ast.unparse(after)}")
                if isinstance(asked, ast.Eq | ast.NotEq):
                    sides = [(before, after), (after, before)]
                    found += [
                        f"== {ast.unparse(one)}"
                        for one, other in sides
                        if _named(one) in SENTENCES and isinstance(other, ast.Constant) and other.value
                    ]
    return found


def columns_read(source):
    """Return the places of a module that take records as dictionaries or a column of theirs by its name."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom):
            found += [one.name for one in node.names if one.name == "records_of"]
        if isinstance(node, ast.Attribute) and node.attr in DICTIONARIES:
            found.append(node.attr)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "to_dict":
            found.append("to_dict")
        if (
            isinstance(node, ast.Subscript)
            and isinstance(node.slice, ast.Constant)
            and node.slice.value in RECORD_COLUMNS
        ):
            found.append(ast.unparse(node))
    return found


def test_no_code_asks_how_a_sentence_begins_or_what_it_holds():
    found = {(str(path.relative_to(PACKAGE)), asked) for path in READERS for asked in texts_asked(path.read_text())}
    assert found - set(TEXTS_ASKED) == set()
    assert set(TEXTS_ASKED) - found == set()  # an exception that is gone is struck off


@pytest.mark.parametrize(
    "planted",
    [
        "if found.words[0].startswith(CLUSTERED): pass",
        'told = [one for one in sentences if one.startswith("By observer")]',
        'way = first.removeprefix("clustered ")',
        'dot = caution.endswith(".")',
        'if "no survey" in str(error): pass',
        'if "not in ISO form" in fault.problem: pass',
        'if "gradient or edge" not in words: pass',
        'if primary.reason == "every vine is a case": pass',
        'few = facts.pattern.words[0] == "too few to say"',
    ],
)  # fmt: skip
def test_a_planted_question_to_a_sentence_is_found(planted):
    assert len(texts_asked(planted)) == 1


def test_what_is_no_sentence_may_be_asked():
    assert texts_asked("if finding.word is Word.STEP or word in wanted or found.reason == '': pass") == []


def test_templates_ask_no_sentence_either():
    for path in sorted(PACKAGE.rglob("*.html")):
        asked = re.findall(
            rf"\.(?:{'|'.join(BEGINNINGS)})\(|(?:{'|'.join(SENTENCES)})(?:\[\d+\])? *[!=]= *[\"']", path.read_text()
        )
        assert asked == [], f"{path.name} asks {asked}"


def test_above_history_no_record_is_read_as_a_dictionary():
    readers = [path for path in READERS if path.relative_to(PACKAGE).parts[0] != "history"]
    found = {(str(path.relative_to(PACKAGE)), read) for path in readers for read in columns_read(path.read_text())}
    assert found - set(COLUMNS_READ) == set()
    assert set(COLUMNS_READ) - found == set()


@pytest.mark.parametrize(
    "planted",
    [
        "from trunkwatch.vineyard.tables import number_in, records_of",
        'lines = frame.to_dict("records")',
        "for _, line in frame.iterrows(): pass",
        "for line in frame.itertuples(index=False): pass",
        'code = line["symptom"]',
        'day = work.records[0]["date"]',
    ],
)  # fmt: skip
def test_a_planted_record_read_as_a_dictionary_is_found(planted):
    assert len(columns_read(planted)) == 1


def test_what_is_installed_with_checksums_is_what_is_needed():
    """Every requirement has an upper bound, and one version with its checksums in locked.txt within its bounds."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    locked = dict(
        re.findall(
            r"^([a-z0-9-]+)==([^ ]+) \\\n    --hash=sha256:", (ROOT / "locked.txt").read_text(), flags=re.MULTILINE
        )
    )
    wanted = [*project["project"]["dependencies"], *project["build-system"]["requires"]]
    for requirement in wanted:
        name, low, high = re.fullmatch(r"([a-z0-9-]+)(?:>=([0-9.]+),<([0-9]+))?", requirement).groups()
        version = [int(part) for part in re.findall(r"\d+", locked[name])]
        assert low or requirement == "hatchling", requirement
        if low:
            assert [int(part) for part in low.split(".")] <= version < [int(high)], (requirement, locked[name])
    assert "://" not in (ROOT / "locked.txt").read_text()
