"""Prices in acres and short tons: trunkwatch.renewal.measures, and the pages that speak as the prices do.

An acre is 0.40468564224 ha and a short ton 0.90718474 t, exact by definition (international yard and pound, 1959).
1 short ton an acre is 2.2417 t/ha.
"""

import pytest
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.decide.decision import decide
from trunkwatch.decide.words import decision_sentences
from trunkwatch.errors import RecordError
from trunkwatch.renewal.costs import costs_of
from trunkwatch.renewal.measures import METRIC, Measures, to_metric
from trunkwatch.report.decide_page import decide_html
from trunkwatch.vineyard.tables import frame_of


@pytest.mark.parametrize(
    ("name", "unit", "ours", "factor", "measures"),
    [
        ("yield_t_ha", "short tons/acre", "t/ha", 2.2417, Measures(True, True)),
        ("yield_t_ha", "t per ha", "t/ha", 1.0, METRIC),
        ("yield_t_ha", "US tons per acre", "t/ha", 2.2417, Measures(True, True)),
        ("yield_t_ha", "tonnes/ac", "t/ha", 2.47105, Measures(True, False)),
        ("price_per_t", "USD/short ton", "money/t", 1.10231, Measures(False, True)),
        ("block_replant_ha", "USD/ac", "money/ha", 2.47105, Measures(True, False)),
        ("crew_hour", "", "money/h", 1.0, METRIC),
    ],
)
def test_units_are_turned(name, unit, ours, factor, measures):
    value, found = to_metric(name, 10.0, unit, ours)
    assert value == pytest.approx(10 * factor, rel=1e-5)
    assert found == measures


@pytest.mark.parametrize("unit", ["tons/acre", "ton/ac", "USD/lb", "t", "t/ha/year"])
def test_what_could_be_two_is_refused(unit):
    with pytest.raises(RecordError, match="a bare ton is not"):
        to_metric("yield_t_ha", 5.0, unit, "t/ha")


def test_ranges_hold_in_metric_units():
    with pytest.raises(RecordError, match=r"yield_t_ha is 134\.502; expected: 0 to 100 t/ha"):
        costs_of(frame_of("costs", [{"name": "yield_t_ha", "value": 60, "unit": "short tons/acre"}]))


def decision(prices):
    store = walked_block(
        range(2018, 2027),
        vines=60,
        training="bilateral",
        symptoms=[
            {"position": str(p), "date": f"{y}-01-15", "symptom": "dead_arm", "arm": "start", "percent": 100}
            for p, y in ((3, 2025), (9, 2024), (20, 2026), (33, 2025), (41, 2023), (50, 2026))
        ],
        costs=[{"name": name, "value": value, "unit": unit} for name, value, unit in prices],
    )
    return decide(load(store, "A", 2026), [], store.frame("costs"), futures=40)


def test_the_same_prices_in_acres_give_the_same_answer_in_acres():
    metric = decision(
        [
            ("price_per_t", 2000, "USD/t"),
            ("yield_t_ha", 12, "t/ha"),
            ("crew_hour", 25, "USD/h"),
            ("replant_vine", 8, "USD/vine"),
        ]
    )
    acres = decision(
        [
            ("price_per_t", 2000 * 0.90718474, "USD/short ton"),
            ("yield_t_ha", 12 / 2.2417023, "short tons/ac"),
            ("crew_hour", 25, "USD/h"),
            ("replant_vine", 8, "USD/vine"),
        ]
    )
    assert acres.comparison.recommended == metric.comparison.recommended
    for one, other in zip(acres.told.judged, metric.comparison.judged, strict=True):
        assert one.gain == pytest.approx(other.gain * 0.40468564, rel=1e-5, abs=1e-3)
        assert one.crew_days == pytest.approx(other.crew_days * 0.40468564, rel=1e-6)
        if other.flip_price == other.flip_price:
            assert one.flip_price == pytest.approx(other.flip_price * 0.90718474, rel=1e-4)
    assert metric.told == metric.comparison
    said = " ".join(decision_sentences(acres))
    assert "an acre more than doing nothing" in said
    assert "a short ton; your price is 1,814" in said
    assert "hectare" not in said
    page = decide_html(acres)
    assert "an acre over doing nothing" in page
    assert "price of a short ton" in page
    assert "a hectare over doing nothing" not in page
    assert "an acre more" not in " ".join(decision_sentences(metric))
