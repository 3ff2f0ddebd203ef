"""trunkwatch.programme: lent; reports and handouts that lean on cards, on all but the grower's own."""

import json

import pytest
from click.testing import CliRunner
from made_cards import card, key, lent, put
from made_programme import OPEN, Grower, make_vineyard, write_catalogue

from trunkwatch.cli import main
from trunkwatch.errors import FileError
from trunkwatch.programme.lent import Lender, lent_from, without_lent

COSTS = "name,value,unit\nprice_per_t,900,EUR/t\nyield_t_ha,8,t/ha\ncrew_hour,30,EUR/h\nreplant_vine,6,EUR/vine\n"


def run(*words, code=0):
    result = CliRunner().invoke(main, ["programme", *(str(word) for word in words)])
    assert result.exit_code == code, result.output
    return result


@pytest.fixture
def programme(tmp_path):
    """Two growers with a block each, the first with prices, and cards of two growers."""
    folder = tmp_path / "growers"
    folder.mkdir()
    for number in range(2):
        make_vineyard(folder / f"v{number}", number, labels=["A"], seasons=(2023, 2024, 2025, 2026))
    (folder / "v0" / "costs.csv").write_text(COSTS, "utf-8")
    write_catalogue(folder, [Grower(f"G {n}", f"v{n}", ("report", "handout"), OPEN) for n in range(2)])
    cards = tmp_path / "cards"
    put(cards, lent(1), lent(2))
    return folder, cards


def lender(programme, tmp_path):
    folder, cards = programme
    return Lender(folder, ["G 0", "G 1"], cards, tmp_path / "kept", "2026-11-20")


def test_all_cards_but_the_growers_own_are_lent(programme, tmp_path, monkeypatch):
    monkeypatch.setattr("trunkwatch.programme.lent.read_key", lambda _path: key(1))
    (programme[0] / ".keys").mkdir()
    (programme[0] / ".keys" / "G_0.key").write_text("a key")
    found = {name: lender(programme, tmp_path).options(name) for name in ("G 0", "G 1")}
    counts = {name: lent_from(one["lent"], one["lent_in"]) for name, one in found.items()}
    assert [one.grower for one in counts["G 0"]] == [card(lent(2)).grower]
    assert {one.grower for one in counts["G 1"]} == {card(lent(n)).grower for n in (1, 2)}
    assert counts["G 1"][0].seasons[0].new == 5
    assert found["G 0"]["lent"] != found["G 1"]["lent"]
    assert without_lent({"seed": 1, **found["G 0"]}) == {"seed": 1}


def test_where_a_worker_does_not_see_the_counts_it_says_so(tmp_path):
    assert lent_from("", "") == ()
    with pytest.raises(FileError, match="workers must see the folder of results under the same path"):
        lent_from("0" * 32, str(tmp_path))


@pytest.mark.long
def test_reports_say_on_how_many_cards_they_lean_and_are_made_anew_when_cards_change(programme):
    folder, cards = programme

    def report():
        return json.loads(
            run(
                folder, "report", "--permutations", 99, "--workers", 1, "--cards", cards, "--grower", "G 0", "--json"
            ).stdout
        )

    first = report()
    assert first["computed"] == 1
    (pages,) = [block["pages"] for one in first["growers"] for block in one["blocks"]]
    with open(pages[0], encoding="utf-8") as file:  # noqa: PTH123 - as it is printed
        assert "2 cards of 2 other growers, who agreed to it" in file.read()
    assert report()["kept"] == 1
    put(cards, lent(1), lent(2), lent(3))
    assert report()["computed"] == 1
    with open(pages[0], encoding="utf-8") as file:  # noqa: PTH123 - as it is printed
        assert "3 cards of 3 other growers, who agreed to it" in file.read()


@pytest.mark.long
def test_cards_change_nothing_where_no_price_is_written(programme):
    folder, cards = programme
    words = ("report", "--permutations", 99, "--workers", 1, "--grower", "G 1", "--json")
    assert json.loads(run(folder, *words).stdout)["computed"] == 1
    assert json.loads(run(folder, *words, "--cards", cards).stdout)["kept"] == 1


def test_cards_go_with_pages_only(programme):
    folder, cards = programme
    assert "--cards goes with report and handouts" in run(folder, "ready", "--cards", cards, code=2).stderr
