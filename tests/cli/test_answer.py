"""trunkwatch.cli: answer_command; what the answer prints, and how lines are folded on a screen."""

import json

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.cli.options import say


@pytest.fixture(scope="module")
def told(pytestconfig):
    sample = str(pytestconfig.rootpath / "sample_blocks")
    plain = CliRunner().invoke(main, ["answer", sample, "--block", "Orchard"])
    data = CliRunner().invoke(main, ["answer", sample, "--block", "Orchard", "--json"])
    assert (plain.exit_code, data.exit_code) == (0, 0)
    return plain.stdout, json.loads(data.stdout)


@pytest.mark.long
def test_five_questions_and_the_list(told):
    text, data = told
    lines = text.splitlines()
    assert lines[0] == "Block Orchard, season 2026"
    assert [line["key"] for line in data["lines"]] == ["seen", "worse", "bunched", "do", "cannot"]
    for line in data["lines"]:
        at = lines.index(line["question"])
        assert lines[at + 1] == f"  {line['answer']}"
    start = lines.index("This winter's list, by row:") + 1
    assert [line.split()[0] for line in lines[start:-1]] == [f"{one['row']}:{one['position']}" for one in data["list"]]
    assert lines[-1].startswith("Symptoms are not a diagnosis.")


@pytest.mark.long
def test_the_list_says_what_where_seen_when_and_the_shoot(told):
    _, data = told
    cuts = [one for one in data["list"] if one["do"] == "retrain arm"]
    assert cuts
    assert all(
        one["part"].endswith("arm") and one["last_seen"] and one["hours"] > 0 and one["worth"] is not None
        for one in cuts
    )
    assert data["recommended"]["low90"] < data["recommended"]["gain"] < data["recommended"]["high90"]
    assert data["money"] == "marks"


def test_long_lines_fold_on_a_screen_only(monkeypatch, capsys):
    line = "word " * 40
    say(line, "  ")
    assert capsys.readouterr().out == f"  {line}\n"
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    say(line, "  ")
    folded = capsys.readouterr().out.splitlines()
    assert len(folded) == 3
    assert all(len(one) <= 80 for one in folded)
    assert folded[1].startswith("    word")


def test_rates_fit_80_columns_and_all_of_them_stand_behind_details(pytestconfig):
    sample = str(pytestconfig.rootpath / "sample_blocks")
    told = CliRunner().invoke(main, ["incidence", sample, "--block", "Mill"]).stdout.splitlines()
    rows = [line for line in told if line[:4].isdigit()]
    assert [line[:4] for line in rows] == [str(year) for year in range(2017, 2027)]
    assert all(len(line) <= 80 for line in rows)
    assert rows[-1].split()[1:3] == ["58/567", "="]
    assert told[0].startswith("It is getting worse")
    full = CliRunner().invoke(main, ["incidence", sample, "--block", "Mill", "--details"]).stdout
    assert all(name in full for name in ("annual", "standing", "ever", "new", "relapse", "deaths"))
