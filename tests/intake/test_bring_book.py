"""trunkwatch.intake: bring_book; trunkwatch.cli: book_lines; the gallery of workbooks through the command line, to the record."""

import tomllib

import pytest
from click.testing import CliRunner
from workbooks import CASES, build, lines

from trunkwatch.cli import main
from trunkwatch.spreadsheets.folder import read_folder
from trunkwatch.vineyard.tables import number_in, records_of

MILL = ["new", "--block", "Mill", "--rows", "2", "--vines", "5", "--planted", "2008", "--training", "bilateral", "--row-spacing-m", "2.5",
        "--vine-spacing-m", "1.5", "--hemisphere", "north"]  # fmt: skip


def run(*args):
    return CliRunner().invoke(main, [str(arg) for arg in args])


def place_of(vineyard):
    places = [vineyard / "book.mapping.toml", vineyard.with_name(f"{vineyard.name}.mapping.toml")]
    return next(place for place in places if place.is_file())


def told(vineyard):
    """Say what a folder holds, in the short form of the gallery."""
    frames = read_folder(vineyard).frames
    out = {"look": [], "found": [], "plants": [], "work": [], "rows": [], "notes": []}
    for record in records_of(frames["surveys"]):
        who = f" {record['observer']}" if record["observer"] else ""
        out["look"].append(f"{record['block']} {record['date']}{who}: {record['covered']}")
    for record in records_of(frames["symptoms"]):
        parts = [
            record["block"],
            f"{record['row']}.{record['position']}",
            record["date"],
            record["symptom"],
            record["arm"],
        ]
        parts += [f"trunk {number_in(record, 'trunk'):g}"] if number_in(record, "trunk") > 0 else []
        parts += [f"{number_in(record, 'percent'):g}%"] if number_in(record, "percent") > 0 else []
        out["found"].append(" ".join(part for part in parts if part))
        out["notes"].append(record["note"])
    for record in records_of(frames["plants"]):
        at = f"{record['block']} {record['row']}.{record['position']}"
        out["plants"] += [f"{at} {name} {record[name]}" for name in ("removed", "planted") if record[name]]
    for record in records_of(frames["work"]):
        out["work"].append(f"{record['block']} {record['row']}.{record['position']} {record['date']} {record['kind']}")
    for record in records_of(frames["rows"]):
        order = f" order {number_in(record, 'row_order'):g}" if number_in(record, "row_order") > 0 else ""
        end = f" {record['numbered_from']}" if record["numbered_from"] else ""
        out["rows"].append(
            f"{record['block']} {record['row']}: {number_in(record, 'first'):g}..{number_in(record, 'last'):g}{order}{end}"
        )
    return {name: sorted(texts) for name, texts in out.items()}


def take(case, folder):
    """Load a workbook the way its case says; return the vineyard, the first and the last run, and the help that it took."""
    vineyard = folder / "vines"
    if case.before:
        assert run(MILL[0], vineyard, *MILL[1:]).exit_code == 0
    path = build(case, folder)
    first = run("load", vineyard, path)
    assert first.exit_code == 1, first.output
    assert case.says in first.output
    mapping = place_of(vineyard)
    yes = run("load", vineyard, path, "--yes")
    if yes.exit_code == 0:
        return vineyard, path, first, yes, "certain"
    text = mapping.read_text(encoding="utf-8")
    tomllib.loads(text)
    for before, after in case.say.items():
        assert before in text, f"{before} is not in\n{text}"
        text = text.replace(before, after)
    mapping.write_text(text, encoding="utf-8")
    last = run("load", vineyard, path, "--mapping", mapping)
    return vineyard, path, first, last, "answers" if case.say else "confirm"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_workbook_gives_exactly_its_records(case, tmp_path):
    vineyard, path, _, last, how = take(case, tmp_path)
    if case.how == "refused":
        assert last.exit_code == 1, last.output
        assert case.says in last.output
        assert not vineyard.exists() or told(vineyard)["look"] == []
        return
    assert last.exit_code == 0, last.output
    assert how == case.how
    now = told(vineyard)
    for name in ("look", "found", "plants", "work"):
        assert now[name] == lines(getattr(case, name)), name
    if case.rows:
        assert now["rows"] == lines(case.rows)
    if case.notes:
        assert now["notes"] == lines(case.notes)
    again = run("load", vineyard, path, "--mapping", place_of(vineyard))
    assert again.exit_code == 0, again.output
    assert told(vineyard) == now
    assert run("check", vineyard).output.splitlines()[-1].startswith("0 fault(s)"), run("check", vineyard).output
