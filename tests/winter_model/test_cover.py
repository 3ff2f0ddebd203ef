"""Whether the range of killed buds holds the truth on simulated winters (tests/calibration/winters.py, smaller). trunkwatch.winter_model: kill, bud_count."""

from calibration.winters import covers


def test_the_range_holds_three_to_four_in_five_truths_and_a_count_makes_it_narrow():
    held, widths = covers(60, seed=5)
    for name in ("all", "all weekly", "count"):
        assert 0.75 <= held[name][0] <= 0.87, (name, held[name])
    assert 0.75 <= held["killed"][0] <= 0.9
    assert 0.7 <= held["killed count"][0] <= 0.86
    assert held["killed"][1] > 300
    assert widths["killed count"] < 0.3 * widths["killed"]
