"""trunkwatch.cli: card_command, pool_command; trunkwatch.programme: cards_run; trunkwatch.cards: all that leaves, searched for every name, label, day and note."""

import csv
import json
import re
import shutil
from dataclasses import replace

import pytest
from click.testing import CliRunner
from made_cards import key, put, told, void, vouch
from made_programme import ENDED, OPEN, Grower, make_vineyard, write_catalogue

from trunkwatch.cli import main
from trunkwatch.cli.options import today
from trunkwatch.programme.cards_run import KEYS, write_cards
from trunkwatch.programme.catalogue import read_catalogue

GROWERS = 8
LABELS, NOTE = ("Rosa's Hill", "Old Orchard", "Mill Lane 4"), "ring the bell twice"


def run(*words, stdin=None):
    return CliRunner().invoke(main, [str(word) for word in words], input=stdin)


def done(*words, stdin=None):
    result = run(*words, stdin=stdin)
    assert result.exit_code == 0, result.output
    return result


@pytest.fixture
def own(tmp_path):
    """A vineyard with two blocks, and a key."""
    path = make_vineyard(tmp_path / "vines", 3, labels=["North", "South"], cases=6, seasons=range(2022, 2027))
    done("card", tmp_path / "my.key", "key")
    return path


MAKE = ("--block", "North", "--region", "hills", "--until", OPEN)


def test_all_that_leaves_is_shown_to_the_letter_before_it_is_written(own, tmp_path):
    words = (
        "card",
        own,
        "make",
        *MAKE,
        "--for",
        "pool",
        "--for",
        "forecast",
        "--key",
        tmp_path / "my.key",
        "--out",
        tmp_path / "cards",
    )
    refused = run(*words, stdin="n\n")
    assert "nothing was written" in refused.output
    assert not (tmp_path / "cards").exists()
    result = done(*words, stdin="y\n")
    files = sorted((tmp_path / "cards").iterdir())
    assert len(files) == 2
    for path in files:
        assert path.read_text("utf-8") in result.stdout
    assert result.stdout.count("This is all that leaves") == 2
    assert "It does not tell: your name, the block's name" in result.stdout
    assert done("card", files[1], "show").stdout.startswith(files[1].read_text("utf-8"))


def test_what_make_takes(own, tmp_path):
    assert "make takes --for pool or --for forecast, --key FILE and --until DATE" in run("card", own, "make").output
    words = (
        "card",
        own,
        "make",
        "--for",
        "pool",
        "--key",
        tmp_path / "my.key",
        "--until",
        OPEN,
        "--out",
        tmp_path,
        "--yes",
    )
    (tmp_path / "regions.txt").write_text("hills\nriver\n")
    told_no = run(*words, "--region", "Rosas")
    assert (told_no.exit_code, "region 'Rosas' is none of the pool's: hills, river" in told_no.output) == (1, True)
    assert "--until" not in done(*words).output
    assert len(list(tmp_path.glob("pool_*.json"))) == 2


def test_a_card_is_taken_back_by_its_key_alone(own, tmp_path):
    cards = tmp_path / "cards"
    done("card", own, "make", *MAKE, "--for", "pool", "--key", tmp_path / "my.key", "--out", cards, "--yes")
    (path,) = cards.iterdir()
    done("card", tmp_path / "other.key", "key")
    assert "was signed with another key" in run("card", path, "withdraw", "--key", tmp_path / "other.key").output
    assert "withdraw takes --key" in run("card", path, "withdraw").output
    assert "pool: 1 card(s) of 1 grower(s) count" in done("card", cards, "check").stdout
    done("card", path, "withdraw", "--key", tmp_path / "my.key")
    checked = done("card", cards, "check").stdout
    assert "pool: 0 card(s)" in checked
    assert checked.count("the grower has withdrawn it") == 2
    # The same from the vineyard, for whom the card is lost.
    path.unlink()
    void_there = next(cards.iterdir()).read_text("utf-8")
    shutil.rmtree(cards)
    done("card", own, "withdraw", "--block", "North", "--for", "pool", "--key", tmp_path / "my.key", "--out", cards)
    again = json.loads(next(cards.iterdir()).read_text("utf-8"))
    assert again["id"] == json.loads(void_there)["id"]


def test_a_forged_or_altered_card_is_named_and_the_check_fails(tmp_path):
    cards = put(tmp_path / "cards", told(1, until=OPEN), told(2, until=OPEN) | {"made": "2026-01-01T00:00:00Z"})
    result = run("card", cards, "check")
    assert result.exit_code == 1
    assert "c001.json: its signature does not fit" in result.output
    assert "1 of the files" in result.output
    shown = run("card", cards / "c001.json", "show")
    assert (shown.exit_code, "its signature does not fit" in shown.output) == (1, True)


def test_a_pool_asks_who_the_growers_are(tmp_path):
    cards = put(tmp_path / "cards", *(told(n, until=OPEN) for n in range(1, 8)))
    result = run("pool", cards)
    assert result.exit_code == 1
    assert "five keys need not be five growers" in result.output
    vouch(cards, *range(1, 5))
    few = run("pool", cards)
    assert (few.exit_code, "no cell may be shown" in few.output) == (1, True)
    assert not (cards / "pool.ledger").exists()
    vouch(cards, *range(1, 8))
    assert "all blocks: 35 of 700 (5.0 %)" in done("pool", cards).stdout
    assert (cards / "pool.ledger").exists()


def test_a_card_taken_back_changes_no_figure_by_one_grower(tmp_path):
    cards = vouch(
        put(
            tmp_path / "cards", *(told(n, until=OPEN, seasons=[(2026, 100, 5 + n, 0, 0, "leafy")]) for n in range(1, 8))
        ),
        *range(1, 8),
    )
    first = json.loads(done("pool", cards, "--json").stdout)
    (cards / "v.json").write_text(json.dumps(void(3)), "utf-8")
    second = json.loads(done("pool", cards, "--json").stdout)
    assert second["cells"][0].pop("earlier")
    assert not first["cells"][0].pop("earlier")
    assert second["cells"] == first["cells"]


# --- The cards and tables of a programme.


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    """Eight growers, six of whom agreed to all, with telling labels, names, places and notes."""
    folder = tmp_path_factory.mktemp("programme")
    listed = []
    for number in range(GROWERS):
        path = make_vineyard(
            folder / f"farm-{number}-vogel", number, labels=list(LABELS[: 1 + number % 3]), seasons=range(2023, 2027)
        )
        with (path / "blocks.csv").open(encoding="utf-8") as file:
            lines = list(csv.DictReader(file))
        for line in lines:
            line |= {
                "vineyard": f"Vogel & Sons {number}",
                "note": NOTE,
                "longitude": "8.31234",
                "latitude": "47.05678",
                "row_bearing_deg": "12.5",
            }
        with (path / "blocks.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(lines[0]))
            writer.writeheader()
            writer.writerows(lines)
        purposes = ("pool", "forecast") if number < 6 else ("pool",) if number == 6 else ("report",)
        listed.append(
            Grower(
                f"Grower Ida {number}",
                path.name,
                purposes,
                ENDED if number == 6 else OPEN,
                "Ida, 555 0100",
                "Ida",
                region="hills",
            )
        )
    write_catalogue(folder, listed)
    done("programme", folder, "cards")
    return folder


def telling(folder):
    """Every name, label, coordinate, note and day of the programme's files."""
    words = {
        "Vogel",
        "Ida",
        "555 0100",
        NOTE,
        "8.31",
        "47.05",
        "12.5",
        "farm-",
        *LABELS,
        "Rosa",
        "Orchard",
        "Mill Lane",
        "v0",
    }
    for path in folder.glob("farm-*/*.csv"):
        text = path.read_text("utf-8")
        words |= set(re.findall(r"\d{4}-\d\d-\d\d", text))
    return words


def test_those_who_agreed_have_cards_and_nobody_else(programme):
    cards = programme / "cards"
    checked = done("card", cards, "check").stdout
    assert "pool: 12 card(s) of 6 grower(s) count\n" in checked
    assert "forecast: 12 card(s) of 6 grower(s) count\n" in checked
    assert len(list((programme / KEYS).iterdir())) == 6
    assert ((programme / KEYS).stat().st_mode & 0o77) == 0


def test_nothing_that_leaves_or_is_printed_names_anybody(programme, tmp_path):
    shutil.copytree(programme / "cards", tmp_path / "cards")
    leaving = {path.name: path.read_text("utf-8") for path in (tmp_path / "cards").iterdir()}
    for by in ((), ("region",), ("age",), ("cultivar", "age", "region")):
        words = [word for name in by for word in ("--by", name)]
        for form in ((), ("--json",)):
            result = run("pool", tmp_path / "cards", *words, *form)
            leaving[f"pool {by} {form}"] = result.output
    leaving["ledger"] = (tmp_path / "cards" / "pool.ledger").read_text("utf-8")
    assert any("showing" in text for text in leaving.values())
    days = telling(programme)
    assert "2026-08-01" in days
    for name, text in leaving.items():
        for word in days:
            assert word.casefold() not in text.casefold(), (name, word)
            assert word.casefold() not in name.casefold() or name.startswith("pool"), (name, word)


def test_a_table_prints_no_mark_of_a_block_or_grower(programme, tmp_path):
    shutil.copytree(programme / "cards", tmp_path / "cards")
    printed = done("pool", tmp_path / "cards", "--json").stdout + done("pool", tmp_path / "cards").stdout
    for path in (tmp_path / "cards").glob("*.json"):
        card = json.loads(path.read_text("utf-8"))
        assert card["id"] not in printed
        assert card["grower"] not in printed
    assert not re.search(r"[0-9a-f]{16}", printed)


def test_a_second_run_writes_no_card_anew_and_who_agrees_no_more_has_void_ones(programme, tmp_path):
    folder = tmp_path / "p"
    shutil.copytree(programme, folder)
    before = {path.name: path.read_bytes() for path in (folder / "cards").iterdir()}
    told_again = json.loads(done("programme", folder, "cards", "--json").stdout)
    assert {one["new"] for one in told_again["cards"]} == {False}
    assert {path.name: path.read_bytes() for path in (folder / "cards").iterdir()} == before
    growers = read_catalogue(folder)
    assert growers[1].region == "hills"
    write_catalogue(folder, [replace(growers[0], purposes=("forecast",)), *growers[1:]])
    done("programme", folder, "cards")
    checked = done("card", folder / "cards", "check").stdout
    assert "pool: 11 card(s) of 5 grower(s) count\n" in checked
    assert "forecast: 12 card(s) of 6 grower(s) count\n" in checked
    again = write_cards(
        folder, read_catalogue(folder), [one.name for one in growers], folder / "cards", today(), "2026-12-01T00:00:00Z"
    )
    assert not any(one.void for one in again)


def test_a_region_that_is_none_of_the_pools_makes_no_card(programme, tmp_path):
    folder = tmp_path / "p"
    shutil.copytree(programme, folder, ignore=shutil.ignore_patterns("cards"))
    (folder / "cards").mkdir()
    (folder / "cards" / "regions.txt").write_text("river\n")
    result = done("programme", folder, "cards", "--grower", "Grower Ida 0")
    assert "no pool card of Grower Ida 0: region 'hills' is none of the pool's: river" in result.stderr
    assert list((folder / "cards").glob("*.json")) == []


def test_forecasts_of_a_grower_lean_on_the_cards_of_the_others(programme):
    name, own_key = "farm-0-vogel", next(iter(sorted((programme / KEYS).iterdir())))
    words = ("forecast", programme / name, "--block", LABELS[0], "--cards", programme / "cards", "--json")
    assert json.loads(done(*words).stdout)["leans_on"] == {"own": 0, "lent": 12, "growers": 6}
    assert json.loads(done(*words, "--key", own_key).stdout)["leans_on"] == {"own": 0, "lent": 11, "growers": 5}
    assert "--key goes with --cards" in run("forecast", programme / name, "--block", LABELS[0], "--key", own_key).output
    assert key(1).public("pool") not in (programme / "cards" / "growers.txt").read_text()
