"""The intervals that everything is learnt from. trunkwatch.yearly: steps."""

import numpy as np
import pytest

from trunkwatch.yearly.steps import deaths, first_cases, growing_damage, showing_again

ALONG, ACROSS = np.arange(3.0)[None], np.zeros((1, 3))
YEARS = [2001, 2002, 2004, 2005]
# Vine 0 shows in 2002 and 2005; vine 1 is not looked at in 2002 and 2004; vine 2 is replaced for 2004.
LOOKED = np.array([[1, 1, 1], [1, 0, 1], [1, 0, 1], [1, 1, 1]], dtype=bool)[:, None, :]
PLANT = np.array([[1, 2, 3], [1, 2, 3], [1, 2, 4], [1, 2, 4]])[:, None, :]
CASE = np.array([[0, 0, 1], [1, 0, 0], [0, 0, 0], [1, 1, 1]], dtype=bool)[:, None, :]
PLACE = {"along_m": ALONG, "across_m": ACROSS}


def test_first_cases_by_hand():
    steps = first_cases(CASE, LOOKED, PLANT, YEARS, **PLACE, age=np.array([5, 6, 8, 9])[:, None, None])
    lines = list(zip(steps.cell, steps.year, steps.earlier, steps.span, steps.event, strict=True))
    assert lines == [(0, 2002, 0, 1, True), (1, 2005, 0, 4, True), (2, 2005, 2, 1, True)]
    assert steps.age.tolist() == [6, 9, 9]
    assert (steps.since == 0).all()
    assert str(steps) == "3 intervals, 3 with the event"


def test_shows_again_counts_from_the_last_showing():
    steps = showing_again(CASE, LOOKED, PLANT, YEARS, **PLACE)
    lines = sorted(zip(steps.cell, steps.year, steps.since, steps.event, strict=True))
    # Vine 0 showed in 2002: at the look of 2002 (1), and two years before that of 2004 (3). Plant 3 showed in 2001.
    assert lines == [(0, 2004, 1, False), (0, 2005, 3, True), (2, 2002, 1, False)]


def test_a_mask_holds_at_both_looks():
    risk = np.ones(CASE.shape, dtype=bool)
    risk[0, 0, 1] = False
    steps = first_cases(CASE, LOOKED, PLANT, YEARS, **PLACE, at_risk=risk)
    assert steps.cell.tolist() == [0, 2]


def test_strata_spread_out_over_seasons():
    observer = np.array([7, 7, 8, 8])[:, None, None]
    steps = first_cases(
        CASE, LOOKED, PLANT, YEARS, **PLACE, strata={"observer": observer, "cultivar": np.array([[1, 2, 3]])}
    )
    assert steps.strata["observer"].tolist() == [7, 8, 8]
    assert steps.strata["cultivar"].tolist() == [1, 2, 3]
    taken = steps.take(steps.year == 2005)
    assert taken.strata["cultivar"].tolist() == [2, 3]
    assert taken.shape == (1, 3)


def test_damage_grows_from_class_to_class():
    damage = np.array([[0, 0, 2], [1, 9, 2], [1, 9, 0], [2, 1, 2]])[:, None, :]
    steps = growing_damage(np.where(LOOKED, damage, 0), LOOKED, PLANT, YEARS, **PLACE)
    lines = sorted(zip(steps.cell, steps.year, steps.damage, steps.event, strict=True))
    # Plant 3 is in the highest class on record and cannot grow; vine 1 is judged against 2001.
    assert lines == [
        (0, 2002, 0, True),
        (0, 2004, 1, False),
        (0, 2005, 1, True),
        (1, 2005, 0, True),
        (2, 2005, 0, True),
    ]


def test_deaths_count_once():
    dead = np.zeros(CASE.shape, dtype=bool)
    dead[2:, 0, 0] = True
    alive = ~dead
    steps = deaths(dead, LOOKED, PLANT, YEARS, **PLACE, case=CASE & alive, at_risk=alive)
    of_vine = steps.take(steps.cell == 0)
    assert of_vine.year.tolist() == [2002, 2004]
    assert of_vine.event.tolist() == [False, True]
    assert of_vine.since.tolist() == [0, 1]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"years": [2001, 2001, 2002, 2003]}, "rising"),
        ({"looked_at": np.zeros(CASE.shape, dtype=bool)}, "5 case"),
        ({"plant": PLANT[:2]}, "plant is"),
        ({"along_m": np.zeros((2, 2))}, "along_m is"),
        ({"case": CASE[0]}, "2 dimensions"),
        ({"strata": {"crew": np.array([0.5])}}, "whole-number"),
        ({"strata": {"crew": np.array([1, 2])}}, "spreads out"),
        ({"at_risk": np.ones((1, 1, 1), dtype=bool)}, "at_risk is"),
    ],
)
def test_wrong_arguments_name_the_value(change, message):
    given = {"case": CASE, "looked_at": LOOKED, "plant": PLANT, "years": YEARS, **PLACE} | change
    with pytest.raises(ValueError, match=message):
        first_cases(**given)


@pytest.mark.long
def test_damage_is_in_classes():
    with pytest.raises(ValueError, match="classes are needed"):
        growing_damage(CASE * 0.5, LOOKED, PLANT, YEARS, **PLACE)
