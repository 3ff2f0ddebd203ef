"""trunkwatch.renewal: economics, costs, yields, vine_gain, compare; hand-checked to the cent.

Sources: annuities as in any table of compound interest (25 years 17.4131, 14.0939, 11.6536 at 3, 5, 7 %); Munkvold,
Duthie and Marois 1994 for yields.
"""

import io
import math

import numpy as np
import pandas as pd
import pytest

from trunkwatch.errors import RecordError
from trunkwatch.forecast.rates import Rates
from trunkwatch.renewal.compare import cash_flows, compare, discount_flip
from trunkwatch.renewal.costs import ASSUMPTIONS, costs_of, example_costs
from trunkwatch.renewal.economics import annuity, break_even, equal_yearly, payback, present_value
from trunkwatch.renewal.futures import Futures
from trunkwatch.renewal.states import State
from trunkwatch.renewal.strategies import Strategy
from trunkwatch.renewal.vine_gain import state_values, vine_gains
from trunkwatch.renewal.yields import MUNKVOLD_1992, yield_by_severity, yield_table
from trunkwatch.vineyard.tables import frame_of

PRICES = {"price_per_t": 1000.0, "yield_t_ha": 10.0, "crew_hour": 20.0, "replant_vine": 10.0, "harvest_t": 0.0,
          "renew_hours": 0.5, "train_hours": 0.25, "replant_hours": 1.0, "horizon_years": 3.0, "discount_pct": 10.0}  # fmt: skip


def costs(**more):
    return costs_of(frame_of("costs", [{"name": n, "value": v} for n, v in {**PRICES, **more}.items()]))


def rates(**more):
    one = {
        "first": [0.0],
        "season_sd": [0.0],
        "again_sd": [0.0],
        "again": [[0.0] * 4],
        "death": [[0.0, 0.0]],
        "relapse": [[0.0] * 4],
        "rewritten": [[0.5] * 4],
        "written_sd": [0.0],
        "renewal_fails": [0.0],
        "replant_fails": [[0.0, 0.0]],
        "near_row": [0.0],
        "near_across": [0.0],
        "near_ring": [0.0],
    }
    return Rates(**{name: np.array(value, dtype=float) for name, value in (one | more).items()})


def test_annuities_and_present_values():
    assert [round(annuity(25, r), 4) for r in (0.03, 0.05, 0.07)] == [17.4131, 14.0939, 11.6536]
    assert [round(annuity(n, 0.05), 4) for n in (10, 20)] == [7.7217, 12.4622]
    assert annuity(7, 0.0) == 7
    assert present_value([100, 100, 100], 0.1) == pytest.approx(90.9090909 + 82.6446281 + 75.1314801)
    assert present_value([1] * 25, 0.05) == pytest.approx(annuity(25, 0.05))
    assert equal_yearly(1246.22, 20, 0.05) == pytest.approx(100.0, abs=0.01)
    assert pytest.approx(0.99594, abs=1e-5) == 1.05 ** (-1 / 12)
    with pytest.raises(ValueError, match="above -1"):
        present_value([1], -1)


def test_payback_by_hand():
    """A hundred today, 40 a year: 2.5 years plain; at 10 % 36.36, 33.06, 30.05 leave 0.53 for the fourth year's 27.32."""
    assert payback([-100, 40, 40, 40, 40]) == 2.5
    left = 100 - 40 / 1.1 - 40 / 1.21 - 40 / 1.331
    assert payback([-100, 40, 40, 40, 40], 0.1) == pytest.approx(3 + left / (40 / 1.4641))
    assert math.isnan(payback([-100, 40, 40]))
    assert payback([5, 1]) == 0
    assert payback([-10, 20, -15, 30]) == pytest.approx(
        2 + 5 / 30
    )  # it comes back, goes under once more, and is back for good


def test_break_even():
    assert break_even(lambda price: 3 * price - 12, 0, 100) == pytest.approx(4)
    assert math.isnan(break_even(lambda price: price + 1, 0, 100))


def test_yield_by_severity_is_the_published_line():
    """D = 0.5: 55.9 % (1991), 50.7 % (1992); 0.25: 78.4 and 75.4; at 0 capped at 100; at 1 10.7 and 1.3."""
    assert np.round(yield_by_severity([0.0, 0.25, 0.5, 0.75, 1.0]), 1).tolist() == [100.0, 78.4, 55.9, 33.3, 10.7]
    assert np.round(yield_by_severity([0.0, 0.25, 0.5, 0.75, 1.0], MUNKVOLD_1992), 1).tolist() == [
        100.0,
        75.4,
        50.7,
        26.0,
        1.3,
    ]
    with pytest.raises(ValueError, match="between 0 and 1"):
        yield_by_severity(1.2)
    table = yield_table(costs())
    assert table[State.MIDDLE] == pytest.approx(0.5587)
    assert (table[State.SOUND], table[State.EMPTY], table[State.DEAD]) == (1, 0, 0)


def test_every_assumption_has_a_source_and_what_is_missing_is_named():
    assert all(one.source and one.unit for one in ASSUMPTIONS.values())
    told = costs_of(frame_of("costs", [{"name": "price_per_t", "value": 5}]))
    assert not told.enough
    with pytest.raises(RecordError, match="costs has no 'crew_hour'"):
        told["crew_hour"]
    for name, way in (("prise_per_t", "price_per_t perhaps"), ("qqqq", "plan --example-costs")):
        with pytest.raises(RecordError, match=f"no assumption is called {name!r}.*{way}"):
            costs_of(frame_of("costs", [{"name": name, "value": 1}]))
    with pytest.raises(RecordError, match="discount_pct is 90; expected: 0 to 50 %"):
        costs(discount_pct=90)
    for text in example_costs().values():
        frame = pd.read_csv(io.StringIO(text))
        assert costs_of(frame).enough
        assert frame["source"].str.startswith("EXAMPLE").all()


def test_one_vine_by_hand():
    """Three years at 10 %, 10,000 money a hectare on 1,000 vines: 10 money a vine and year.

    A sound vine that stays sound: 10 x (0.9091 + 0.8264 + 0.7513) = 24.87. Half dead, staying so: 55.87 % of it. Renewed
    (0, 50, 95 %): 5 x 0.8264 + 9.5 x 0.7513 = 11.27. Renewing costs (0.5 + 2 x 0.25) h x 20 = 20 money.
    """
    told = costs(decline_pct=0.0)
    value = state_values(rates(), told, 1000.0)
    assert value[State.SOUND] == pytest.approx(24.8685, abs=1e-4)
    assert value[State.MIDDLE] == pytest.approx(0.5587 * 24.8685, abs=1e-3)
    assert value[State.CUT] == pytest.approx(5 * 0.826446 + 9.5 * 0.751315, abs=1e-4)
    assert value[State.DEAD] == 0
    gains = vine_gains(rates(), told, 1000.0)
    assert gains.renew(State.MIDDLE, part=1.0, shoot=False, hours=1.0) == pytest.approx(
        11.2697 - 13.8940 - 20, abs=1e-3
    )
    # One arm of two: only half of the yield missed (10 x 0.9091 + 5 x 0.8264 + 0.5 x 0.7513 = 13.60) is missed.
    assert gains.lost == pytest.approx(13.5988, abs=1e-3)
    assert gains.renew(State.MIDDLE, part=0.5, shoot=False, hours=0.55) == pytest.approx(
        11.2697 + 6.7994 - 13.8940 - 11, abs=1e-3
    )
    assert gains.replant(State.DEAD, hours=1.5) == pytest.approx(10 * 0.10 * 0.751315 - 30 - 10, abs=1e-3)
    sure = state_values(rates(death=[[0.0, 1.0]]), told, 1000.0)
    assert sure[State.SHOWING] == 0


def futures(bearing, renewed, replanted, block):
    """Two strategies, one future, by hand."""
    shape = (2, 1, 3)
    return Futures(
        (Strategy("do nothing"), Strategy("something", renew=True)),
        100,
        np.array(bearing, dtype=float).reshape(shape),
        np.zeros(shape),
        np.array(renewed).reshape(shape),
        np.array(replanted).reshape(shape),
        np.array(block, dtype=bool).reshape(shape),
    )


def test_one_block_by_hand_to_the_cent():
    """100 positions at 1,000 a hectare. Nothing: 80, 70, 60 vines bear. Something: 70, 85, 90; 5 renewed, then 2 replanted.

    Money a hectare: 10,000 x share. Work, scaled tenfold to the hectare: 50 x (0.5 + 0.5) h x 20 = 1,000 in year one;
    20 x ((1 + 0.5) h x 20 + 10) = 800 in year two. Gain: -1,000 - 1,000; 1,500 - 800; 3,000.
    """
    told = futures([80, 70, 60, 70, 85, 90], [0, 0, 0, 5, 0, 0], [0, 0, 0, 0, 2, 0], [0] * 6)
    money = cash_flows(told, costs(), 1000.0)
    assert money[0, 0].tolist() == [8000, 7000, 6000]
    assert np.round(money[1, 0], 2).tolist() == [6000, 7700, 9000]
    found = compare(told, costs(), 1000.0)
    assert round(found.judged[1].gain, 2) == round(-2000 / 1.1 + 700 / 1.21 + 3000 / 1.331, 2)
    assert found.judged[1].crew_days == pytest.approx(50 / 8)
    assert found.judged[1].crew_days_all == pytest.approx((50 + 30) / 8)
    assert found.healthy == pytest.approx(10_000 * annuity(3, 0.1))
    flip = found.judged[1].flip_price
    cheap = compare(told, costs(price_per_t=flip), 1000.0)
    assert cheap.judged[1].gain == pytest.approx(0, abs=1e-6)
    assert math.isnan(discount_flip(told, costs(), 1000.0, 1))  # worth it at any rate up to 30 %
    slow = futures([80, 70, 60, 70, 85, 76], [0, 0, 0, 5, 0, 0], [0, 0, 0, 0, 2, 0], [0] * 6)
    rate = discount_flip(slow, costs(), 1000.0, 1)
    assert compare(slow, costs(discount_pct=rate), 1000.0).judged[1].gain == pytest.approx(0, abs=0.01)


def test_replanting_the_block_needs_its_price():
    told = futures([80, 70, 60, 0, 0, 50], [0] * 6, [0] * 6, [0, 0, 0, 1, 0, 0])
    with pytest.raises(RecordError, match="block_replant_ha"):
        compare(told, costs(), 1000.0)
    found = compare(told, costs(block_replant_ha=20_000.0), 1000.0)
    assert found.recommended == "do nothing"
    assert found.judged[1].cash[0] == -20_000
