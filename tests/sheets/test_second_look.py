"""trunkwatch.sheets: second_look, second_look_words: which vines are drawn, in which order, and how many more are needed."""

import json
import re

import pytest
from click.testing import CliRunner

from trunkwatch.block.opening import read
from trunkwatch.cli import main
from trunkwatch.errors import RecordError
from trunkwatch.sheets.second_look import draw_second_look, second_look_page
from trunkwatch.sheets.second_look_words import second_look_notes
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

DAYS = {"dormant": "2026-01-20", "summer": "2026-08-03"}


def block(found, *, surveys=(), last=40, numbering="same_end"):
    """Four rows, a dormant and a summer look of 2026 at all of them; findings are (look, symptom, row, position)."""
    store = Store.in_memory()
    looks = [
        {"survey": look, "date": day, "look": look, "covered": "1..4", "observer": "Ana"} for look, day in DAYS.items()
    ]
    store.append(
        {
            "blocks": frame_of(
                "blocks",
                [{"block": "A", "planted": 2000, "vine_spacing_m": 1.5, "row_spacing_m": 2.5, "numbering": numbering}],
            ),
            "rows": frame_of(
                "rows", [{"block": "A", "row": str(n), "row_order": n, "last": last} for n in range(1, 5)]
            ),
            "surveys": frame_of("surveys", [{"block": "A", **one} for one in (*looks, *surveys)]),
            "symptoms": frame_of(
                "symptoms",
                [
                    {
                        "block": "A",
                        "row": row,
                        "position": str(position),
                        "date": DAYS.get(look, look),
                        "symptom": symptom,
                        "observer": "Ana" if look in DAYS else "Ben",
                    }
                    for look, symptom, row, position in found
                ],
            ),
        }
    )
    return read(store, "A")[0]


ARMS = [("dormant", "dead_arm", "1", p) for p in range(1, 11)]
LEAVES = [("summer", "leaf_stripe", "3", p) for p in range(1, 11)]


@pytest.mark.parametrize(("look", "row", "other"), [("dormant", "1", "3"), ("summer", "3", "1")])
def test_cases_are_those_of_the_look_that_is_looked_at_again(look, row, other):
    reading = block(ARMS + LEAVES)
    drawn = draw_second_look(reading, 2026, 20, look=look, rng=1)
    assert (drawn.look, drawn.with_findings, len(drawn.vines)) == (look, 10, 20)
    assert {(row, p) for p in range(1, 11)} <= set(drawn.vines)
    assert sum((other, p) in drawn.vines for p in range(1, 11)) < 10  # drawn, if at all, as vines without
    assert f"{look} inspection" in second_look_page(drawn)


def test_the_latest_look_with_a_case_is_taken_where_none_is_named():
    assert draw_second_look(block(ARMS + LEAVES), 2026, 10, rng=1).look == "summer"
    assert draw_second_look(block(ARMS), 2026, 10, rng=1).look == "dormant"


def test_serpentine_rows_are_listed_as_they_are_walked():
    """Position 1 of rows 2 and 4 lies at the far end: along each row the positions still grow."""
    reading = block(LEAVES, numbering="serpentine")
    drawn = draw_second_look(reading, 2026, 60, look="summer", rng=1)
    assert list(drawn.vines) == sorted(drawn.vines)
    stations = [reading.grid.cell(row, position)[1] for row, position in drawn.vines if row == "2"]
    assert len(stations) > 3
    assert stations == sorted(stations, reverse=True)


def test_a_vine_that_was_looked_at_twice_is_not_drawn_again():
    again = {
        "survey": "again",
        "date": "2026-08-05",
        "look": "summer",
        "covered": "3:1..6; 4",
        "observer": "Ben",
        "purpose": "recheck",
    }
    reading = block(LEAVES, surveys=[again])
    drawn = draw_second_look(reading, 2026, 100, look="summer", rng=1)
    assert drawn.with_findings == 4
    assert not {("3", p) for p in range(1, 7)} & set(drawn.vines)
    assert not any(row == "4" for row, _ in drawn.vines)
    again["covered"] = "3"
    reading = block(LEAVES, surveys=[again])
    with pytest.raises(RecordError, match="scouted twice already"):
        draw_second_look(reading, 2026, 10, look="summer")


def test_an_arm_on_record_that_was_not_written_down_again_is_not_drawn():
    """The arm at row 2 was found in 2025 and never cut: the look of 2026 may have seen it or not."""
    before = {"survey": "before", "date": "2025-01-20", "look": "dormant", "covered": "1..4", "observer": "Ana"}
    reading = block([*ARMS, ("2025-01-20", "dead_arm", "2", 5)], surveys=[before])
    drawn = draw_second_look(reading, 2026, 160, look="dormant", rng=1)
    assert ("2", 5) not in drawn.vines
    assert len(drawn.vines) == 10 + 149
    assert second_look_notes(drawn)[1].startswith("1 vine with a lasting symptom")


@pytest.mark.parametrize("found", [[], ARMS])
def test_without_a_case_at_the_look_there_is_nothing_to_draw(found):
    reading = block(found)
    with pytest.raises(RecordError, match="the summer inspection of 2026"):
        draw_second_look(reading, 2026, 10, look="summer")
    with pytest.raises(RecordError, match="2019"):
        draw_second_look(reading, 2019, 10)


def test_it_says_how_many_must_be_drawn():
    """30 cases wanted: 30 vines with findings and as many without, or 38 (30 / 0.8 rounded up) and as many."""
    many = [("summer", "leaf_stripe", row, p) for row in "12" for p in range(1, 31)]
    assert "draw 60 vines in all" in second_look_notes(draw_second_look(block(many), 2026, 40, rng=1))[-1]
    assert "about 76 if eight in ten do" in second_look_notes(draw_second_look(block(many), 2026, 40, rng=1))[-1]
    again = {
        "survey": "again",
        "date": "2026-08-05",
        "look": "summer",
        "covered": "1",
        "observer": "Ben",
        "purpose": "recheck",
    }
    seen = [("2026-08-05", "leaf_stripe", "1", p) for p in range(1, 13)]
    told = second_look_notes(draw_second_look(block(many + seen, surveys=[again]), 2026, 40, rng=1))[-1]
    assert "those on record saw 12" in told
    assert "draw 36 vines in all" in told  # 18 of row 2's 30, and as many without
    few = second_look_notes(draw_second_look(block(LEAVES), 2026, 40, rng=1))[-1]
    assert "the 10 vines with findings that are left are too few" in few
    assert "the same people" in few
    seen = [("2026-08-05", "leaf_stripe", "1", p) for p in range(1, 31)]
    assert (
        "saw 30 cases already"
        in second_look_notes(draw_second_look(block(many + seen, surveys=[again]), 2026, 40, rng=1))[-1]
    )


def test_the_command_tells_it_on_stderr_and_takes_the_look(pytestconfig, tmp_path):
    words = ["sheet", pytestconfig.rootpath / "sample_blocks", "--block", "Mill", "--season", 2026, "--recheck", 40]
    runner = CliRunner()
    done = runner.invoke(main, [str(w) for w in [*words, "--look", "dormant", "--out", tmp_path / "a.html"]])
    assert done.exit_code == 0, done.output
    assert re.search(
        r"40 vines of the dormant inspection of 2026 drawn, \d+ of them with findings; keep that", done.stderr
    )
    assert "a corrected incidence needs 30 cases" in done.stderr
    assert done.stdout.splitlines() == [str(tmp_path / "a.html")]
    page = (tmp_path / "a.html").read_text()
    assert "dormant inspection, season 2026" in page
    assert "of them with findings" not in page
    done = runner.invoke(main, [str(w) for w in [*words, "--look", "spring", "--out", tmp_path / "b.html"]])
    assert done.exit_code == 1
    assert "the spring inspection of 2026" in done.output


def test_a_recheck_is_drawn_for_the_phone_as_for_paper(pytestconfig, tmp_path):
    """The same vines from the same draw; with another sheet asked for besides it is refused in one sentence."""
    sample = str(pytestconfig.rootpath / "sample_blocks")
    asked = ["sheet", sample, "--block", "Mill", "--season", "2026", "--recheck", "10", "--look", "summer"]
    page, paper = tmp_path / "recheck.html", tmp_path / "paper.html"
    done = CliRunner().invoke(main, [*asked, "--phone", "--out", str(page)])
    assert done.exit_code == 0, done.output
    assert (
        "10 vines of the summer inspection of 2026 drawn, 5 of them with findings; keep that from the scout"
        in done.output
    )
    assert CliRunner().invoke(main, [*asked, "--out", str(paper)]).exit_code == 0
    data = json.loads(page.read_text().split('id="data">', 1)[1].split("</script>", 1)[0])
    printed = re.findall(r'<td class="at">([^<]+)</td><td class="at">(\d+)</td>', paper.read_text())
    assert [(row, str(position)) for row, position in data["recheck"]["vines"]] == printed
    folder = tmp_path / "app"
    assert CliRunner().invoke(main, [*asked, "--app", str(folder)]).exit_code == 0
    assert '"recheck"' in (folder / "index.html").read_text()
    both = CliRunner().invoke(main, [*asked, "--paper", "findings"])
    assert (both.exit_code, "a recheck on the phone is --recheck N --phone" in both.output) == (2, True)
