"""trunkwatch.intake: block_form, row_text, start; a block typed into a form: labels, lengths, alleys, odd rows, units."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.intake import start_file, start_folder
from trunkwatch.intake.block_form import read_block_form
from trunkwatch.intake.row_text import meters_in, row_labels
from trunkwatch.store import Store

FORM = {
    "block": "North", "planted": "2008", "hemisphere": "north", "units": "metric", "many_rows": "3", "first_label": "1", "vines": "10",
    "row_spacing": "2.5", "vine_spacing": "1.5", "rows_go": "right", "numbering": "same_end",
}  # fmt: skip


def read(**typed):
    return read_block_form({**FORM, **typed})


def faults(**typed):
    return {one.column: str(one) for one in read(**typed).faults}


def test_a_plain_block_is_the_one_that_the_command_makes(tmp_path):
    found = read()
    assert found.faults == []
    start_file(tmp_path / "form.gpkg", found.record, found.rows)
    start_file(
        tmp_path / "new.gpkg",
        {
            "block": "North",
            "planted": 2008,
            "hemisphere": "north",
            "row_spacing_m": 2.5,
            "vine_spacing_m": 1.5,
            "rows_go": "right",
            "numbering": "same_end",
        },
        3,
        10,
    )
    told = []
    for name in ("form", "new"):
        with Store.open(tmp_path / f"{name}.gpkg") as store:
            block = store.frame("blocks").drop(columns=["id", "recorded_at", "vineyard"])
            rows = store.frame("rows").drop(columns=["id", "recorded_at", "vineyard", "row_order"])
        told.append((block.to_csv(), rows.to_csv()))
    assert told[0] == told[1]


@pytest.mark.parametrize(
    ("first", "wanted"),
    [
        ("1", ["1", "2", "3"]), ("9", ["9", "10", "11"]), ("A", ["A", "B", "C"]), ("Y", ["Y", "Z", "AA"]), ("a", ["a", "b", "c"]),
        ("R08", ["R08", "R09", "R10"]), ("N-1", ["N-1", "N-2", "N-3"]), ("AZ", ["AZ", "BA", "BB"]),
    ],
)  # fmt: skip
def test_labels_go_on_as_the_first_one_begins(first, wanted):
    assert row_labels(first, 3) == wanted
    assert [line["row"] for line in read(first_label=first).rows] == wanted


def test_a_label_that_does_not_go_on_is_refused():
    with pytest.raises(FaultyNotesError, match=r"'!'\); expected: a label such as 1, A or R01"):
        row_labels("!", 2)


@pytest.mark.parametrize(
    "vines",
    [
        "10\n12\n9",
        "10, 12, 9",
        "1: 10, 2: 12, 3: 9",
        "3: 9; 1: 10; 2: 12",
        "1\t10\n2\t12\n3\t9\n",
        "1 10\n2 12\n3 9",
        "1=10\n2=12\n3=9",
    ],
)
def test_row_lengths_are_pasted_in_many_forms(vines):
    assert [line["last"] for line in read(vines=vines).rows] == [10, 12, 9]
    assert [line["last"] for line in read(vines=vines, many_rows="").rows] in (
        [10, 12, 9],
        [9, 10, 12],
    )  # as they are listed


def test_a_paste_of_lengths_says_how_many_rows_there_are_and_what_they_are_called():
    found = read(many_rows="", vines="12: 62\n13: 60")
    assert [(line["row"], line["row_order"], line["last"]) for line in found.rows] == [("12", 1, 62), ("13", 2, 60)]
    assert found.faults == []


@pytest.mark.parametrize(
    ("typed", "column", "words"),
    [
        ({"block": ""}, "block", "the block has no name"),
        ({"planted": "20O8"}, "planted", "'20O8'"),
        ({"planted": "1500"}, "planted", "1700 to 2200"),
        ({"training": "espalier"}, "training", "one of unilateral"),
        ({"hemisphere": ""}, "hemisphere", "side of the equator"),
        ({"many_rows": "0"}, "many_rows", "('0'); expected: a whole number from 1 to 2000"),
        ({"many_rows": "", "vines": ""}, "many_rows", "how many rows there are"),
        ({"many_rows": ""}, "many_rows", "in place of 10"),
        ({"vines": ""}, "vines", "how many vines"),
        ({"vines": "ten"}, "vines", "('ten'); expected: a whole number from 1 to 5000"),
        ({"vines": "5001"}, "vines", "'5001'"),
        ({"vines": "5000", "many_rows": "2000"}, "vines", "at most 1000000 places"),
        ({"vines": "10\n12"}, "vines", "2 numbers for 3 rows"),
        ({"vines": "1: 10, 2: 12"}, "vines", "no number for row 3"),
        ({"vines": "1: 10, 2: 12, 3: 9, 2: 8"}, "vines", "row 2 stands twice"),
        ({"vines": "1: 10, 2: 12, 7: 9"}, "vines", "there is no row 7"),
        ({"vines": "1: 10, 12, 3: 9"}, "vines", "('12'); expected: row and number"),
        ({"row_spacing": "wide"}, "row_spacing", "'wide m'"),
        ({"row_spacing": "0.1"}, "row_spacing", "too small between rows ('0.1 m'); expected: 0.3 to 12 m"),
        ({"units": "us", "vine_spacing": "30"}, "vine_spacing", "too large between vines in a row ('30 ft')"),
        ({"vine_spacing": ""}, "vine_spacing", "both, or none"),
        ({"row_alleys": "3: 6"}, "row_alleys", "no row follows row 3"),
        ({"row_alleys": "8: 6"}, "row_alleys", "there is no row 8"),
        ({"row_alleys": "1: 2"}, "row_alleys", "('2 m'); expected: more than 2.5 m"),
        ({"row_alleys": "six"}, "row_alleys", "('six'); expected: row and distance"),
        ({"vine_alleys": "10: 6"}, "vine_alleys", "no vine follows vine 10"),
        ({"vine_alleys": "4: 6; 4: 7"}, "vine_alleys", "4 stands twice"),
        ({"odd_rows": "2 starts at 3"}, "odd_rows", "row, colon, and what is odd"),
        ({"odd_rows": "9: starts at 3"}, "odd_rows", "there is no row 9"),
        ({"odd_rows": "2: starts 4 later"}, "odd_rows", "'starts 4 later'"),
        ({"odd_rows": "2: starts at 11"}, "odd_rows", "row 2 ends at 10"),
        ({"odd_rows": "2: alley 6 after 10"}, "odd_rows", "row 2 goes from 1 to 10"),
        ({"odd_rows": "2: starts at 3, starts 2 vines later"}, "odd_rows", "stands twice"),
        ({"row_bearing_deg": "400"}, "row_bearing_deg", "('400'); expected: degrees from 0 to 360"),
        ({"row_bearing_deg": "north east"}, "row_bearing_deg", "'north east'"),
    ],
)  # fmt: skip
def test_each_fault_stands_beside_its_field_with_the_value_and_the_way_out(typed, column, words):
    told = faults(**typed)
    assert list(told) == [column]
    assert words in told[column]


def test_a_name_that_is_taken_is_refused():
    found = read_block_form(FORM, {"North"})
    assert [(one.column, one.value) for one in found.faults] == [("block", "North")]


@settings(max_examples=60, deadline=None)
@given(st.integers(100, 3900), st.integers(70, 2600))
def test_feet_become_meters_to_a_billionth(row_hundredths, vine_hundredths):
    row, vine = row_hundredths / 100, vine_hundredths / 100
    found = read(
        units="us",
        row_spacing=f"{row:.2f}",
        vine_spacing=f"{vine:.2f}",
        vine_alleys=f"5: {vine + 1.37:.2f}",
        row_alleys=f"2: {row + 3.1:.2f}",
    )
    assert found.faults == []
    assert abs(found.record["row_spacing_m"] - row * 0.3048) < 1e-9
    assert abs(found.record["vine_spacing_m"] - vine * 0.3048) < 1e-9
    assert abs(float(found.rows[0]["breaks"].split(":")[1]) - (vine + 1.37) * 0.3048) < 1e-9
    assert abs(found.rows[2]["across_m"] - (2 * row + 3.1) * 0.3048) < 1e-9


@pytest.mark.parametrize(
    ("text", "meters"),
    [
        ("6", 1.8288),
        ("6 m", 6.0),
        ("6,5 m", 6.5),
        ("20'", 6.096),
        ("20 feet", 6.096),
        ("0", None),
        ("-3", None),
        ("x", None),
        ("1e3", None),
    ],
)
def test_a_length_may_name_its_unit(text, meters):
    assert meters_in(text, "ft") == (None if meters is None else pytest.approx(meters, abs=1e-12))


def test_odd_rows_and_alleys_lie_where_they_are_typed():
    found = read(
        vines="10",
        odd_rows="1: starts 2 vines later\n2..3: starts at 4, alley 6 after 7\n3: numbered from the end",
        row_alleys="2: 6",
        vine_alleys="5: 4",
    )
    assert found.faults == []
    one, two, three = found.rows
    assert (one["start_m"], one["first"], one["breaks"]) == (3.0, 1, "5:4")
    assert (two["start_m"], two["first"], two["breaks"]) == (4.5, 4, "5:4; 7:6")
    assert "start_m" not in three  # the positions that are not there are those at its far end
    assert (three["first"], three["numbered_from"]) == (4, "end")
    assert [line["across_m"] for line in found.rows] == [0.0, 2.5, 8.5]
    assert int(found.grid.exists.sum()) == 10 + 7 + 7


def test_a_line_that_is_half_typed_takes_nothing_from_the_others():
    found = read(odd_rows="1: starts at 3\n2: sta", row_alleys="1: 6; 2", vine_alleys="4: 5; 7:")
    assert {one.column for one in found.faults} == {"odd_rows", "row_alleys", "vine_alleys"}
    assert found.grid is not None
    assert (found.rows[0]["first"], found.rows[1]["across_m"], found.rows[2]["breaks"]) == (3, 6.0, "4:5")


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(["vines", "odd_rows", "row_alleys", "vine_alleys", "many_rows", "first_label", "block", "row_spacing"]),
                       st.text(st.sampled_from("019AB:;,.= \n\tmft'starlengvy..\u00e9\u0663"), max_size=40)))  # fmt: skip
def test_whatever_is_typed_is_read_or_told(typed):
    found = read(**typed)
    assert found.grid is not None or found.faults


def test_rows_of_their_own_go_the_road_of_the_command_and_no_block_is_written_over(tmp_path):
    lines = [{"row": "A", "first": 1, "last": 4}, {"row": "B", "first": 2, "last": 9}]
    for path, begin in ((tmp_path / "v.gpkg", start_file), (tmp_path / "v", start_folder)):
        begin(path, {"block": "North", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, lines)
        with pytest.raises(Exception, match="has a block 'North' already; choose another label"):
            begin(path, {"block": "North", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, 5, 20)
    with Store.open(tmp_path / "v.gpkg") as store:
        assert store.frame("rows")[["row", "first", "last"]].to_numpy().tolist() == [["A", 1, 4], ["B", 2, 9]]


def test_two_who_make_one_block_at_once_do_not_mix_their_rows(tmp_path, monkeypatch):
    """The second one looked before the first one wrote: it is asked again while nobody else can write."""
    from trunkwatch.intake import start

    path = tmp_path / "v.gpkg"
    start_file(path, {"block": "Mill"}, 2, 4)
    add_made = start.add_made

    def meanwhile(where, make):
        monkeypatch.setattr(start, "add_made", add_made)
        start_file(path, {"block": "North"}, 2, 4)
        return add_made(where, make)

    monkeypatch.setattr(start, "add_made", meanwhile)
    with pytest.raises(RecordError, match="has a block 'North' already"):
        start_file(path, {"block": "North"}, 7, 9)
    with Store.open(path) as store:
        assert len(store.frame("rows", "North")) == 2


def test_a_row_behind_another_stands_on_its_line():
    found = read(many_rows="", vines="6: 5, 7A: 2, 7B: 2, 8: 5", odd_rows="7B: 4.5 m behind 7A", row_alleys="7A: 5")
    assert found.faults == []
    assert found.grid.labels == ("6", "7A", "7B", "8")
    assert [(line["row"], line["row_order"], line["across_m"], line.get("start_m")) for line in found.rows] == [
        ("6", 1, 0.0, None),
        ("7A", 2, 2.5, None),
        ("7B", 2, 2.5, 6.0),
        ("8", 3, 7.5, None),
    ]
    assert found.grid.row("7B").line == found.grid.row("7A").line
    assert found.grid.along_m[found.grid.cell("7B", 1)] == 6.0


def test_a_row_behind_another_goes_on_counting_without_an_alley():
    found = read(many_rows="", vines="7A: 2, 7B: 5, 8: 5", odd_rows="7B: behind row 7A, starts at 3")
    assert found.faults == []
    assert found.grid.position.tolist() == [[1, 2, 3, 4, 5], [1, 2, 3, 4, 5]]
    assert found.grid.which.tolist() == [[0, 0, 1, 1, 1], [2, 2, 2, 2, 2]]


def test_a_row_that_is_not_the_next_one_cannot_stand_behind():
    assert (
        "row 8 is not the row after 7A"
        in faults(many_rows="", vines="7A: 2, 7B: 2, 8: 5", odd_rows="8: behind 7A")["odd_rows"]
    )
    told = faults(many_rows="", vines="7A: 2, 7B: 2", odd_rows="7B: behind 7A", row_spacing="", vine_spacing="")
    assert "where row 7B begins hangs on the spacing" in told["odd_rows"]
