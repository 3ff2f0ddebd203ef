"""trunkwatch.programme: vine_files, region; and the pattern of all blocks. Sums over files are the counts of `incidence`."""

import csv
import json
import shutil
from typing import Self

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner
from made_programme import ENDED, OPEN, Grower, make_programme, make_vineyard, write_catalogue

from trunkwatch.block import load
from trunkwatch.block.vine_seasons import VINE_SEASONS, vine_seasons
from trunkwatch.cli import main
from trunkwatch.cli.json_schema import schema_of
from trunkwatch.errors import FileError, MissingExtraError, RecordError
from trunkwatch.history import RATES
from trunkwatch.programme import vine_files
from trunkwatch.programme.region import BlockSums, block_sums, group_rates
from trunkwatch.programme.vine_files import VineFiles, check_region
from trunkwatch.stats.shares import incidence_of_rows

pytest.importorskip("duckdb", reason="the extra `region` is not installed")
parquet = pytest.importorskip("pyarrow.parquet", reason="the extra `region` is not installed")
BLOCKS = ("Mill", "Chapel", "Orchard", "Hollow")


def run(*words, code=0):
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == code, result.output
    return result


def told(folder, task, *words):
    found = json.loads(run("programme", folder, task, "--workers", 1, *words, "--json").stdout)
    jsonschema.validate(found, schema_of("programme"), cls=jsonschema.Draft202012Validator)
    return found


@pytest.fixture(scope="module")
def sample(tmp_path_factory, pytestconfig):
    """The sample vineyard as the only one of a programme, with its files."""
    folder = tmp_path_factory.mktemp("sample")
    shutil.copytree(pytestconfig.rootpath / "sample_blocks", folder / "vines")
    write_catalogue(folder, [Grower("Fern 12", "vines", ("compare",), OPEN, region="hills")])
    return folder, told(folder, "vine-seasons")


def sample_files(sample):
    folder, data = sample
    return {one["block"]: folder / "vine_seasons" / one["file"] for one in data["growers"][0]["blocks"]}


@pytest.mark.long
@pytest.mark.parametrize("rate", RATES)
def test_every_rate_of_every_block_and_season_is_that_of_incidence(sample, pytestconfig, rate):
    sums = {
        (one.label[1], one.season): one
        for one in group_rates(block_sums(list(sample_files(sample).values()), rate), "block")
    }
    seen = 0
    for block in BLOCKS:
        data = json.loads(run("incidence", pytestconfig.rootpath / "sample_blocks", "--block", block, "--json").stdout)
        for season in data["seasons"]:
            one = sums.pop((block, season["season"]))
            expected = season[rate]
            assert (one.cases, one.vines) == (expected["cases"], expected["vines"]), (block, season["season"])
            assert one.definition == data["definition"]
            assert one.at_least == expected["at_least"]
            if expected["vines"]:
                assert (one.limits.low, one.limits.high) == pytest.approx((expected["low"], expected["high"]))
                seen += 1
    assert not sums
    assert seen >= (30 if rate != "relapse" else 10)


@pytest.mark.long
def test_columns_are_those_of_the_export_and_what_vines_are_told_apart_by(sample, pytestconfig):
    table = parquet.read_table(sample_files(sample)["Mill"]).to_pandas()
    assert tuple(table.columns[: len(VINE_SEASONS)]) == VINE_SEASONS
    expected = vine_seasons(load(pytestconfig.rootpath / "sample_blocks", "Mill").history)
    for column in VINE_SEASONS:
        assert table[column].tolist() == expected[column].tolist(), column
    assert not {"longitude", "latitude"} & set(table.columns)
    assert set(table["grower"]) == {"Fern 12"}
    assert set(table["region"]) == {"hills"}
    assert set(table["cultivar"]) == {"Brannet"}
    assert set(table["planted"]) == {2003}


def test_a_vine_that_nobody_scouted_is_in_no_rate(sample):
    table = parquet.read_table(sample_files(sample)["Hollow"]).to_pandas()
    unseen = table[(table["season"] == 2020) & ~table["looked_at"]]
    assert len(unseen) > 50
    assert unseen["annual"].isna().all()
    assert set(unseen["condition"]) >= {"not seen"}


@pytest.mark.long
def test_a_second_run_writes_nothing_and_one_more_finding_one_file(sample, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(sample[0], folder)
    again = told(folder, "vine-seasons")
    assert (again["computed"], again["kept"]) == (0, 4)
    with (folder / "vines" / "symptoms.csv").open(newline="", encoding="utf-8-sig") as file:
        names = next(csv.reader(file))
    line = {
        "block": "Mill",
        "row": "2",
        "position": "9",
        "date": "2026-08-20",
        "symptom": "leaf_stripe",
        "observer": "Ida",
    }
    with (folder / "vines" / "symptoms.csv").open("a", newline="", encoding="utf-8") as file:
        csv.DictWriter(file, names).writerow(line)
    now = told(folder, "vine-seasons")
    assert (now["computed"], now["kept"]) == (1, 3)
    mill = parquet.read_table(folder / "vine_seasons" / "Fern_12" / "Mill.parquet").to_pandas()
    vine = mill[(mill["row"] == "2") & (mill["position"] == 9) & (mill["season"] == 2026)]
    assert vine["condition"].tolist() == ["showing"]


@pytest.mark.long
def test_a_damaged_file_is_written_anew(sample, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(sample[0], folder)
    path = folder / "vine_seasons" / "Fern_12" / "Mill.parquet"
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert told(folder, "vine-seasons")["computed"] == 1
    assert path.read_bytes() == whole


def test_a_damaged_file_that_is_summed_is_named_with_the_way_out(tmp_path):
    path = tmp_path / "G_1" / "A.parquet"
    path.parent.mkdir()
    path.write_bytes(b"PAR1 and no more")
    with pytest.raises(FileError, match=r"cannot be summed: .*A\.parquet.*delete them and run this again"):
        block_sums([path])


def test_a_long_sum_prints_nothing_among_the_answers(sample, capfd):
    """Where a program is asked from a prompt the engine would draw a bar on the output after two seconds."""
    import duckdb

    asked = []
    connect = duckdb.connect

    class Watched:
        def __init__(self, base) -> None:
            self.base = base

        def __enter__(self) -> Self:
            return self

        def __exit__(self, *_) -> None:
            self.base.close()

        def execute(self, *words):
            if "SELECT" in words[0]:
                asked.append(self.base.execute("SELECT current_setting('enable_progress_bar')").fetchone()[0])
            return self.base.execute(*words)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(duckdb, "connect", lambda **words: Watched(connect(**words)))
        assert block_sums(list(sample_files(sample).values()))
    assert asked == [False]
    assert capfd.readouterr().out == ""


@pytest.fixture
def made(tmp_path):
    return make_programme(tmp_path / "made", 8)


@pytest.mark.long
def test_files_of_those_who_agree_no_more_and_of_blocks_that_are_gone_are_deleted(made):
    told(made, "vine-seasons")
    there = {path.parent.name for path in (made / "vine_seasons").glob("*/*.parquet")}
    assert there == {"Fern_1", "Fern_1_3a0b", "G_2", "G_6", "G_7"}  # G 3 to G 5 agreed to nothing that holds today
    (made / "vine_seasons" / "G_6" / "notes.parquet").write_bytes(b"of somebody else")
    growers = [
        Grower("Fern 1", "v00", ("compare",), OPEN),
        Grower("Fern-1", "v01", ("compare",), ENDED),
        Grower("G 2", "v02", ("compare",), OPEN),
    ]
    write_catalogue(made, growers)
    result = run("programme", made, "vine-seasons", "--workers", 1)
    assert "8 vine-season files of blocks that are gone, or of growers who agree no more, deleted" in result.stderr
    left = {path.parent.name for path in (made / "vine_seasons").glob("*/*.parquet")}
    assert left == {"Fern_1", "G_2", "G_6"}
    assert [path.name for path in (made / "vine_seasons" / "G_6").iterdir()] == ["notes.parquet"]
    assert "Fern-1" not in run("programme", made, "rates", "--workers", 1).stdout


@pytest.mark.long
def test_a_run_of_one_grower_deletes_nothing_of_others(made):
    told(made, "vine-seasons")
    before = sorted((made / "vine_seasons").glob("*/*.parquet"))
    told(made, "vine-seasons", "--grower", "G 2")
    assert sorted((made / "vine_seasons").glob("*/*.parquet")) == before


@pytest.mark.long
def test_rates_by_cultivar_add_up_and_say_from_how_many(made):
    by_block = told(made, "rates")["rates"]
    for by in ("cultivar", "age", "region", "rootstock"):
        groups = told(made, "rates", "--by", by)["rates"]
        for name in ("cases", "vines", "blocks"):
            for season in {one["season"] for one in by_block}:
                sums = [sum(one[name] for one in listed if one["season"] == season) for listed in (by_block, groups)]
                assert sums[0] == sums[1], (by, name, season)
        assert sum(one["vines"] for one in groups) > 1000
    (alone,) = {one["group"] for one in told(made, "rates", "--by", "region")["rates"]}
    assert alone == ""


@pytest.mark.long
def test_what_is_printed_says_that_it_is_the_educators_own(made):
    files = run("programme", made, "vine-seasons", "--workers", 1).stdout
    assert "These files hold records and are yours alone" in files
    shown = run("programme", made, "rates", "--by", "age", "--workers", 1).stdout
    assert "These counts are exact and yours alone" in shown
    assert "`trunkwatch pool` makes a table to pass on" in shown
    assert "no ranking" in shown


def sums_of(block, grower, cases, vines, **more):
    return BlockSums(
        **(
            {
                "grower": grower,
                "block": block,
                "season": 2026,
                "definition": "any",
                "region": "",
                "cultivar": "Corvise",
                "rootstock": "",
                "planted": 2000,
                "counted": True,
                "compared": True,
                "inspections": "leafy",
                "cases": cases,
                "vines": vines,
                "at_least": False,
            }
            | more
        )
    )


def test_a_group_has_the_range_of_blocks_and_not_of_vines():
    (one,) = group_rates(
        [sums_of("A", "G 1", 2, 40), sums_of("B", "G 1", 30, 60), sums_of("A", "G 2", 0, 50)], "cultivar"
    )
    assert (one.cases, one.vines, one.blocks, one.growers) == (32, 150, 3, 2)
    assert one.limits == incidence_of_rows([2, 30, 0], [40, 60, 50])
    (alone,) = group_rates([sums_of("A", "G 1", 2, 40)], "cultivar")
    assert alone.limits is None


def test_vines_of_a_mixed_block_are_in_the_group_of_their_own_cultivar():
    mixed = [sums_of("A", "G 1", 2, 40), sums_of("A", "G 1", 5, 20, cultivar="Brannet")]
    assert [(one.label, one.cases, one.vines) for one in group_rates(mixed, "cultivar")] == [
        (("Brannet",), 5, 20),
        (("Corvise",), 2, 40),
    ]
    (whole,) = group_rates(mixed, "block")
    assert (whole.cases, whole.vines, whole.blocks) == (7, 60, 1)


def test_seasons_scouted_otherwise_and_other_definitions_are_not_added_up():
    found = group_rates(
        [
            sums_of("A", "G 1", 2, 40),
            sums_of("B", "G 2", 3, 40, inspections="bare leafy"),
            sums_of("C", "G 3", 4, 40, definition="leaf"),
        ],
        "cultivar",
    )
    assert [(one.definition, one.inspections, one.cases) for one in found] == [
        ("any", "bare leafy", 3),
        ("any", "leafy", 2),
        ("leaf", "leafy", 4),
    ]


def test_age_is_that_of_the_season_and_a_block_without_a_year_stands_apart():
    found = group_rates(
        [
            sums_of("A", "G 1", 1, 40, planted=2010),
            sums_of("A", "G 1", 1, 40, planted=2010, season=2019),
            sums_of("B", "G 1", 1, 9, planted=None),
        ],
        "age",
    )
    assert [(one.label[0], one.season) for one in found] == [("", 2026), ("0 to 9", 2019), ("10 to 19", 2026)]


def test_what_cannot_be_asked_is_refused():
    with pytest.raises(ValueError, match="rate is 'yearly'"):
        block_sums([], "yearly")
    with pytest.raises(ValueError, match="by is 'grower'"):
        group_rates([], "grower")
    with pytest.raises(RecordError, match="`trunkwatch programme FOLDER vine-seasons` writes them"):
        block_sums([])


def test_without_the_extra_one_sentence_says_what_to_install(monkeypatch, made):
    for missing, task in (("pyarrow", "vine-seasons"), ("duckdb", "rates")):
        monkeypatch.setattr(vine_files, "find_spec", lambda name, missing=missing: None if name == missing else name)
        with pytest.raises(MissingExtraError, match=rf"need {missing}: pip install 'trunkwatch\[region\]'"):
            check_region(asked=True)
        result = run("programme", made, task, code=1)
        assert f"need {missing}: pip install" in result.stderr.splitlines()[-1]
    monkeypatch.setattr(vine_files, "find_spec", lambda name: None if name == "duckdb" else name)
    assert VineFiles(made / "vine_seasons").files() == []  # files can be written without asking them


def test_a_season_is_no_option_of_what_holds_all_seasons(made):
    assert "all seasons are in it" in run("programme", made, "rates", "--season", 2026, code=2).stderr


@pytest.mark.long
def test_the_pattern_of_all_blocks_is_that_of_each(tmp_path):
    make_vineyard(tmp_path / "v0", 0, labels=["A", "B"], rows=8, vines=20, seasons=(2025, 2026), cases=30)
    write_catalogue(
        tmp_path, [Grower("G 0", "v0")]
    )  # what the educator reads for themselves takes no consent, as `ready`
    found = told(tmp_path, "pattern", "--permutations", 99)
    alone = json.loads(run("pattern", tmp_path / "v0", "--all-blocks", "--permutations", 99, "--json").stdout)
    blocks = found["growers"][0]["blocks"]
    assert [one["words"] for one in blocks] == [one["words"] for one in alone]
    assert [(one["cases"], one["vines"]) for one in blocks] == [(one["cases"], one["vines"]) for one in alone]
    assert any(one["words"] != ["too few to say"] for one in blocks)
    shown = run("programme", tmp_path, "pattern", "--permutations", 99).stdout
    assert shown.startswith("G 0\n")
    assert f"of {blocks[0]['vines']} vines: {', '.join(blocks[0]['words'])}" in " ".join(shown.split())
    assert told(tmp_path, "pattern", "--permutations", 99)["kept"] == 2


def test_masks_of_numerators_lie_within_their_denominators(sample):
    for path in sample_files(sample).values():
        table = parquet.read_table(path).to_pandas()
        for rate in RATES:
            values = table[rate].dropna()
            assert set(np.unique(values.astype(bool))) <= {False, True}
        assert not table["annual"][~table["counted"]].notna().any()
