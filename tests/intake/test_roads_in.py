"""trunkwatch.intake: bring, add, check_layout, check_findings: what is left out is told, and a cause is told once."""

import json

import openpyxl
import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

HEAD = "block,row,position,date,symptom"
GOOD = [f"B,1,{position},2026-02-03,canker" for position in range(1, 5)]
BAD = "B,2,99,2026-02-03,canker"


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(params=["v", "v.gpkg"])
def vines(tmp_path, request):
    path = tmp_path / request.param
    done = run(
        "new",
        path,
        "--block",
        "B",
        "--rows",
        2,
        "--vines",
        9,
        "--planted",
        2008,
        "--training",
        "bilateral",
        "--row-spacing-m",
        2.5,
        "--vine-spacing-m",
        1.5,
        "--hemisphere",
        "north",
    )
    assert done.exit_code == 0, done.output
    return path


def csv_file(folder, *lines, name="symptoms.csv", head=HEAD):
    path = folder / name
    path.write_text("\n".join([head, *lines]) + "\n")
    return path


def workbook(folder):
    book = openpyxl.Workbook()
    book.active.title = "symptoms"
    for line in (HEAD, *GOOD, BAD):
        book.active.append(line.split(","))
    book.save(folder / "symptoms.xlsx")
    return folder / "symptoms.xlsx"


def handover(folder):
    names = HEAD.split(",")
    records = [{**dict(zip(names, line.split(","), strict=True)), "id": f"i{n}"} for n, line in enumerate((*GOOD, BAD))]
    path = folder / "phone.json"
    path.write_text(json.dumps({"trunkwatch_handover": 1, "symptoms": records}))
    return path


def doors(tmp_path):
    """Return each road by which the five findings come, and the place of the bad one."""
    (tmp_path / "notes").mkdir()
    csv_file(tmp_path / "notes", *GOOD, BAD)
    own = csv_file(tmp_path, *GOOD, BAD, name="mine.csv", head="block,row,Vine,date,symptom")
    return {
        "csv": (["load", "V", csv_file(tmp_path, *GOOD, BAD)], "symptoms.csv, line 6"),
        "xlsx": (["load", "V", workbook(tmp_path)], "symptoms.xlsx[symptoms], line 6"),
        "folder": (["load", "V", tmp_path / "notes"], "symptoms.csv, line 6"),
        "table": (["load", "V", own, "--table", "symptoms", "--map", "position=Vine"], "mine.csv, line 6"),
        "log": (["log", "V", "finding", "--file", tmp_path / "symptoms.csv"], "symptoms.csv, line 6"),
        "handover": (["load", "V", handover(tmp_path)], "phone.json symptoms, line 5"),
    }


@pytest.mark.parametrize("door", ["csv", "xlsx", "folder", "table", "log", "handover"])
def test_a_line_that_is_left_out_is_told_at_every_door(tmp_path, vines, door):
    words, place = doors(tmp_path)[door]
    words = [vines if word == "V" else word for word in words]
    refused = run(*words)
    assert refused.exit_code == 1
    assert f"fault: {place}, column position: no such position ('99'); expected: 1 to 9 in row 2" in refused.output
    assert records(vines, "symptoms").empty
    done = run(*words, "--keep-good")
    assert done.exit_code == 0, done.output
    assert f"fault: {place}, column position: no such position ('99'); expected: 1 to 9 in row 2" in done.stderr
    assert "4 taken, 1 left out" in done.stdout
    assert len(records(vines, "symptoms")) == 4


def records(path, table):
    from trunkwatch.block.opening import open_vineyard

    with open_vineyard(path) as store:
        return store.frame(table)


def test_many_lines_left_out_are_summed_up_by_cause(tmp_path, vines):
    many = [f"B,2,{position},2026-02-03,canker" for position in range(50, 90)]
    done = run("load", vines, csv_file(tmp_path, *GOOD, *many, "B,1,5,2026-02-31,canker"), "--keep-good")
    assert done.stderr.count("no such position ('") == 3
    assert "fault: 37 more: no such position (column position)" in done.stderr
    assert "2026-02-31" in done.stderr
    assert "4 taken, 41 left out" in done.stdout


def test_a_file_that_cannot_be_read_and_a_sheet_without_a_heading_are_told(tmp_path, vines):
    folder = tmp_path / "notes"
    folder.mkdir()
    csv_file(folder, *GOOD)
    csv_file(folder, "B,2026-02-03", "B,2026-02-04", name="surveys.csv", head="block,date")
    (folder / "work.xlsx").write_bytes(b"no workbook")
    done = run("load", vines, folder, "--keep-good")
    assert done.exit_code == 0, done.output
    assert "the heading covered is missing" in done.stderr
    assert "4 taken, 2 left out; not read, or not whole: work.xlsx" in done.stdout


def test_the_same_record_told_two_ways_is_not_left_out_in_silence(tmp_path, vines):
    head = f"{HEAD},note"
    path = csv_file(tmp_path, "B,1,1,2026-02-03,canker,a", "B,1,1,2026-02-03,canker,b", name="x.csv", head=head)
    done = run("log", vines, "finding", "--file", path, "--keep-good")
    assert "line 3, column note: the same record stands at x.csv:2 with another note (a)" in done.stderr
    assert "1 taken, 1 left out" in done.stdout


def test_what_needs_a_record_that_is_left_out_is_left_out_with_it(tmp_path, vines):
    (tmp_path / "more").mkdir()
    csv_file(tmp_path / "more", "N,2.5,1.5", name="blocks.csv", head="block,row_spacing_m,vine_spacing_m")
    csv_file(tmp_path / "more", "N,1,,9", "N,1,,9", "N,2,12,3", name="rows.csv", head="block,row,first,last")
    csv_file(tmp_path / "more", *GOOD, *(f"N,1,{n},2026-02-03,canker" for n in range(1, 6)))
    done = run("load", vines, tmp_path / "more", "--keep-good")
    assert done.exit_code == 0, done.output
    assert set(records(vines, "rows")["block"]) == set(records(vines, "blocks")["block"]) == {"B"}
    assert "7 lines of block N wait for it" in done.stderr
    assert "fault: " not in run("check", vines).output


def test_a_file_taken_into_a_folder_leaves_no_good_record_out_for_anothers_fault(tmp_path, vines):
    """Two records of the other file say that they were read from one place; one of them is faulty here."""
    other = tmp_path / "other.gpkg"
    run("new", other, "--vineyard", "v", "--block", "B", "--rows", 2, "--vines", 99, "--latitude", 40)
    with Store.writing(other) as store:
        store.append(
            {
                "symptoms": frame_of(
                    "symptoms",
                    [
                        {
                            "block": "B",
                            "row": "1",
                            "position": position,
                            "date": "2026-02-03",
                            "symptom": "canker",
                            "read_from": "symptoms.csv:2",
                        }
                        for position in ("3", "99")
                    ],
                )
            }
        )
    if vines.suffix:
        return  # two files are merged as they are
    done = run("load", vines, other, "--keep-good")
    assert records(vines, "symptoms")["position"].tolist() == ["3"]
    assert "other.gpkg symptoms, line 2, column position: no such position ('99')" in done.stderr


STATUS = ("--status", "State", "--look", "dormant", "--block", "B", "--symptom", "canker", "--map", "date=Day")


def test_lines_of_a_status_map_that_are_left_out_are_told_and_counted_nowhere(tmp_path, vines):
    lines = [
        "1,1,1,2026-02-03",
        "1,2,0,2026-02-03",
        "1,99,1,2026-02-03",
        "2,x,0,2026-02-03",
        "1,3,1,2031-02-03",
        "1,4,0,2031-02-03",
    ]
    path = csv_file(tmp_path, *lines, name="plants.csv", head="row,position,State,Day")
    assert run("load", vines, path, *STATUS).exit_code == 1
    assert records(vines, "surveys").empty
    done = run("load", vines, path, *STATUS, "--keep-good")
    assert done.exit_code == 0, done.output
    for line, problem in (
        (4, "no such position"),
        (5, "position is no whole number"),
        (6, "the day lies in the future"),
        (7, "the day lies in the future"),
    ):
        assert f"line {line}, column " in done.stderr
        assert problem in done.stderr
    assert "2 taken, 4 left out" in done.stdout
    assert records(vines, "surveys")["covered"].tolist() == ["1:1..2"]
    assert records(vines, "symptoms")["position"].tolist() == ["1"]


def test_a_position_whose_line_is_left_out_is_no_gap(tmp_path):
    lines = ["1,1,1,2026-02-03", "1,2,0,2026-02-33", "1,3,0,2026-02-03"]
    path = csv_file(tmp_path, *lines, name="plants.csv", head="row,position,State,Day")
    done = run("load", tmp_path / "w.gpkg", path, *STATUS, "--keep-good")
    assert records(tmp_path / "w.gpkg", "plants").empty
    assert "1 position(s) have no good line" in done.stdout
    assert "2 taken, 1 left out" in done.stdout


def test_words_without_a_meaning_are_refused_by_load_and_taken_once_they_have_one(tmp_path, vines):
    lines = [f"1,{n},{state},2026-02-03" for n, state in enumerate(("1", "0", "gone", "?", "new", "pulled"), start=1)]
    path = csv_file(tmp_path, *lines, name="plants.csv", head="row,position,State,Day")
    for more in ((), ("--keep-good",)):
        refused = run("load", vines, path, *STATUS, *more)
        assert refused.exit_code == 1
        assert "4 words of column State" in refused.output
        assert "'pulled' (1 line, first in line 7): --missing-when pulled perhaps" in refused.output
    assert records(vines, "surveys").empty
    done = run(
        "load",
        vines,
        path,
        *STATUS,
        "--missing-when",
        "gone",
        "--missing-when",
        "pulled",
        "--unseen-when",
        "?",
        "--replanted-when",
        "new",
    )
    assert done.exit_code == 0, done.output
    assert "State read as no vine there: gone (1), pulled (1)" in done.stdout
    assert records(vines, "surveys")["covered"].tolist() == ["1:1..2; 1:5..5"]
    plants = {record["position"]: record for record in records(vines, "plants").to_dict("records")}
    assert (plants["5"]["planted"], plants["6"]["removed"]) == ("2026-02-03", "2026-02-03")


@pytest.fixture
def broken(tmp_path):
    """A folder whose one block has a training that is none, and 2,005 lines that name it."""
    folder = tmp_path / "broken"
    run("new", folder, "--block", "North", "--rows", 5, "--vines", 500, "--planted", 2008, "--latitude", 40)
    blocks = folder / "blocks.csv"
    head, line = blocks.read_text("utf-8-sig").splitlines()
    blocks.write_text(f"{head},training\n{line},wavy\n")
    csv_file(folder, *(f"North,{n % 5 + 1},{n // 5 + 1},2026-02-03,canker" for n in range(2000)))
    return folder


def test_one_bad_cell_of_a_block_is_told_once(broken):
    done = run("check", broken)
    assert done.exit_code == 1
    faults = [line for line in done.stdout.splitlines() if line.startswith("fault: ")]
    assert len(faults) == 2
    assert "blocks.csv, line 2, column training" in faults[0]
    assert (
        "2,005 lines of block North wait for it; expected: blocks.csv, line 2, column training fixed first" in faults[1]
    )
    told = json.loads(run("check", broken, "--json").stdout)
    assert [fault["lines"] for fault in told if fault["weight"] == "fault"] == [1, 2005]
    assert run("check", broken, "--json").exit_code == 1


def test_what_waits_for_a_bad_block_is_left_out_in_one_line(broken, tmp_path):
    done = run("load", tmp_path / "new.gpkg", broken, "--keep-good")
    assert "2,005 lines of block North wait for it" in done.stderr
    assert "0 taken, 2,006 left out" in done.stdout


def test_an_unknown_label_is_told_once_with_its_count_and_first_line(tmp_path, vines):
    lines = [
        *GOOD,
        *(f"Nroth,1,{n},2026-02-03,canker" for n in range(1, 8)),
        "C,1,1,2026-02-03,canker",
        "B,77,1,2026-02-03,canker",
        "B,77,2,2026-02-03,canker",
    ]
    path = csv_file(tmp_path, *lines)
    refused = run("load", vines, path)
    shown = [line for line in refused.output.splitlines() if line.startswith("fault: ")]
    assert len(shown) == 3
    assert "line 6, column block: unknown block" in shown[0]
    assert "7 lines" in shown[0]
    assert "('Nroth')" in shown[0]
    assert "line 13" in shown[1]
    assert "('C')" in shown[1]
    assert "line 14, column row: unknown row: 2 lines, this is the first ('77')" in shown[2]
    assert "3 error(s)" in refused.output
    done = run("load", vines, path, "--keep-good")
    assert "4 taken, 10 left out" in done.stdout


def test_a_bad_line_of_rows_is_the_cause_of_what_names_the_row(tmp_path):
    folder = tmp_path / "w"
    run("new", folder, "--block", "B", "--rows", 3, "--vines", 9, "--latitude", 40)
    rows = folder / "rows.csv"
    rows.write_text(rows.read_text("utf-8-sig").replace("B,3,1,9", "B,3,1,nine"))
    csv_file(folder, *(f"B,3,{n},2026-02-03,canker" for n in range(1, 6)))
    told = [line for line in run("check", folder).stdout.splitlines() if line.startswith("fault: ")]
    assert len(told) == 2
    assert "5 lines of row 3 of block B wait for it; expected: rows.csv, line 4, column last fixed first" in told[1]


def test_rows_numbered_from_the_other_end_go_round_and_are_read_as_numbered(tmp_path, vines):
    head = "block,row,first,last,numbered_from"
    (tmp_path / "in").mkdir()
    csv_file(
        tmp_path / "in", "N,2.5,1.5,south", name="blocks.csv", head="block,row_spacing_m,vine_spacing_m,hemisphere"
    )
    csv_file(tmp_path / "in", "N,1,1,4,", "N,2,1,4,end", "N,3,1,4,", name="rows.csv", head=head)
    assert run("load", vines, tmp_path / "in").exit_code == 0
    for out in ("out", "out.xlsx"):
        assert run("export", vines, tmp_path / out).exit_code == 0
        again = tmp_path / f"again_{out.replace('.', '_')}.gpkg"
        assert run("load", again, tmp_path / out if out == "out" else renamed(tmp_path / out)).exit_code == 0
        rows = records(again, "rows")
        assert rows[rows["block"] == "N"]["numbered_from"].tolist() == ["", "end", ""]
    csv_file(tmp_path / "in", "N,4,40,1,", name="rows.csv", head=head)
    refused = run("load", vines, tmp_path / "in" / "rows.csv")
    assert refused.exit_code == 1
    assert "row '4': last is 1" in refused.output
    assert "first 1, last 40, numbered_from end" in refused.output


def renamed(path):
    return path.rename(path.with_name("records.xlsx"))


def test_new_needs_the_side_of_the_equator(tmp_path):
    words = ("new", tmp_path / "w", "--block", "B", "--rows", 2, "--vines", 3)
    refused = run(*words)
    assert refused.exit_code == 2
    assert "--hemisphere north or --hemisphere south is needed (or --latitude)" in refused.output
    assert not (tmp_path / "w").exists()
    assert run(*words, "--latitude", -34, "--hemisphere", "north").exit_code == 2
    assert run(*words, "--hemisphere", "south").exit_code == 0
    assert records(tmp_path / "w", "blocks")["hemisphere"].tolist() == ["south"]
    assert "hemisphere" not in run("check", tmp_path / "w").stdout
    assert run("new", tmp_path / "x", "--block", "B", "--rows", 2, "--vines", 3, "--latitude", -34).exit_code == 0
    assert "hemisphere" not in run("check", tmp_path / "x").stdout


def test_new_asks_in_a_terminal(tmp_path, monkeypatch):
    monkeypatch.setattr("trunkwatch.cli.new_command._in_a_terminal", lambda: True)
    words = ["new", str(tmp_path / "w"), "--block", "B", "--rows", "2", "--vines", "3"]
    done = CliRunner().invoke(main, words, input="south\n")
    assert done.exit_code == 0, done.output
    assert records(tmp_path / "w", "blocks")["hemisphere"].tolist() == ["south"]


@pytest.mark.parametrize("name", ["w", "w.gpkg"])
def test_a_block_without_a_side_of_the_equator_is_noted_and_can_be_mended(tmp_path, name):
    path = csv_file(tmp_path, "1,1,1", "1,2,0", name="plants.csv", head="row,position,State")
    words = (
        "load",
        tmp_path / name,
        path,
        "--status",
        "State",
        "--block",
        "B",
        "--date",
        "2026-02-03",
        "--row-spacing-m",
        2.5,
        "--vine-spacing-m",
        1.5,
    )
    done = run(*words)
    assert done.exit_code == 0, done.output
    assert "no hemisphere is written for block(s) B" in done.stdout
    note = run("check", tmp_path / name).stdout
    assert "block B has neither latitude nor hemisphere" in note
    assert "which season a day belongs to and which inspection is made on it" in note
    identity = note.split("--record ")[1].split()[0]
    mended = run(
        "log", tmp_path / name, "correct", "--table", "blocks", "--record", identity, "--set", "hemisphere=south"
    )
    assert mended.exit_code == 0, mended.output
    assert records(tmp_path / name, "blocks")["hemisphere"].tolist() == ["south"]
    assert "neither latitude nor hemisphere" not in run("check", tmp_path / name).stdout
    other = run("load", tmp_path / f"other_{name}", *words[2:], "--hemisphere", "south")
    assert "no hemisphere" not in other.output
    assert records(tmp_path / f"other_{name}", "blocks")["hemisphere"].tolist() == ["south"]


def test_a_block_table_of_ones_own_takes_the_hemisphere_too(tmp_path):
    path = csv_file(tmp_path, "B,2.5,1.5", name="mine.csv", head="Parcel,row_spacing_m,vine_spacing_m")
    rows = csv_file(tmp_path, "B,1,5", name="rows.csv", head="block,row,last")
    words = ("--table", "blocks", "--map", "block=Parcel", "--hemisphere", "south")
    (tmp_path / "both").mkdir()
    csv_file(
        tmp_path / "both", "B,2.5,1.5,south", name="blocks.csv", head="block,row_spacing_m,vine_spacing_m,hemisphere"
    )
    rows.rename(tmp_path / "both" / "rows.csv")
    assert run("load", tmp_path / "v.gpkg", tmp_path / "both").exit_code == 0
    assert run("load", tmp_path / "v.gpkg", path, *words).exit_code == 0
    assert records(tmp_path / "v.gpkg", "blocks")["hemisphere"].tolist() == ["south"]


@pytest.mark.parametrize(
    ("cells", "note"),
    [
        ("1,12,", "1 of 12 dead spurs (8 %) is under 10 %: it makes no case"),
        (",,5", "5 % dead spurs is under 10 %: it makes no case"),
        ("9,91,", "9 of 91 dead spurs (9.9 %) is under 10 %"),
        ("2,12,", None),
        ("1,10,", None),
        (",,", None),
        ("1,12,40", "1 of 12 dead spurs (8 %)"),
    ],
)
def test_dead_spurs_too_few_to_make_a_case_are_noted(tmp_path, vines, cells, note):
    path = csv_file(tmp_path, f"B,1,1,2026-02-03,dead_spurs,start,{cells}", head=f"{HEAD},arm,dead,total,percent")
    assert run("load", vines, path).exit_code == 0
    told = run("check", vines).stdout
    assert (note in told) if note else ("makes no case" not in told)


def test_a_row_numbered_against_the_others_is_covered_and_found_as_it_is_numbered(tmp_path):
    """By hand: of nine vines in row 2, numbered from the far end, positions 1 to 3 stand at stations 8 to 6."""
    from trunkwatch.block import load

    folder = tmp_path / "w"
    run(
        "new",
        folder,
        "--block",
        "B",
        "--rows",
        3,
        "--vines",
        9,
        "--planted",
        2008,
        "--training",
        "bilateral",
        "--row-spacing-m",
        2.5,
        "--vine-spacing-m",
        1.5,
        "--latitude",
        40,
    )
    csv_file(folder, "B,1,1,9,", "B,2,1,9,end", "B,3,1,9,", name="rows.csv", head="block,row,first,last,numbered_from")
    csv_file(folder, "B,2026-02-03,2:1..3", name="surveys.csv", head="block,date,covered")
    csv_file(folder, "B,2,1,2026-02-03,dead_arm,start", head=f"{HEAD},arm")
    assert "fault: " not in run("check", folder).output
    season = load(folder, "B", 2026, definition="dieback")
    assert season.history.looked_at[-1][1].nonzero()[0].tolist() == [6, 7, 8]
    assert season.cases[1].nonzero()[0].tolist() == [8]
    shown = run("history", folder, "--row", 2, "--position", 1)
    assert "dead arm" in shown.output.casefold()
