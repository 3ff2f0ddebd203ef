"""Which statistics a command or a page reaches: by the imports, starting from trunkwatch.cli and trunkwatch.web."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "trunkwatch"
FACES = ("trunkwatch.cli", "trunkwatch.web")
ROOMS = ("trunkwatch.stats.", "trunkwatch.yearly.", "trunkwatch.winter_model.", "trunkwatch.alike.")

#: Statistics that no command and no page reaches, kept as functions for people who work with Python on their own records: why each.
LIBRARY = {
    "trunkwatch.stats.clark_evans_index": "nearest neighbors where rows are not known, only points; with rows the tests by labels hold better",
    "trunkwatch.stats.dispersion_indices": "indices of quadrat counts, to set a block beside figures in the literature",
    "trunkwatch.stats.edges": "a slope of risk from an edge with its limits; the pages test the edge by labels and claim no slope",
    "trunkwatch.stats.lags": "pairs of cases at every distance, for a figure; the pages ask for the next four only",
    "trunkwatch.stats.lags_by_risk": "pairs at every distance beside a risk that differs, for a figure; the pages keep labels in groups on record",
    "trunkwatch.stats.local_counts": "where single vines stand in a clump; the pages scan for places, which corrects for looking everywhere",
    "trunkwatch.stats.nearest_kinds": "whether nearest neighbors are of one kind; it has less power here than pairs along the row",
    "trunkwatch.stats.power_law": "variance over blocks of one estate, to plan samples where no block has a record of its own",
    "trunkwatch.stats.progress": "curves of progress and the area under them, to set a block beside figures in the literature",
    "trunkwatch.stats.regularity": "how far counts are from even, to set a block beside figures in the literature; the pages count pairs",
    "trunkwatch.stats.risk_labellings": "part of pairs beside a risk",
    "trunkwatch.stats.row_runs": "runs of cases in one row, the textbook test; pairs along all rows use its law",
    "trunkwatch.stats.survival": "curves of vines followed over years, for a figure; did it work compares equals by winters",
    "trunkwatch.stats.transport": "part of the distance to regularity",
    "trunkwatch.yearly.exposure": "part of the model of years below",
    "trunkwatch.yearly.fit": "the model of a vine's years in one fit: slower and harder to say than the test of spread that the pages take",
    "trunkwatch.yearly.penalized": "part of the model of years",
    "trunkwatch.yearly.share": "part of the model of years",
    "trunkwatch.yearly.steps": "part of the model of years",
    "trunkwatch.yearly.surface": "part of the model of years",
}


def _modules(package):
    """Every module of a package by its dotted name, a folder by its own."""
    found = {}
    for path in package.rglob("*.py"):
        parts = path.relative_to(package.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def _run(tree):
    """The nodes of a file that run: not what stands there for type checkers alone."""
    silent = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for part in node.body
        for inner in ast.walk(part)
    }
    return [node for node in ast.walk(tree) if id(node) not in silent]


def _imports(path, modules):
    """Modules that a file imports, wherever in it."""
    names = set()
    for node in _run(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names & set(modules)


def reached(package, faces):
    """Modules that the faces reach; importing a module runs the packages that it lies in."""
    modules = _modules(package)
    seen, waiting = set(), [name for name in modules if name.startswith(faces)]
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        parents = [name.rsplit(".", k)[0] for k in range(1, name.count(".") + 1)]
        waiting += [*_imports(modules[name], modules), *(one for one in parents if one in modules)]
    return seen


def test_every_statistic_is_reached_or_kept_on_purpose():
    statistics = {name for name in _modules(PACKAGE) if name.startswith(ROOMS)}
    unreached = statistics - reached(PACKAGE, FACES)
    assert unreached - set(LIBRARY) == set(), "reach it from a verb or a page, or say in LIBRARY why it is kept"
    assert set(LIBRARY) - unreached == set(), "reached by now, or gone: take it off LIBRARY"


@pytest.mark.parametrize("name", LIBRARY)
def test_what_is_kept_names_its_functions(name):
    tree = ast.parse(_modules(PACKAGE)[name].read_text())
    exported = [
        ast.literal_eval(node.value)
        for node in tree.body
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__"
    ]
    assert exported
    assert exported[0]


def test_a_module_that_nobody_imports_is_found(tmp_path):
    package = tmp_path / "made"
    for folder in ("cli", "stats"):
        (package / folder).mkdir(parents=True)
        (package / folder / "__init__.py").write_text("")
    (package / "__init__.py").write_text("")
    (package / "cli" / "verb.py").write_text("def command():\n    from made.stats import inside\n    return inside\n")
    (package / "stats" / "inside.py").write_text("import made.stats.deeper\n")
    (package / "stats" / "deeper.py").write_text("")
    (package / "stats" / "alone.py").write_text("from made.stats.inside import x\n")
    (package / "stats" / "__init__.py").write_text("if TYPE_CHECKING:\n    from made.stats.alone import x\n")
    assert set(_modules(package)) - reached(package, ("made.cli",)) == {"made.stats.alone"}
