"""Double pruning and wound protection beside the stretches. trunkwatch.cold: with_measures, measure_words."""

import datetime as dt
import math

import numpy as np
import pytest
from winter_model.made import made_winters

from trunkwatch.cold import Measure, Weather, cold_of_block, window_of, with_measure
from trunkwatch.cold.measure_words import LABELS, measure_lines, measure_table
from trunkwatch.errors import RecordError
from trunkwatch.renewal.costs import costs_of
from trunkwatch.vineyard.tables import frame_of

PRICES = {"price_per_t": 900, "yield_t_ha": 14, "crew_hour": 28, "replant_vine": 6.6}
OWN = {"first_cut_minutes": 1.5, "protect_minutes": 0.5, "protect_material": 0.08}


def _costs(**values):
    return costs_of(
        frame_of(
            "costs", [{"name": name, "value": float(value), "unit": "", "source": ""} for name, value in values.items()]
        )
    )


@pytest.fixture(scope="module")
def window():
    weather = Weather(made_winters(2010, 2026, colder=6, seed=2))
    return window_of(cold_of_block("Top", "Merlot", weather, dt.date(2025, 11, 20), hemisphere="north"), weather)


def test_wounds_with_a_measure_are_those_without_less_the_published_share(window):
    for measure, low, high in ((Measure.LONG_FIRST, 0.33, 0.75), (Measure.PROTECT, 0.25, 0.75)):
        found = with_measure(window, measure, _costs())
        assert found.prevented == pytest.approx((low, high))
        assert max(one.calendar for one in found.stretches) == max(one.warmth for one in found.stretches) == 1.0
        for one in found.stretches:
            assert one.calendar_with == pytest.approx((one.calendar * (1 - high), one.calendar * (1 - low)))
            assert one.warmth_with == pytest.approx((one.warmth * (1 - high), one.warmth * (1 - low)))


def test_only_a_long_first_cut_keeps_spare_buds(window):
    first, protected = (with_measure(window, measure, _costs()) for measure in (Measure.LONG_FIRST, Measure.PROTECT))
    assert first.stretches[0].crop_lost_with < first.stretches[0].crop_lost
    assert all(one.crop_lost_with == one.crop_lost for one in protected.stretches)
    text = " ".join(measure_lines(window, first, ""))
    assert "Spare buds: of a first cut 20 to 30 November" in text
    assert "Spare buds" not in " ".join(measure_lines(window, protected, ""))


def test_a_longer_first_cut_gives_less_away():
    weather = Weather(made_winters(2010, 2026, colder=7, seed=2))
    cold = cold_of_block("Top", "Syrah", weather, dt.date(2025, 11, 20), hemisphere="north")
    lost = [
        window_of(cold, weather, most=3.0, long_cut=left).best.stretches[0].crop_lost_long
        for left in (1.0, 1.5, 2.0, 3.0)
    ]
    assert lost == sorted(lost, reverse=True)
    assert lost[0] > lost[-1] + 0.01


def test_money_comes_with_prices_only(window):
    bare = with_measure(window, Measure.LONG_FIRST, _costs(), 3.75)
    assert (bare.minutes, bare.money, bare.crop_worth) == (None, None, None)
    assert bare.missing == ("first_cut_minutes", "crew_hour")
    text = " ".join(measure_lines(window, bare, ""))
    assert (
        "What it costs is not known: write first_cut_minutes and crew_hour into costs.csv. The parts are not added up."
        in text
    )
    timed = with_measure(window, Measure.LONG_FIRST, _costs(first_cut_minutes=1.5))
    assert "1.5 minutes a vine more. What it costs is not known: write crew_hour" in " ".join(
        measure_lines(window, timed, "")
    )
    first, protected = (
        with_measure(window, measure, _costs(**PRICES, **OWN), 3.75)
        for measure in (Measure.LONG_FIRST, Measure.PROTECT)
    )
    assert first.money == pytest.approx(1.5 / 60 * 28)
    assert protected.money == pytest.approx(0.08 + 0.5 / 60 * 28)
    assert first.crop_worth == pytest.approx(3.75 / 10_000 * 14 * 900)
    kept = (first.stretches[0].crop_lost - first.stretches[0].crop_lost_with) * first.crop_worth
    text = " ".join(measure_lines(window, first, "USD"))
    assert (
        f"It takes 1.5 minutes and 0.70 USD a vine more. The spare buds it keeps 20 to 30 November are worth {kept:.2f} USD a vine"
        in text
    )
    assert with_measure(window, Measure.LONG_FIRST, _costs(**PRICES, **OWN)).crop_worth is None


def test_one_price_for_all_of_protection_serves_where_minutes_and_material_are_not_written(window):
    found = with_measure(window, Measure.PROTECT, _costs(protect_vine=0.4))
    assert (found.money, found.minutes, found.missing) == (0.4, None, ())
    assert "It takes 0.40 money a vine more." in " ".join(measure_lines(window, found, ""))


def test_shares_of_ones_own_stand_in_place_of_published_ones(window):
    found = with_measure(window, Measure.PROTECT, _costs(protect_low_pct=99.9, protect_high_pct=100))
    assert found.source == "yours"
    assert found.good == tuple(range(len(window.best.stretches)))  # nothing is as open as the best stretch without it
    text = " ".join(measure_lines(window, found, ""))
    assert "these meet no more than the best stretch without it, under both rules of aging: 20 to 30 November" in text
    assert LABELS in text
    with pytest.raises(
        RecordError, match="protect_low_pct is 80 and protect_high_pct 75; expected: the low share first"
    ):
        with_measure(window, Measure.PROTECT, _costs(protect_low_pct=80))
    none = with_measure(window, Measure.PROTECT, _costs(protect_low_pct=0, protect_high_pct=0))
    assert set(none.good) <= {k for k, one in enumerate(window.best.stretches) if one.regret == 0}
    assert "No other stretch gets as good by it" in " ".join(measure_lines(window, none, ""))


def test_a_name_that_is_no_price_is_refused_in_words():
    with pytest.raises(
        RecordError, match="no assumption is called 'first_cut_minuts'; expected: first_cut_minutes perhaps"
    ):
        _costs(first_cut_minuts=1)
    with pytest.raises(RecordError, match=r"first_cut_minutes is in 'h/vine'; expected: min/vine"):
        costs_of(frame_of("costs", [{"name": "first_cut_minutes", "value": 1.0, "unit": "h/vine", "source": ""}]))


def test_without_rain_nothing_is_said_of_wounds():
    weather = Weather(made_winters(2010, 2026, colder=6, seed=2).assign(rain_mm=np.nan))
    window = window_of(cold_of_block("Top", "Merlot", weather, dt.date(2025, 11, 20), hemisphere="north"), weather)
    found = with_measure(window, Measure.PROTECT, _costs())
    assert (found.good, math.isnan(found.stretches[0].calendar)) == ((), True)
    assert "no rain is on file" in " ".join(measure_lines(window, found, ""))
    assert measure_table(window, found)[2].split()[-4:-2] == ["?", "?"]


def test_the_table_keeps_to_80_columns(window):
    lines = measure_table(window, with_measure(window, Measure.LONG_FIRST, _costs()))
    assert max(map(len, lines)) <= 78
    assert len(lines) == len(window.best.stretches) + 3
