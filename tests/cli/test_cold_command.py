"""The command cold, as people call it. trunkwatch.cold: of_store; trunkwatch.cli: cold_command, cold_as_json."""

import json
import shutil

import pandas as pd
import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator
from winter_model.made import made_winters

from trunkwatch.cli import main
from trunkwatch.cli.json_schema import schema_of


@pytest.fixture(scope="module")
def hill(tmp_path_factory):
    path = tmp_path_factory.mktemp("cold") / "hill"
    path.mkdir()
    (path / "blocks.csv").write_text(
        "block,cultivar,latitude,longitude\nTop,Riesling,44,-30\nMid,Merlot,44,-30\nWest,Pinot noir,44,-30\n"
    )
    rows = [
        "block,row,first,last,cultivar",
        "Top,1,1,20,",
        "Mid,1,1,20,",
        "Mid,2,1,20,Concord",
        "Mid,3,1,20,",
        "West,1,1,9,",
    ]
    (path / "rows.csv").write_text("\n".join(rows) + "\n")
    columns = ["date", "t_min_c", "t_max_c", "rain_mm"]
    made_winters(2010, 2027, colder=5, seed=7)[columns].to_csv(path / "weather.csv", index=False)
    return path


def _cold(hill, *more):
    return CliRunner().invoke(main, ["cold", str(hill), "--date", "2027-01-20", *more])


def test_every_block_has_its_answer_first_and_the_cautions_last(hill):
    done = _cold(hill)
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert [line for line in lines if line.startswith("Block")] == [
        "Block Top, Riesling, winter 2026/27",
        "Block Mid, Merlot, winter 2026/27",
        "Block Mid, Concord, winter 2026/27",
        "Block West, Pinot noir, winter 2026/27",
    ]
    assert lines[1].startswith("  Primary buds killed so far, likely")
    assert lines[-2].startswith("Cold, ice, ladders and saws")
    assert lines[-1].startswith("A model is no diagnosis")
    assert max(map(len, lines)) <= 80


def test_details_keep_to_80_columns_and_hold_the_dissent(hill):
    done = _cold(hill, "--details", "--block", "Top")
    assert done.exit_code == 0
    assert max(map(len, done.output.splitlines())) <= 80
    assert "South Africa" in done.output
    assert "20 to 31 January" in done.output
    assert "Mid" not in done.output
    assert "0\n" not in done.output.replace("100\n", "")


def test_a_group_stands_in_and_a_count_corrects(hill):
    done = _cold(hill, "--block", "West", "--stand-in", "tender", "--count", "20/100")
    assert done.exit_code == 0
    assert 'the group "tender" stands in' in " ".join(done.output.split())
    assert "Counted 20 of 100 dead" in done.output
    assert "times the nodes" in done.output


@pytest.mark.parametrize(("given", "code", "says"), [
    (("--count", "20/100"), 2, "say which with --block"),
    (("--block", "Top", "--count", "20 of 100"), 2, "write dead and cut as 20/100"),
    (("--block", "Top", "--count", "120/100"), 1, "120 dead of 100 buds cannot be"),
    (("--block", "Mid", "--count", "20/100"), 1, "several cultivars (Merlot, Concord)"),
    (("--block", "Nowhere"), 1, "Nowhere"),
    (("--date", "soon"), 2, "'soon' is no day"),
])  # fmt: skip
def test_what_cannot_be_is_one_clear_line(hill, given, code, says):
    done = _cold(hill, *given)
    assert done.exit_code == code
    assert says in done.output


def test_json_holds_the_numbers(hill):
    done = _cold(hill, "--json", "--block", "Top")
    (block,) = json.loads(done.output)["blocks"]
    assert block["model"] == "daily"
    assert block["killed"][0] < block["killed"][1]
    assert block["half_dies_c"][0] > block["half_dies_c"][1]
    assert block["window"]["winters"] == 16
    assert len(block["window"]["stretches"]) == 7
    assert block["text"][0].startswith("Primary buds killed so far, likely")


def test_the_invented_vineyard_names_no_cultivar_that_a_model_knows(pytestconfig):
    done = CliRunner().invoke(main, ["cold", str(pytestconfig.rootpath / "sample_blocks"), "--date", "2026-01-20"])
    assert done.exit_code == 0
    assert done.output.count("none is guessed by likeness") == 4


def test_a_group_stands_in_for_the_invented_cultivars_in_the_winter_that_killed(pytestconfig):
    sample = str(pytestconfig.rootpath / "sample_blocks")
    asked = ("cold", sample, "--block", "Hollow", "--stand-in", "medium", "--date")
    killing, mild = (CliRunner().invoke(main, [*asked, day, "--json"]) for day in ("2021-01-20", "2026-01-20"))
    told = [json.loads(done.output)["blocks"][0] for done in (killing, mild)]
    assert told[0]["worst_night"] == "2021-01-09"
    assert told[0]["killed"][0] > 0.1
    assert told[1]["killed"][1] < 0.005
    assert told[1]["window"]["winters"] == 9


def test_days_that_are_missing_are_named(hill, tmp_path):
    for name in ("blocks.csv", "rows.csv"):
        (tmp_path / name).write_text((hill / name).read_text())
    days = pd.read_csv(hill / "weather.csv")
    days[~days["date"].between("2026-09-01", "2026-10-31")].to_csv(tmp_path / "weather.csv", index=False)
    assert "55 days are missing, 7 September 2026 to 31 October 2026" in " ".join(
        _cold(tmp_path, "--block", "Top").output.split()
    )


def test_fahrenheit_and_celsius_give_the_same_page(hill, tmp_path):
    pages = []
    table = pd.read_csv(hill / "weather.csv")
    for unit in ("C", "F"):
        folder = tmp_path / unit
        folder.mkdir()
        for name in ("blocks.csv", "rows.csv"):
            (folder / name).write_text((hill / name).read_text())
        own = (
            table
            if unit == "C"
            else table.assign(t_min_c=table["t_min_c"] * 1.8 + 32, t_max_c=table["t_max_c"] * 1.8 + 32)
        )
        own.rename(columns={"t_min_c": "Low", "t_max_c": "High", "rain_mm": "Rain (mm)"}).to_csv(
            tmp_path / "s.csv", index=False
        )
        done = CliRunner().invoke(
            main, ["load", str(folder), str(tmp_path / "s.csv"), "--table", "weather", "--units", unit]
        )
        assert done.exit_code == 0, done.output
        pages.append(_cold(folder, "--details").output)
    assert pages[0] == pages[1]
    assert "Half of the buds" in pages[0]


def test_the_crews_own_limits_change_the_days_that_can_be_worked(hill):
    shares = []
    for given in ((), ("--work-above", "5"), ("--work-rain", "0.1")):
        (block,) = json.loads(_cold(hill, "--json", "--block", "Top", *given).output)["blocks"]
        shares.append([one["workable"] for one in block["window"]["stretches"]])
    assert all(less < most for most, less in zip(shares[0], shares[1], strict=True))
    assert sum(shares[2]) < sum(shares[0])


def test_counts_on_record_are_taken_and_count_stands_in_their_place(hill, tmp_path):
    import shutil

    copy = tmp_path / "hill"
    shutil.copytree(hill, copy)
    (copy / "bud_counts.csv").write_text(
        "block,date,cultivar,part,canes,buds,primary_dead\nMid,2027-01-19,Concord,hollow,25,100,45\n"
    )
    done = CliRunner().invoke(main, ["cold", str(copy), "--date", "2027-01-20"])
    assert done.exit_code == 0, done.output
    text = " ".join(done.output.split())
    assert text.count("Counted 45 of 100 dead") == 1
    assert text.index("Block Mid, Concord") < text.index("Hollow: Counted 45 of 100 dead") < text.index("Block West")
    told = json.loads(CliRunner().invoke(main, ["cold", str(copy), "--date", "2027-01-20", "--json"]).stdout)
    (count,) = [one for block in told["blocks"] for one in block["counts"]]
    assert (count["part"], count["dead"], count["buds"], count["date"]) == ("hollow", 45, 100, "2027-01-19")
    assert count["low"] < count["share"] < count["high"]


@pytest.mark.long
def test_past_counts_are_said_and_taken_in(hill, tmp_path):
    import shutil

    copy = tmp_path / "hill"
    shutil.copytree(hill, copy)
    lines = "".join(f"Mid,{year}-03-10,Concord,25,100,90\n" for year in (2024, 2025, 2026))
    (copy / "bud_counts.csv").write_text("block,date,cultivar,canes,buds,primary_dead\n" + lines)
    (copy / "budbreak.csv").write_text("block,date\nTop,2026-05-05\n")
    words = ["cold", str(copy), "--date", "2027-01-20"]
    text = " ".join(CliRunner().invoke(main, words).output.split())
    assert text.count("Learned from 3 counts in 3 past winters") == 1
    assert "Budbreak of 2026 noted on 5 May" in text
    told = {
        (one["block"], one["cultivar"]): one
        for one in json.loads(CliRunner().invoke(main, [*words, "--json"]).stdout)["blocks"]
    }
    before = {(one["block"], one["cultivar"]): one for one in json.loads(_cold(hill, "--json").stdout)["blocks"]}
    key = ("Mid", "Concord")
    assert told[key]["past"]["offset"]["winters"] == 3
    assert told[key]["half_dies_c"][0] > before[key]["half_dies_c"][0]
    assert told["Top", "Riesling"]["half_dies_c"] == before["Top", "Riesling"]["half_dies_c"]


def test_measures_stand_beside_the_stretches_and_in_json(hill, tmp_path):
    given = ("--block", "Top", "--with", "long-first-cut", "--with", "wound-protection")
    done = _cold(hill, *given, "--details")
    assert done.exit_code == 0, done.output
    assert max(map(len, done.output.splitlines())) <= 80
    assert "wounds, calendar" in done.output
    data = json.loads(_cold(hill, *given, "--json").output)
    Draft202012Validator(schema_of("cold")).validate(data)
    first, protected = data["blocks"][0]["window"]["measures"]
    assert (first["measure"], first["prevented"], first["missing"]) == (
        "long-first-cut",
        [0.33, 0.75],
        ["first_cut_minutes", "crew_hour"],
    )
    assert len(first["stretches"]) == len(data["blocks"][0]["window"]["stretches"])
    assert protected["money_vine"] is None
    assert json.loads(_cold(hill, "--block", "Top", "--json").output)["blocks"][0]["window"]["measures"] == []
    refused = tmp_path / "hill"
    shutil.copytree(hill, refused)
    (refused / "costs.csv").write_text("name,value,unit,source\nprotect_materials,0.1,USD/vine,own\n")
    done = _cold(refused, *given)
    assert (
        done.exit_code,
        "no assumption is called 'protect_materials'; expected: protect_material perhaps" in done.output,
    ) == (1, True)
