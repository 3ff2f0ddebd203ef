"""trunkwatch.pattern: by_observer, who_looked, place_words."""

import numpy as np
import pytest
from scipy.stats import chi2_contingency

from trunkwatch.block import load
from trunkwatch.pattern.by_observer import observer_table
from trunkwatch.pattern.place_words import observer_shares, observers_sentences
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of


def vineyard(found: list[dict], surveys: list[dict]) -> Store:
    store = Store.in_memory()
    store.append(
        {
            "blocks": frame_of(
                "blocks", [{"block": "A", "planted": 2000, "vine_spacing_m": 1.5, "row_spacing_m": 2.5}]
            ),
            "rows": frame_of("rows", [{"block": "A", "row": str(n), "last": 30} for n in range(1, 5)]),
            "surveys": frame_of(
                "surveys", [{"block": "A", "date": "2026-08-03", "look": "summer", **one} for one in surveys]
            ),
            "symptoms": frame_of(
                "symptoms", [{"block": "A", "date": "2026-08-03", "symptom": "leaf_stripe", **one} for one in found]
            ),
        }
    )
    return store


def test_two_people_who_split_the_rows_and_differ_make_strata():
    found = [{"row": "1", "position": str(p), "observer": "Ana"} for p in range(1, 16)]
    found += [{"row": "3", "position": str(p), "observer": "Ben"} for p in (4, 20)]
    surveys = [
        {"survey": "a", "covered": "1..2", "observer": "Ana"},
        {"survey": "b", "covered": "3..4", "observer": "Ben"},
    ]
    told = observer_table(load(vineyard(found, surveys), "A", 2026, definition="leaf"))
    assert [(name, one.cases, one.vines) for name, one in told.shares] == [("Ana", 15, 60), ("Ben", 2, 60)]
    # scipy 1.17 chi2_contingency without continuity correction
    expected = chi2_contingency([[15, 45], [2, 58]], correction=False).pvalue
    assert told.pvalue == pytest.approx(expected, rel=1e-9)
    assert told.strata is not None
    assert [np.unique(line).tolist() for line in told.strata] == [[0], [0], [1], [1]]
    assert "Ana 15 of 60 vines (25.0 %); Ben 2 of 60 vines (3.3 %)" in observer_shares(told)[0]


def test_alike_observers_make_no_strata_and_one_makes_no_sentence():
    found = [
        {"row": row, "position": str(p), "observer": name}
        for row, name in (("1", "Ana"), ("3", "Ben"))
        for p in (2, 9, 17)
    ]
    surveys = [
        {"survey": "a", "covered": "1..2", "observer": "Ana"},
        {"survey": "b", "covered": "3..4", "observer": "Ben"},
    ]
    told = observer_table(load(vineyard(found, surveys), "A", 2026, definition="leaf"))
    assert told.strata is None
    assert told.pvalue == pytest.approx(1.0)
    alone = observer_table(
        load(vineyard(found, [{"survey": "a", "covered": "1..4", "observer": "Ana"}]), "A", 2026, definition="leaf")
    )
    assert observer_shares(alone) == observers_sentences(alone) == ()
    assert np.isnan(alone.pvalue)


def test_disagreements_of_two_who_walked_the_same_row_are_counted():
    found = [
        {"row": "1", "position": "3", "observer": "Ana"},
        {"row": "1", "position": "3", "observer": "Ben"},
        {"row": "1", "position": "5", "observer": "Ana"},
        {"row": "1", "position": "7", "observer": "Ben", "symptom": "none"},
        {"row": "2", "position": "5", "observer": "Ana"},
    ]
    surveys = [
        {"survey": "a", "covered": "1..4", "observer": "Ana"},
        {"survey": "b", "covered": "1", "observer": "Ben"},
    ]
    told = observer_table(load(vineyard(found, surveys), "A", 2026, definition="leaf"))
    assert (told.both, told.disagree) == (30, 1)
    assert "On 1 of 30 vines" in observers_sentences(told)[-1]
