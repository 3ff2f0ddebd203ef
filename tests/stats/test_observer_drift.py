"""trunkwatch.stats.drift: two people against each other, the latest period against the earlier ones."""

import numpy as np
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep

from trunkwatch.stats.drift import FEWEST_EACH, Period, observer_drift


def test_by_hand():
    """Seen again 18/20 + 17/20 = 35/40 before, 10/20 now: 0.5 - 0.875. Seen in addition 3/40 before, 6/20 now."""
    found = observer_drift([Period("2024", 18, 2, 1, 19), Period("2025", 17, 3, 2, 18), Period("2026", 10, 10, 6, 14)])
    assert found.before == Period("2024 to 2025", 35, 5, 3, 37)
    assert found.now.label == "2026"
    assert found.again.value == pytest.approx(-0.375)
    assert found.more.value == pytest.approx(0.225)
    assert found.again.shown
    assert str(found).startswith("seen again -38 points (")
    assert found.before.agreement.cases == 72
    assert found.before.agreement.vines == 80


@pytest.mark.parametrize("now", [(10, 10, 6, 14), (20, 0, 0, 20), (3, 17, 20, 0)])
def test_limits_are_those_of_statsmodels(now):
    """Reference: statsmodels 0.14 confint_proportions_2indep(method="newcomb"), run beside."""
    both, one, two, none = now
    found = observer_drift([Period("a", 35, 5, 3, 37), Period("b", *now)])
    again = confint_proportions_2indep(both, both + one, 35, 40, method="newcomb", compare="diff", alpha=0.025)
    more = confint_proportions_2indep(two, two + none, 3, 40, method="newcomb", compare="diff", alpha=0.025)
    assert (found.again.low, found.again.high) == pytest.approx(again, abs=1e-9)
    assert (found.more.low, found.more.high) == pytest.approx(more, abs=1e-9)


def test_too_few_vines_are_not_compared():
    thin = Period("2025", FEWEST_EACH - 1, 0, 0, 40)
    found = observer_drift([Period("2024", 18, 2, 1, 19), thin])
    assert found.again is None
    assert "10 cases and 10 vines without" in found.reason
    assert str(found) == f"not compared: {found.reason}"
    kept = observer_drift([Period("2024", 18, 2, 1, 19), thin, Period("2026", 18, 2, 1, 19)])
    assert kept.before.label == "2024"  # the thin one is left out, not added
    assert (kept.again.value, kept.more.value) == (0, 0)
    assert not kept.again.shown
    assert observer_drift([]).reason


def drawn(rng, label, again, more, size=20):
    a, c = int(rng.binomial(size, again)), int(rng.binomial(size, more))
    return Period(label, a, size - a, c, size - c)


def test_a_change_is_claimed_rarely_where_there_is_none_and_mostly_where_it_is_large():
    rng = np.random.default_rng(9)
    false = missed = 0
    for _ in range(400):
        same = observer_drift([drawn(rng, "a", 0.85, 0.08), drawn(rng, "b", 0.85, 0.08)])
        false += same.again.shown or same.more.shown
        other = observer_drift([drawn(rng, "a", 0.9, 0.05, 50), drawn(rng, "b", 0.5, 0.05, 50)])
        missed += not other.again.shown
    assert false <= 34  # P(binomial(400, 0.05) > 34) = 0.001
    assert missed <= 40


def test_limits_hold_a_known_change():
    rng = np.random.default_rng(10)
    held = 0
    for _ in range(400):
        found = observer_drift([drawn(rng, "a", 0.9, 0.1), drawn(rng, "b", 0.6, 0.3)])
        held += (found.again.low <= -0.3 <= found.again.high) + (found.more.low <= 0.2 <= found.more.high)
    assert held >= 765  # 97.5 % of 800 are 780; P(binomial(800, 0.975) < 765) = 0.001
