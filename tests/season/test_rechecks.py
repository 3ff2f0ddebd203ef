"""trunkwatch.season.rechecks and trunkwatch.history.second_looks."""

import numpy as np

from trunkwatch.history.second_looks import second_looks
from trunkwatch.season import load
from trunkwatch.season.rechecks import recheck_of, recheck_sentences
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of


def vineyard(first, second, rows=4, last=30):
    """Summer look by Ana on all rows; Ben looks again at row 1 four days later."""
    store = Store.in_memory()
    found = [{"row": r, "position": str(p), "date": "2026-08-03", "observer": "Ana"} for r, p in first]
    found += [{"row": r, "position": str(p), "date": "2026-08-07", "observer": "Ben"} for r, p in second]
    store.append({
        "blocks": frame_of("blocks", [{"block": "A", "planted": 2000, "vine_spacing_m": 1.5, "row_spacing_m": 2.5}]),
        "rows": frame_of("rows", [{"block": "A", "row": str(n), "last": last} for n in range(1, rows + 1)]),
        "surveys": frame_of("surveys", [
            {"survey": "s", "block": "A", "date": "2026-08-03", "look": "summer", "covered": f"1..{rows}", "observer": "Ana"},
            {"survey": "again", "block": "A", "date": "2026-08-07", "look": "summer", "covered": "1", "observer": "Ben", "purpose": "recheck"},
        ]),
        "symptoms": frame_of("symptoms", [{"block": "A", "symptom": "leaf_stripe", **one} for one in found]),
    })  # fmt: skip
    return store


def test_second_looks_enter_no_rate_and_are_compared_vine_by_vine():
    store = vineyard([("1", 3), ("1", 5), ("2", 7)], [("1", 3), ("1", 9)])
    season = load(store, "A", 2026, definition="leaf")
    assert int((season.cases & season.vines).sum()) == 3  # position 9, seen at the second look only, is no case
    first, second = second_looks(season.records, season.history.grid, "leaf", 2026)
    assert first.size == 30
    assert (int((first & second).sum()), int((first & ~second).sum()), int((~first & second).sum())) == (1, 1, 1)
    found = recheck_of(season)
    assert found.agreement.cases == 28
    assert found.reason == "the second look saw 2 cases, 30 are needed"
    assert (
        recheck_sentences(found)[-1]
        == "No incidence corrected for missed cases is given: the second look saw 2 cases, 30 are needed."
    )


def test_enough_second_looks_correct_the_incidence():
    rng = np.random.default_rng(3)
    sick = [(str(r), p) for r in range(1, 5) for p in range(1, 201) if rng.random() < 0.25]
    first = [vine for vine in sick if rng.random() < 0.6]
    second = [vine for vine in sick if vine[0] == "1" and rng.random() < 0.9]
    season = load(vineyard(first, second, last=200), "A", 2026, definition="leaf")
    found = recheck_of(season)
    assert found.reason == ""
    assert found.corrected_low < len(sick) / 800 < found.corrected_high
    assert "That is not the share infected." in recheck_sentences(found)[-1]


def test_a_block_without_second_looks_says_nothing(pytestconfig):
    assert recheck_of(load(pytestconfig.rootpath / "sample_blocks", "Mill")) is None
