"""trunkwatch.intake: bring_book; trunkwatch.cli: book_lines; the gallery of workbooks through the command line, to the record."""

import tomllib

import pytest
from click.testing import CliRunner
from workbooks import CASES, Case, build, lines

from trunkwatch.cli import main
from trunkwatch.spreadsheets.folder import read_folder
from trunkwatch.vineyard.tables import number_in, records_of

MILL = ["new", "--block", "Mill", "--rows", "2", "--vines", "5", "--planted", "2008", "--training", "bilateral", "--row-spacing-m", "2.5",
        "--vine-spacing-m", "1.5", "--hemisphere", "north"]  # fmt: skip


@pytest.fixture(autouse=True)
def _in_this_process(monkeypatch):
    """Read files here: what a process of its own holds is tested with the files that need one."""
    monkeypatch.setattr("trunkwatch.spreadsheets.apart._INSIDE", True)


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
    assert run("check", vineyard).output.splitlines()[-1].startswith("0 error(s)"), run("check", vineyard).output


NEXT = {"North": [["Row", "Vine", 2023, 2024], [1, 1, "ok", "ok"], [1, 2, "ok", "dead arm"]]}


def test_next_year_asks_for_its_new_words_only(tmp_path):
    first = Case("this year", NEXT, say={})
    vineyard, *_ = take(first, tmp_path)
    more = {"North": [[*row, word] for row, word in zip(NEXT["North"], [2025, "qqq", "dead arm"], strict=True)]}
    path = build(Case("next year", more, file="later.xlsx"), tmp_path)
    asked = run("load", vineyard, path)
    assert asked.exit_code == 1
    mapping = vineyard / "book.mapping.toml"
    said = tomllib.loads(mapping.read_text())
    assert said["words"] == {"qqq": "ask", "ok": "sound", "dead arm": "dead_arm"}
    assert said["days"] == {"2023": "summer", "2024": "summer", "2025": "summer"}
    mapping.write_text(mapping.read_text().replace('"qqq" = "ask"', '"qqq" = "sound"'))
    done = run("load", vineyard, path, "--mapping", mapping)
    assert done.exit_code == 0, done.output
    assert "surveys: 1 added, 2 already recorded" in done.output
    assert told(vineyard)["look"][-1] == "North 2025-08-15: 1:1..2"
    yes = run("load", vineyard, path, "--yes")
    assert yes.exit_code == 0, yes.output


def test_a_file_takes_a_workbook_and_keeps_its_mapping_beside(tmp_path):
    vineyard, path = tmp_path / "vines.gpkg", build(Case("one", NEXT), tmp_path)
    assert run("load", vineyard, path).exit_code == 1
    assert not vineyard.exists()
    done = run("load", vineyard, path, "--mapping", tmp_path / "vines.gpkg.mapping.toml")
    assert done.exit_code == 0, done.output
    assert (tmp_path / "vines.gpkg.kept.toml").is_file()
    again = run("load", vineyard, path, "--mapping", tmp_path / "vines.gpkg.mapping.toml")
    assert "symptoms: 0 added, 1 already recorded" in again.output


def test_a_draft_that_was_changed_is_not_lost_and_yes_does_not_pass_over_it(tmp_path):
    case = next(case for case in CASES if case.name == "all certain")
    vineyard = tmp_path / "vines"
    run(MILL[0], vineyard, *MILL[1:])
    path = build(case, tmp_path)
    run("load", vineyard, path)
    mapping = vineyard / "book.mapping.toml"
    mapping.write_text(mapping.read_text().replace('"ok" = "sound"', '"ok" = "not scouted"'))
    refused = run("load", vineyard, path, "--yes")
    assert refused.exit_code == 1
    assert "says other things than --yes would take" in refused.output
    assert run("load", vineyard, path).exit_code == 1
    assert '"ok" = "not scouted"' in mapping.read_text()
    assert told(vineyard)["look"] == []


def test_faults_are_told_by_cause_and_the_good_lines_can_be_taken(tmp_path):
    rows = [
        ["Row", "Vine", "Date", "Status"],
        *[[1, f"{number}x", "2024-08-12", "ok"] for number in range(500)],
        [1, 3, "2024-08-12", "ok"],
    ]
    path = build(Case("faults", {"North": rows}), tmp_path)
    refused = run("load", tmp_path / "vines", path)
    assert refused.output.count("this is no position") == 1
    assert "500 times" in refused.output
    done = run("load", tmp_path / "vines", path, "--keep-good", "--mapping", tmp_path / "vines.mapping.toml")
    assert done.exit_code == 0, done.output
    assert told(tmp_path / "vines")["look"] == ["North 2024-08-12: 1:3"]


def test_options_of_a_workbook_are_refused_for_one_of_our_tables(tmp_path):
    (tmp_path / "symptoms.csv").write_text("block,row,position,date,symptom\n")
    assert run("load", tmp_path / "vines", tmp_path / "symptoms.csv", "--yes").exit_code == 2
