"""trunkwatch.peers: gather, who_scouted, grouped; counts of invented growers, by hand."""

import math

import pytest
from made_growers import ROWS, VINES, write_grower, write_growers

from trunkwatch.block import load
from trunkwatch.errors import FileError, RecordError
from trunkwatch.history import rate
from trunkwatch.peers.gather import BlockRow, gather
from trunkwatch.peers.grouped import FEWEST_IN_GROUP, grouped, label_of
from trunkwatch.peers.who_scouted import Apart, who_scouted


def row(**values):
    plain = {
        "block": "A",
        "grower": "G",
        "season": 2024,
        "cases": 5,
        "vines": 100,
        "age": 12.0,
        "cultivar": "Brannet",
        "rootstock": "",
        "training": "",
        "observers": ("Ann",),
        "classes": frozenset({"leafy"}),
    }
    return BlockRow(**{**plain, **values})


def test_counts_are_those_of_each_block_alone(tmp_path):
    paths = write_growers(tmp_path, growers=3)
    found = gather(paths)
    assert found.blocks == tuple(f"Farm {g}/Field {b}" for g in range(3) for b in range(2))
    assert found.growers == ("Farm 0", "Farm 1", "Farm 2")
    assert len(found.rows) == 3 * 2 * 3
    for one in found.rows:
        number, label = one.grower[-1], one.block.split("/")[1]
        alone = rate(load(tmp_path / f"farm{number}", label).history, "annual", one.season)
        assert (one.cases, one.vines) == (alone.cases, alone.vines)
        assert one.vines == ROWS * VINES
        assert one.age == one.season - 2000 - int(number)
        assert one.observers == (f"Scout {number}",)


def test_one_grower_keeps_short_names_and_what_is_not_written_is_not_guessed(tmp_path):
    found = gather([write_grower(tmp_path / "hill", "", {"North": ("", "", 0.1), "South": ("Sallow", 1999, None)})])
    assert found.blocks == ("North",)
    assert found.growers == ("hill",)
    assert math.isnan(found.rows[0].age)
    assert found.rows[0].cultivar == ""
    assert [(one.block, one.reason) for one in found.left] == [("South", "")]


def test_a_block_of_one_grower_in_two_files_is_refused(tmp_path):
    first = write_grower(tmp_path / "a" / "notes", "", {"North": ("Sallow", 1999, 0.1)})
    second = write_grower(tmp_path / "b" / "notes", "", {"North": ("Sallow", 2009, 0.2)}, seed=2)
    with pytest.raises(RecordError, match=r"block 'North' of 'notes' stands in .*rename"):
        gather([first, second])


def test_other_inspections_are_left_out_and_counted(tmp_path):
    paths = write_growers(tmp_path, growers=2)
    surveys = paths[0] / "surveys.csv"
    lines = surveys.read_text().splitlines()
    bare = (
        lines[1]
        .replace("summer 2022", "dormant 2022")
        .replace("2022-08-15", "2022-02-01")
        .replace(",summer,", ",dormant,")
    )
    surveys.write_text("\n".join([*lines, bare]) + "\n")
    found = gather(paths)
    assert found.other_looks == 1
    assert len(found.rows) == 11
    assert {one.classes for one in found.rows} == {frozenset({"leafy"})}


def test_what_is_no_vineyard_is_refused(tmp_path):
    with pytest.raises(FileError, match="no vineyard"):
        gather([tmp_path / "nothing.gpkg"])


def test_groups_by_age_and_by_what_is_written():
    assert [label_of(row(age=age), "age") for age in (0, 9, 10, 29, 30, 80)] == [
        "0 to 9",
        "0 to 9",
        "10 to 19",
        "20 to 29",
        "30 and over",
        "30 and over",
    ]
    assert label_of(row(age=float("nan")), "age") == ""
    assert label_of(row(rootstock="R30"), "rootstock") == "R30"
    with pytest.raises(ValueError, match="'grower'"):
        label_of(row(), "grower")


def test_how_many_show_and_how_much_where_they_do():
    rows = [row(block=str(number), cases=cases) for number, cases in enumerate((0, 0, 4, 6, 8, 10, 12))]
    (group,) = grouped(rows, "cultivar")
    (season,) = group.seasons
    assert (season.prevalence.cases, season.prevalence.vines) == (5, 7)
    assert season.where_present.share == pytest.approx(40 / 500)
    assert season.shares.share < season.where_present.share
    assert season.shares.low < 40 / 700 < season.shares.high
    assert math.isnan(group.trend.statistic)


def test_too_few_blocks_have_counts_and_no_rate():
    rows = [row(block=str(number)) for number in range(FEWEST_IN_GROUP - 1)]
    (group,) = grouped(rows, None)
    assert group.trend is None
    assert group.seasons[0].shares is None
    assert group.seasons[0].where_present is None
    assert group.seasons[0].cases == 5 * len(rows)


@pytest.mark.parametrize(
    ("rows", "apart", "alone"),
    [
        ([("G", ("Ann",)), ("G", ("Bo",))], Apart.ONE_GROWER, ("G",)),
        ([("G", ("Ann",)), ("H", ("Bo",))], Apart.CONFOUNDED, ("G", "H")),
        ([("G", ("Ann",)), ("H", ("ann ",))], Apart.LINKED, ()),
        ([("G", ("Ann",)), ("H", ("Ann", "Bo")), ("I", ("Bo",))], Apart.LINKED, ()),
        ([("G", ("Ann",)), ("H", ("Ann",)), ("I", ("Bo",))], Apart.IN_PARTS, ("I",)),
        ([("G", ("Ann",)), ("H", ("",))], Apart.NOT_WRITTEN, ("G", "H")),
    ],
)
def test_whether_growers_can_be_told_from_observers(rows, apart, alone):
    found = who_scouted([row(grower=grower, observers=names) for grower, names in rows])
    assert found.apart is apart
    assert found.alone == alone
