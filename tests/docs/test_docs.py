"""docs: pages, examples and the site; trunkwatch.stats: every public name is explained, typed, and has an example that runs.

What pages say that commands print is held against what they print; `python tests/docs/console_blocks.py` writes it anew.
"""

import ast
import doctest
import importlib
import importlib.util
import inspect
import re
import runpy
import shutil
import subprocess
import sys
import warnings
from dataclasses import fields, is_dataclass
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlparse

import pytest

from trunkwatch import stats
from trunkwatch.library import draw, maps_in, vineyard
from trunkwatch.vineyard.glossary import TERMS

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"


def by_path(path):
    """Load a module that lies in no package."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    return module


console_blocks = by_path(Path(__file__).parent / "console_blocks.py")
PAGES = [path for path in DOCS.rglob("*") if path.suffix in (".md", ".rst") and not {"generated", "examples", "_build"} & set(path.relative_to(DOCS).parts)]  # fmt: skip
GALLERY = sorted((DOCS / "gallery").glob("*.py"))

# ---------------------------------------------------------------- what pages say that commands print


@pytest.mark.long
@pytest.mark.parametrize("page", console_blocks.pages_with_commands(), ids=lambda path: path.stem)
def test_commands_print_what_the_page_says(page):
    commands = console_blocks.commands_of(page.read_text("utf-8"))
    assert len(commands) > 2
    with console_blocks.folder_of_a_reader():
        for command in commands:
            code, came = console_blocks.run(command.words)
            assert code == 0, f"{command.words}: {came}"
            assert console_blocks.agrees(command.prints, came), f"{command.words} prints\n" + "\n".join(came[:30])


PYTHON = [path for path in (DOCS / "how_to").glob("*.md") if "```python" in path.read_text("utf-8")]


@pytest.mark.parametrize("page", PYTHON, ids=lambda path: path.stem)
def test_python_on_a_page_runs_from_top_to_bottom(page, tmp_path, monkeypatch, capsys):
    blocks = re.findall(r"^```python\n(.*?)^```", page.read_text("utf-8"), re.MULTILINE | re.DOTALL)
    (tmp_path / "sample_blocks").symlink_to(ROOT / "sample_blocks")
    monkeypatch.chdir(tmp_path)
    held = {}
    for block in blocks:
        exec(compile(block, page.name, "exec"), held)  # noqa: S102 - our own words
    printed = capsys.readouterr().out
    for promised in re.findall(r"^print\(.*\)  # (.*)$", "\n".join(blocks), re.MULTILINE):
        assert promised in printed
    for name in re.findall(r'save\("(\w+\.svg)"\)', "\n".join(blocks)):
        assert (tmp_path / name).read_text("utf-8").startswith("<svg")


def test_a_page_for_researchers_has_python():
    assert "researcher" in {path.stem for path in PYTHON}


def test_a_line_that_is_not_printed_is_found():
    agrees = console_blocks.agrees
    assert agrees(("one", "..."), ["one", "two", "three"])
    assert agrees(("one", "...", "three"), ["one", "two", "three"])
    assert agrees(("one",), ["one"])
    assert not agrees(("one",), ["one", "two"])
    assert not agrees(("two", "..."), ["one", "two"])
    assert not agrees(("one", "...", "four"), ["one", "two", "three"])


def test_growers_scouts_educators_and_researchers_have_a_page():
    found = {path.stem for path in console_blocks.pages_with_commands()}
    assert {"start", "grower", "scout", "educator", "researcher"} <= found


# ---------------------------------------------------------------- examples of the gallery

#: A line that each example prints, or a part of one.
PRINTS = {
    "a_map_of_your_own": "12 case-case joins, 5.1 expected, p = 0.0011",
    "b_a_block_over_ten_years": "29 case-case joins, 5.5 expected",
    "c_near_is_not_spread": "Orchard, all seasons: 199 joins of new with old, 38.1 expected; spread: against",
    "d_hot_spots_and_lags": "largest z 6.73 over all lags, p = 0.002",
    "e_points_without_rows": "2 case-case joins, 9.5 expected, p = 0.0114",
    "f_a_graph_of_areas": "54 joins, 27.69388 expected, variance 18.21936, z 6.1630; esda: 54 joins",
    "g_counts_of_groups": "1974: likelihood ratio 36.6, p = 7.1e-10",
    "h_how_long_do_they_last": "lifelines: chi-square 122.25, p = 2.04e-28",
}


@pytest.mark.parametrize("path", GALLERY, ids=lambda path: path.stem)
def test_examples_run_and_print_what_they_should(path, capsys, monkeypatch):
    monkeypatch.chdir(path.parent)
    monkeypatch.setenv("MPLBACKEND", "agg")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # those of the libraries beside ours
        import matplotlib.pyplot as plt

        runpy.run_path(str(path))
        plt.close("all")
    assert PRINTS[path.stem] in capsys.readouterr().out


def test_the_two_libraries_say_the_same_of_survival(capsys, monkeypatch):
    path = DOCS / "gallery" / "h_how_long_do_they_last.py"
    monkeypatch.setenv("MPLBACKEND", "agg")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        runpy.run_path(str(path))
    ours, theirs = capsys.readouterr().out.strip().split("\n")
    assert theirs == f"lifelines: {ours}"


# ---------------------------------------------------------------- the same numbers as other libraries

beside_others = by_path(ROOT / "tests" / "bench" / "beside_others.py")


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_esda_counts_the_same_joins(seed):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = beside_others.same_joins(12, 20, seed, permutations=199)
        apart, most = beside_others.same_local(12, 20, seed, permutations=999)
    for what in ("case-case", "mixed", "free-free"):
        assert found[what][0] == found[what][1] > 0
    assert found["mean by chance"][1] == pytest.approx(found["mean by chance"][0], rel=0.15)
    assert found["p"][1] == pytest.approx(found["p"][0], abs=0.1)
    assert apart == 0
    assert most < 0.07


def test_pointpats_measures_the_same_distances():
    pytest.importorskip("pointpats", reason="pointpats is of the docs extra")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        ours, theirs = beside_others.same_distances(12, 20, 1)
    assert ours == pytest.approx(theirs, rel=1e-9)


def test_the_page_has_the_tables_of_the_script():
    tables = (ROOT / "tests" / "bench" / "beside_others.md").read_text("utf-8")
    assert "| case-case | 89 | 89 |" in tables
    assert "{include} ../tests/bench/beside_others.md" in (DOCS / "comparison.md").read_text("utf-8")


# ---------------------------------------------------------------- every public statistic

FUNCTIONS = [name for name in stats.__all__ if inspect.isfunction(getattr(stats, name))]
RESULTS = [name for name in stats.__all__ if is_dataclass(getattr(stats, name))]
#: Sums of figures that nothing is refused of.
REFUSE_NOTHING = {
    "random_labelling",
    "free_sampling",
    "segregation",
    "log_likelihood_ratio",
    "poisson_line",
    "observer_drift",
}
SECTION = re.compile(r"^([A-Z]\w+)\n-{3,}\n(.*?)(?=^[A-Z]\w+\n-{3,}\n|\Z)", re.MULTILINE | re.DOTALL)


def sections(thing):
    return dict(SECTION.findall(inspect.getdoc(thing)))


def names_in(section):
    """Names before a colon, or alone on a line, of a numpydoc section."""
    lines = (line.split(" : ")[0] for line in section.split("\n") if line and not line.startswith(" "))
    return {name.strip() for line in lines for name in line.split(",")}


def test_all_public_names_are_functions_or_results():
    assert len(FUNCTIONS) + len(RESULTS) == len(stats.__all__)
    assert len(FUNCTIONS) > 50 < len(RESULTS) + 10


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_says_what_it_takes_returns_and_refuses(name):
    function = getattr(stats, name)
    found = sections(function)
    assert set(inspect.signature(function).parameters) == names_in(found["Parameters"])
    assert found["Returns"].strip()
    assert ("Raises" in found) == (name not in REFUSE_NOTHING)
    if "Raises" in found:
        assert found["Raises"].startswith("ValueError\n    ")
    for line in found["Parameters"].split("\n"):
        if re.search(r" : .*\barray", line):
            assert "(" in line, f"{line}: no shape"
    for kind in ("spacing", "radius"):
        if any(kind in parameter for parameter in inspect.signature(function).parameters):
            assert "eters" in found["Parameters"], f"{name}: no unit of {kind}"


@pytest.mark.parametrize("name", RESULTS)
def test_a_result_says_what_each_figure_is(name):
    result = getattr(stats, name)
    missing = {field.name for field in fields(result)} - names_in(sections(result)["Attributes"])
    assert missing == set()


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_example_of_a_function_runs(name):
    function = getattr(stats, name)
    assert name in sections(function)["Examples"]
    (example,) = (one for one in doctest.DocTestFinder(recurse=False).find(function, name, globs={}))
    runner = doctest.DocTestRunner(verbose=False)
    lines = []
    runner.run(example, out=lines.append)
    assert runner.tries > 1
    assert runner.failures == 0, "".join(lines)


def annotations(tree, *, public):
    """Yield (place, annotation or None) of every argument, return and attribute that can be reached from outside."""
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and node.name in public:
            for inner in node.body:
                if isinstance(inner, ast.AnnAssign) and not inner.target.id.startswith("_"):
                    yield f"{node.name}.{inner.target.id}", inner.annotation
            yield from ((f"{node.name}.{place}", kind) for place, kind in _functions(node.body))
        elif isinstance(node, ast.FunctionDef) and node.name in public:
            yield from _functions([node])


def _functions(body):
    for node in body:
        if isinstance(node, ast.FunctionDef) and (not node.name.startswith("_") or node.name == "__init__"):
            taken = node.args
            for one in [*taken.posonlyargs, *taken.args, *taken.kwonlyargs, taken.vararg, taken.kwarg]:
                if one is not None and one.arg not in ("self", "cls"):
                    yield f"{node.name}({one.arg})", one.annotation
            yield f"{node.name} returns", node.returns


OPEN_MODULES = [
    *(f"trunkwatch.stats.{module}" for module in sorted({getattr(stats, name).__module__.rsplit(".", 1)[1] for name in stats.__all__})),
    "trunkwatch.stats.result", "trunkwatch.library.vineyard", "trunkwatch.library.maps_in", "trunkwatch.library.draw",
]  # fmt: skip


@pytest.mark.parametrize("name", OPEN_MODULES)
def test_no_public_type_is_missing_or_anything_at_all(name):
    module = importlib.import_module(name)
    tree = ast.parse(inspect.getsource(module))
    found = list(annotations(tree, public=set(module.__all__)))
    assert found
    for place, annotation in found:
        assert annotation is not None, f"{name}: {place} has no type"
        assert not re.search(r"\bAny\b", ast.unparse(annotation)), f"{name}: {place} may be anything"


def test_a_planted_hole_in_the_types_is_found():
    tree = ast.parse("def f(a: int, b) -> dict[str, Any]: ...\nclass C:\n    x: Any\n    def g(self): ...")
    found = {
        place: annotation and ast.unparse(annotation) for place, annotation in annotations(tree, public={"f", "C"})
    }
    assert found == {"f(a)": "int", "f(b)": None, "f returns": "dict[str, Any]", "C.x": "Any", "C.g returns": None}


def test_examples_of_the_library_run():
    for module in (maps_in, vineyard, draw):
        done = doctest.testmod(module)
        assert done.failed == 0, module.__name__


# ---------------------------------------------------------------- pages


def test_every_public_statistic_stands_in_the_reference_once():
    text = "\n".join(path.read_text("utf-8") for path in (DOCS / "reference").glob("*.rst"))
    listed = re.findall(r"^\.\. auto(?:function|class):: trunkwatch\.stats\.(\w+)$", text, re.MULTILINE)
    assert sorted(listed) == sorted(stats.__all__)


def test_every_source_of_a_docstring_is_in_the_bibliography():
    entries = re.findall(
        r"^@\w+\{(\w+?)(\d{4})?[a-z]?,(.*)\}$", (DOCS / "references.bib").read_text("utf-8"), re.MULTILINE
    )
    known = {}
    for name, year, text in entries:
        known.setdefault((name.lower(), year), []).append(text)
    cited = 0
    for path in sorted((ROOT / "trunkwatch" / "stats").glob("*.py")):
        for author, year, rest in re.findall(
            r"^ *\.\. \[\d+\] ([\w. -]+?),.*?\((\d{4})\)((?:.|\n)*?)(?=\n *\.\. \[|\n\n|\n *\"\"\")",
            path.read_text("utf-8"),
            re.MULTILINE,
        ):
            key = (author.split()[-1].lower(), year)
            assert key in known, f"{path.name}: {author} ({year}) is not in references.bib"
            if "from memory" in rest:
                assert any("memory" in text for text in known[key]), (
                    f"{path.name}: {author} ({year}) is from memory, and references.bib does not say so"
                )
            cited += 1
    assert cited > 35


def test_pages_say_one_word_a_thing():
    found = []
    for path in [*PAGES, *GALLERY]:
        text = re.sub(
            r"^```.*?^```|`[^`]*`|\{[a-z:]+\}|\]\([^)]*\)|^[>|].*$",
            " ",
            path.read_text("utf-8"),
            flags=re.MULTILINE | re.DOTALL,
        )
        for term in TERMS:
            found += [
                f"{path.name}: {seen.group()!r}: say {term.says!r}"
                for pattern in term.never
                for seen in re.finditer(pattern, text)
            ]
    assert found == []


def test_the_citation_names_this_version():
    import trunkwatch

    assert f"version: {trunkwatch.__version__}" in (ROOT / "CITATION.cff").read_text("utf-8")
    assert f"version = {{{trunkwatch.__version__}}}" in (DOCS / "cite.md").read_text("utf-8")


# ---------------------------------------------------------------- the site


class Links(HTMLParser):
    """What a page links to, fetches, and can be jumped to."""

    def __init__(self) -> None:
        super().__init__()
        self.links, self.fetched, self.marks = [], [], set()

    def handle_starttag(self, tag, attrs):
        held = dict(attrs)
        self.marks |= {held[name] for name in ("id", "name") if held.get(name)}
        if tag == "a" and held.get("href"):
            self.links.append(held["href"])
        if tag in ("img", "script", "iframe", "object") and (held.get("src") or held.get("data")):
            self.fetched.append(held.get("src") or held.get("data"))
        if tag == "link" and held.get("rel") in ("stylesheet", "icon", "shortcut icon", "preload"):
            self.fetched.append(held["href"])


def read_links(path):
    page = Links()
    page.feed(path.read_text("utf-8"))
    return page


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The site, built from a copy; the examples are not run again here."""
    pytest.importorskip("sphinx", reason="Sphinx is of the docs extra")
    for needed in ("numpydoc", "myst_parser", "sphinx_gallery", "sphinxcontrib.bibtex", "furo"):
        pytest.importorskip(needed, reason="of the docs extra")
    copy = tmp_path_factory.mktemp("site")
    shutil.copytree(DOCS, copy / "docs", ignore=shutil.ignore_patterns("_build", "generated", "examples"))
    for name in ("trunkwatch", "tests", "reports", "sample_blocks", "README.md", "CITATION.cff", "CHANGELOG.md"):
        (copy / name).symlink_to(ROOT / name)
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-n", "-q", "-t", "plain", "docs", "built"],
        cwd=copy,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return copy / "built"


@pytest.mark.long
def test_the_site_is_built_without_a_warning_and_every_link_resolves(site):
    pages = {path: read_links(path) for path in sorted(site.rglob("*.html"))}
    assert len(pages) > 60
    broken = []
    for path, page in pages.items():
        for link in page.links:
            parts = urlparse(link)
            if parts.scheme or parts.netloc:
                continue
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            if not target.exists():
                broken.append(f"{path.relative_to(site)}: {link}")
            elif parts.fragment and target in pages and unquote(parts.fragment) not in pages[target].marks:
                broken.append(f"{path.relative_to(site)}: {link}: no such place")
    assert broken == []


@pytest.mark.long
def test_the_site_fetches_nothing_from_elsewhere(site):
    for path in site.rglob("*.html"):
        assert [one for one in read_links(path).fetched if urlparse(one).netloc] == [], path.name
    for path in site.rglob("*.css"):
        assert not re.search(r"@import|url\(['\"]?https?:", path.read_text("utf-8")), path.name


def test_tables_and_keys_come_from_the_program(site):
    from trunkwatch.cli.json_schema import verbs_with_schema
    from trunkwatch.vineyard.tables import TABLES

    tables = (site / "generated" / "tables.html").read_text("utf-8")
    for table in TABLES.values():
        assert f"{table.name}.csv" in tables
        assert all(f">{name}<" in tables for name in table.names)
    assert {path.stem for path in (site / "generated" / "json").glob("*.html")} == set(verbs_with_schema())


def test_formulas_are_set(site):
    assert (site / "methods" / "bunched.html").read_text("utf-8").count("<math") > 20
