"""trunkwatch.spreadsheets.book: the pieces of the road of a whole workbook; the road itself is tested by the gallery in tests/intake.

The modules: pages, xlsx, ods, days, guess, trade_words, meaning, roles, outline, parts, columns, understand, entries, labels, gather,
kept, mapping_file, made, plan.
"""

import datetime as dt
import tomllib
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ods_files import write_ods

from trunkwatch.errors import FileError, RecordError
from trunkwatch.spreadsheets.book.columns import place_in
from trunkwatch.spreadsheets.book.days import day_in_text, day_key, middle_day, order_of
from trunkwatch.spreadsheets.book.entries import positions_in
from trunkwatch.spreadsheets.book.gather import book_plan
from trunkwatch.spreadsheets.book.guess import guess_word
from trunkwatch.spreadsheets.book.kept import Kept
from trunkwatch.spreadsheets.book.made import made_of
from trunkwatch.spreadsheets.book.mapping_file import mapping_text, read_mapping
from trunkwatch.spreadsheets.book.meaning import Finding, Meaning, meaning_text, read_meaning
from trunkwatch.spreadsheets.book.pages import Page, column_letters, column_place, read_pages, without_text_sign
from trunkwatch.spreadsheets.book.trade_words import CERTAIN, PROPOSED
from trunkwatch.vineyard.calendar import look_of, season_of


@pytest.mark.parametrize(
    ("word", "text", "certain"),
    [
        ("dead arm N side", "dead_arm side N", True), ("Dead  ARM", "dead_arm", True), ("replanted 2023", "replanted 2023", True),
        ("replanté en 2022", "replanted 2022", True), ("gone?", "no vine", False), ("ok", "sound", True), ("ok?", "sound", False),
        ("-", "not scouted", False), ("dead arm, leaf stripe", "dead_arm + leaf_stripe", True), ("toter Arm links", "dead_arm side L", True),
        ("braccio morto dx", "dead_arm side R", True), ("half dead", "dead_arm 50%", False), ("dead arm 50%", "dead_arm 50%", True),
        ("trunk 2 dead", "dead_trunk trunk 2", True), ("sin síntomas", "sound", True), ("esca", "leaf_stripe", False),
        ("X", "", False), ("1", "", False), ("E", "", False), ("zzz", "", False),
    ],
)  # fmt: skip
def test_words_are_guessed(word, text, certain):
    guess = guess_word(word)
    assert (guess.text, guess.certain) == (text, certain)


@pytest.mark.parametrize(
    "word",
    [
        "not dead",
        "no dead arm",
        "not ok",
        "nicht tot",
        "keine Esca",
        "sin brazo muerto",
        "pas mort",
        "senza esca",
        "não morto",
        "never missing",
        "dead arm and not ok",
    ],
)
def test_a_word_that_denies_is_never_guessed(word):
    assert guess_word(word).text == ""


def test_no_word_is_both_certain_and_proposed():
    assert set(CERTAIN) & set(PROPOSED) == set()
    assert all(read_meaning(text, word) for words in (CERTAIN, PROPOSED) for word, text in words.items())


@pytest.mark.parametrize(
    ("word", "heading", "text"),
    [("x", "Esca 2023", "leaf_stripe"), ("0", "Dead arm", "sound"), ("no", "Missing", "not scouted"), ("x", "Missing", "no vine"), ("dead", "arm N", "dead_arm side N"),
     ("dead", "trunk 2", "dead_trunk trunk 2"), ("yes", "Status", ""), ("x", "", "")],
)  # fmt: skip
def test_a_mark_means_what_its_heading_says(word, heading, text):
    guess = guess_word(word, heading)
    assert guess.text == text
    assert not guess.certain


@pytest.mark.parametrize(
    ("raw", "order", "key"),
    [
        (dt.datetime(2024, 8, 3, 10), "", "2024-08-03"), ("2024-08-03", "", "2024-08-03"), ("03/08/2024", "day", "2024-08-03"), ("03/08/2024", "month", "2024-03-08"),
        ("03/08/2024", "", ""), ("13.8.24", "", "2024-08-13"), ("15 août 2024", "", "2024-08-15"), ("7 de marzo de 2024", "", "2024-03-07"), ("15. August 2024", "", "2024-08-15"),
        (2024, "", "2024"), ("2024-08", "", "2024-08"), ("Aug 2024", "", "2024-08"), ("winter 2023/24", "", "dormant 2024"), ("2023/24", "", "2024"), ("été 2024", "", "summer 2024"),
        ("31/02/2024", "day", ""), ("soon", "", ""), (45516, "", ""),
    ],
)  # fmt: skip
def test_days(raw, order, key):
    assert day_key(raw, order) == key


def test_days_inside_texts_and_serials():
    assert day_key(45516, serials=True) == "2024-08-12"
    assert day_in_text("Scouting North, 12 August 2024") == ("2024-08-12", "Scouting North")
    assert day_in_text("seen 03/04/2024")[0] == ""
    assert order_of(["03/04/2024", "13/04/2024"]) == ("day", "")
    assert order_of(["14/04/2024", "04/14/2024"])[0] == ""


@pytest.mark.parametrize("hemisphere", ["north", "south"])
@pytest.mark.parametrize("look", ["dormant", "spring", "summer"])
def test_the_middle_of_a_look_lies_in_it(hemisphere, look):
    day = middle_day(2024, look, hemisphere)
    assert (season_of(day, hemisphere), look_of(day, hemisphere)) == (2024, look)


@pytest.mark.parametrize(
    ("raw", "hyphens", "found"),
    [
        (12, False, [12]),
        ("V12", False, [12]),
        ("1..4", False, [1, 2, 3, 4]),
        ("1..7/3", False, [1, 4, 7]),
        ("3, 5; 9", False, [3, 5, 9]),
        ("5-7", True, [5, 6, 7]),
        (4.0, False, [4]),
    ],
)
def test_positions(raw, hyphens, found):
    assert positions_in(raw, hyphens=hyphens) == found


@pytest.mark.parametrize("raw", ["12a", "", None, 4.5, "5-7", "9..2", "1..99999", dt.datetime(2024, 1, 4)])
def test_what_is_no_position_is_told(raw):
    assert isinstance(positions_in(raw, hyphens=False), str)


def test_places_in_one_cell_and_letters_of_columns():
    assert place_in("R5V12") == ("5", 12)
    assert place_in("7a/3") == ("7A", 3)
    assert place_in("12") is None
    assert [column_place(column_letters(place)) for place in (0, 25, 26, 701, 702)] == [0, 25, 26, 701, 702]


def test_a_meaning_is_written_as_it_is_read():
    meaning = Meaning("symptom", (Finding("dead_arm", side="N", percent="60"), Finding("dead_trunk", trunk="2")))
    assert meaning_text(meaning) == "dead_arm side N 60% + dead_trunk trunk 2"
    assert read_meaning(meaning_text(meaning), "w") == meaning
    for wrong in (
        "dead_leg",
        "dead_arm sideways",
        "dead_arm 160%",
        "replanted soon",
        "work sleep",
        "",
        "dead_trunk trunk 40",
    ):
        with pytest.raises(RecordError):
            read_meaning(wrong, "w")


def _plan(rows, kept=None, name="North"):
    page = Page(
        f"b.xlsx[{name}]",
        name,
        [(line, [*row, *[None] * (max(map(len, rows)) - len(row))]) for line, row in enumerate(rows, start=1) if row],
    )
    return book_plan(Path("b.xlsx"), [page], kept or Kept(), {}, [])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.text(min_size=1, max_size=12), min_size=1, max_size=6))
def test_whatever_words_stand_in_cells_the_mapping_can_be_read_and_nothing_unknown_is_healthy(words):
    plan = _plan([["Row", "Vine", 2024], *[[1, number, word] for number, word in enumerate(words, start=1)]])
    raw = tomllib.loads(mapping_text(plan, Kept(), "trunkwatch load a b\n"))
    again = _plan(
        [["Row", "Vine", 2024], *[[1, number, word] for number, word in enumerate(words, start=1)]],
        Kept.of(raw, "m.toml"),
    )
    assert [word.meaning.value for word in again.words] == [word.meaning.value for word in plan.words]
    assert again.proposed == []
    known = (
        sum(word.count for word in plan.words if read_meaning(word.meaning.value, "w").looked_at)
        if not plan.asked
        else None
    )
    looked = sum(look.looked_at for look in made_of(plan, {}, {}, "v").looks)
    asked = sum(word.count for word in plan.words if word.meaning.sure == "ask")
    assert looked + asked <= len(words)
    assert known is None or looked == known


def test_a_mapping_says_what_is_wrong_with_it(tmp_path):
    path = tmp_path / "m.toml"
    for text, part in (
        ("[words]\nx = ", "no mapping file"),
        ("[word]\nx = 'y'", "word"),
        ("[words]\nx = 3", "quotation marks"),
        ("days = 3", "table"),
    ):
        path.write_text(text)
        with pytest.raises((FileError, RecordError), match=part):
            read_mapping(path)
    rows = [["Row", "Vine", 2024], [1, 1, "ok"]]
    for raw, part in (
        ({"words": {"ok": "fine"}}, "fine"),
        ({"days": {"2024": "soon"}}, "soon"),
        ({"block": {"North": {"hemisphere": "east"}}}, "east"),
        ({"block": {"North": {"planted": "old"}}}, "old"),
        ({"block": {"North": {"rows_from_far_end": ["9"]}}}, "9"),
        ({"sheet": {"North": {"blank": "dead"}}}, "dead"),
        ({"sheet": {"North": {"columns": {"Row": "raw"}}}}, "raw"),
        ({"sheet": {"North": {"is": "matrix"}}}, "matrix"),
    ):
        with pytest.raises(RecordError, match=part):
            _plan(rows, Kept.of(raw, "m.toml"))


def test_an_archive_with_a_document_type_is_refused(tmp_path):
    path = tmp_path / "b.ods"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("content.xml", '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>')
    with pytest.raises(FileError, match="document type"):
        read_pages(path)
    path.write_bytes(b"nothing packed")
    with pytest.raises(FileError, match=r"b\.ods"):
        read_pages(path)


def test_a_workbook_is_read_as_the_library_reads_it(tmp_path):
    book = openpyxl.Workbook()
    page = book.active
    cells = [
        ["a & b", 1, 2.5, True],
        [dt.datetime(2024, 2, 29, 12), None, "  ", "<x>"],
        [None, None, None, None],
        ["é", -3, 1e20, dt.date(1999, 1, 1)],
    ]
    for row in cells:
        page.append(row)
    page.merge_cells("A5:B6")
    page["A5"] = "both"
    book.save(tmp_path / "b.xlsx")
    (read,) = read_pages(tmp_path / "b.xlsx")
    assert read.lines[0] == (1, ["a & b", 1, 2.5, True])
    assert read.lines[1] == (2, [dt.datetime(2024, 2, 29, 12), None, "  ", "<x>"])
    assert read.lines[2] == (4, ["é", -3, 1e20, dt.datetime(1999, 1, 1)])
    assert read.lines[3:] == [(5, ["both", "both", None, None]), (6, ["both", "both", None, None])]
    assert read.merged == 1


def written(tmp_path, lines, **sheet):
    book = openpyxl.Workbook()
    page = book.active
    page.title = sheet.get("title", "Pond 2024")
    for line in lines:
        page.append(line)
    for letter in sheet.get("hidden", ()):
        page.column_dimensions[letter].hidden = True
    path = tmp_path / "b.xlsx"
    book.save(path)
    return book_plan(path, read_pages(path), Kept(), {}, [])


def causes(plan):
    return [cause.problem for cause in plan.causes]


def test_a_block_named_once_holds_for_the_lines_below(tmp_path):
    lines = [
        ["Block", "Row", "Vine", "Seen 5 Feb 2024"],
        ["Pond", 1, 1, "ok"],
        [None, 1, 2, "dead arm"],
        ["Hill", 1, 3, "ok"],
        [None, 1, 4, "ok"],
    ]
    plan = written(tmp_path, lines)
    assert plan.sheets[0].fill_down.value == "yes"
    assert [(entry.block, entry.position) for entry in plan.entries] == [
        ("Pond", 1),
        ("Pond", 2),
        ("Hill", 3),
        ("Hill", 4),
    ]


def test_a_line_of_sums_among_numbered_rows_is_no_row(tmp_path):
    plan = written(tmp_path, [["Row", 1, 2, 3], [1, 0, 1, 0], [2, 0, 0, 1], [3, 0, 0, 0], ["Dead", 0, 1, 1]])
    assert {entry.row for entry in plan.entries} == {"1", "2", "3"}
    assert any("a name that is no row" in cause for cause in causes(plan))


def test_a_fraction_is_asked_about():
    assert [guess_word(word, "% of cordon dead").text for word in ("0.8", "0,25", ".5", "0.5%")] == [""] * 4


def test_one_line_a_row_with_counts_of_vines_is_left_out(tmp_path):
    lines = [["Row", "Vines", "Dead", "Esca"], [1, 40, 2, 1], [2, 38, 0, 3], [3, 41, 1, 0]]
    plan = written(tmp_path, lines)
    assert (plan.sheets[0].layout.value, plan.entries) == ("left out", ())
    assert "counts" in plan.sheets[0].layout.why
    lines[3][0] = 2  # a row that comes twice: its lines are vines
    assert written(tmp_path, lines).sheets[0].layout.value == "table"


def test_a_hidden_column_is_left_out_and_told(tmp_path):
    lines = [["Row", "Vine", "Seen 1 Feb 2023", "Seen 1 Feb 2024"], [1, 1, "dead", "ok"], [1, 2, "ok", "dead arm"]]
    plan = written(tmp_path, lines, hidden=["C"])
    assert {entry.day for entry in plan.entries} == {"2024-02-01"}
    assert any("column C" in note for note in plan.sheets[0].notes)


def test_a_day_the_other_way_round_stops_its_line(tmp_path):
    lines = [
        ["Row", "Vine", "Day", "Seen"],
        [1, 1, "13/02/2024", "ok"],
        [1, 2, "25/02/2024", "ok"],
        [1, 3, "02/14/2024", "dead arm"],
    ]
    plan = written(tmp_path, lines)
    if plan.sheets[0].day_order == "day":
        assert [entry.position for entry in plan.entries] == [1, 2]
        assert any("other way round" in cause for cause in causes(plan))
    else:
        assert plan.sheets[0].order.value == "ask"


@pytest.mark.parametrize(
    ("word", "text"),
    [
        ("DA N + canker", "dead_arm side N + canker"), ("DA esq.", "dead_arm side L"), ("D.A.", "dead_arm"), ("brazo muerto esq", "dead_arm side L"),
        ("brazo seco dcha", "dead_arm side R"), ("not looked at", "not scouted"), ("da estrada", ""),
    ],
)  # fmt: skip
def test_short_words_of_crews(word, text):
    assert guess_word(word).text == text


def test_of_two_things_that_are_joined_none_is_dropped():
    for word in ("xyz + canker", "canker & xyz", "dead arm N / xyz"):
        guess = guess_word(word)
        assert guess.text == ""
        assert guess.why == "'xyz' in it is not known"


def hidden_book(path):
    """A workbook in which a filter was left on: lines 3 and 5, column E and a sheet of totals are hidden."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "North"
    for line in (
        ["Row", "Vine", "Date", "Status", "Before"],
        [1, 1, "2024-08-12", "ok", "dead arm"],
        [1, 2, "2024-08-12", "dead arm", "ok"],
        [1, 3, "2024-08-12", "ok", "ok"],
        [2, 1, "2024-08-12", "dead arm", "ok"],
    ):
        sheet.append(line)
    sheet.row_dimensions[3].hidden = sheet.row_dimensions[5].hidden = True
    sheet.column_dimensions["E"].hidden = True
    totals = book.create_sheet("Totals")
    totals.append(["North", 4])
    totals.sheet_state = "hidden"
    book.save(path)
    return path


def hidden_ods(path):
    """The same as LibreOffice writes it."""
    write_ods(
        path,
        {
            "North": [["Row", "Vine", "Status", "Before"], [1, 1, "ok", "x"], [1, 2, "dead arm", "x"]],
            "Totals": [["North", 2]],
        },
        {},
    )
    with zipfile.ZipFile(path) as packed:
        text = packed.read("content.xml").decode()
    style = (
        '<office:automatic-styles xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0"><style:style style:name="ta2">'
        '<style:table-properties table:display="false"/></style:style></office:automatic-styles><office:body>'
    )
    columns = '<table:table-column table:number-columns-repeated="3"/><table:table-column table:visibility="collapse"/>'
    text = text.replace("<office:body>", style, 1).replace(
        'table:name="Totals"', 'table:name="Totals" table:style-name="ta2"'
    )
    text = text.replace('<table:table table:name="North">', f'<table:table table:name="North">{columns}')
    lines = text.split("<table:table-row>")
    assert "dead arm" in lines[3]
    text = (
        "<table:table-row>".join(lines[:3])
        + '<table:table-row table:visibility="filter">'
        + "<table:table-row>".join(lines[3:])
    )
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("content.xml", text)
    return path


@pytest.mark.parametrize(
    ("make", "name", "lines"), [(hidden_book, "book.xlsx", "2 lines (3, 5)"), (hidden_ods, "book.ods", "1 line (3)")]
)
def test_what_a_workbook_hides_is_told(tmp_path, make, name, lines):
    pages = {page.name: page for page in read_pages(make(tmp_path / name))}
    north = pages["North"]
    assert any(f"read all the same: {lines}" in note for note in north.notes)
    assert any("left out: column" in note for note in north.notes)
    assert [cells[-1] for _, cells in north.lines].count(
        "dead arm"
    ) >= 1  # a hidden line is read, a hidden column is not
    assert not any("Before" in cells or "x" in cells for _, cells in north.lines)
    assert (north.hidden, pages["Totals"].hidden) == (False, True)


@pytest.mark.parametrize(
    ("text", "read"),
    [("'dead arm", "dead arm"), ("'12", "12"), ("'12.08.2024", "12.08.2024"), ("\u2019ok", "ok"), ("'82 - O'Brien", "'82 - O'Brien"),
     ("'tis O'Brien", "'tis O'Brien"), ("'07 vines", "'07 vines"), ("O'Brien", "O'Brien"), ("'", "'")],
)  # fmt: skip
def test_the_apostrophe_of_a_spreadsheet_is_no_part_of_a_word(tmp_path, text, read):
    assert without_text_sign(text) == read
    book = openpyxl.Workbook()
    book.active.append(["Row", text])
    book.save(tmp_path / "book.xlsx")
    assert read_pages(tmp_path / "book.xlsx")[0].lines[0][1][1] == read


@pytest.mark.parametrize(
    ("word", "heading", "text"),
    [("0 %", "Anteil tot", "sound"), ("50 %", "Anteil tot", "dead_arm 50%"), ("dead 30%", "", "dead_arm 30%"), ("25 %", "% dead", "dead_arm 25%"), ("dead arm 0%", "", "sound")],
)  # fmt: skip
def test_a_share_of_a_dead_vine_is_no_dead_vine(word, heading, text):
    guess = guess_word(word, heading)
    assert (guess.text, guess.certain) == (text, False)
