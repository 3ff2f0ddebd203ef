"""Worlds of dead arms that last, and worlds in which vines are renewed, with use and without."""

from calibration.worlds.course import CHOICES, Course, Growth, Showing, Work, no_stock, one_observer
from calibration.worlds.kinds import Block, World
from calibration.worlds.places import delays, scattered

__all__ = ["DAMAGE"]

CURVES = {
    "early": "grows fast in the first seasons and then stays",
    "late": "stays small for years and then grows fast",
    "slow": "grows by about 4 % of the vine a season",
}
CHOSEN = {
    "worst_first": "the worst first",
    "longest_on_record": "those longest on record first",
    "at_random": "at random from those on record",
    "showing_this_year": "from those that show this season",
    "showed_least": "those that showed least often first",
}
#: Chance of infection from outside in a season, and seasons from infection to the first dead wood.
OUTSIDE, INCUBATION = 0.012, 3


def _dieback(block: Block, curve: str, work: Work | None) -> Course:
    stock, never = no_stock(block)
    return Course(
        looks=one_observer(block, 0.9),
        stock=stock,
        can_show=never,
        outside=OUTSIDE,
        incubation=INCUBATION,
        shows=Growth(curve),
        work=work,
    )


def _leaves(block: Block, work: Work) -> Course:
    """Scattered vines of infected stock that come and go: of those that showed 3 in 10 show in any later season."""
    return Course(
        looks=one_observer(block, 0.9),
        stock=scattered(block, 0.3),
        can_show=delays(block, 11.0, 6.0),
        shows=Showing(first=0.35, again=(0.3, 0.3)),
        work=work,
    )


def _truths(work: Work | None, **more) -> dict:
    truths = {"static": False, "clustered": False, "cause": "outside", "reach_m": None, "work": None, **more}
    if work is not None:
        truths |= {"work": work.choose, "useful": work.useful, "relapse": work.relapse if work.useful else None}
    return truths


_BASIS = "a constant chance of infection from outside: Madden, Hughes and van den Bosch 2007; growth and rates invented"
_WORK = "that renewal helps with dieback, and in part with esca: extension texts; numbers invented (no relapse rate is published)"


def _plain(curve: str) -> World:
    return World(
        f"dieback_{curve}",
        f"Arms die of infection from outside, anywhere; the damage {CURVES[curve]}; nothing is cut, nothing passes.",
        False,
        None,
        lambda b: _dieback(b, curve, None),
        _truths(None, curve=curve),
        _BASIS,
    )


def _relapsing(curve: str, relapse: float) -> World:
    work = Work("worst_first", useful=True, relapse=relapse)
    percent = round(100 * relapse)
    return World(
        f"dieback_{curve}_relapse_{percent}",
        f"Dead arms; the damage {CURVES[curve]}; the worst vines are renewed every winter, and {percent} % of the renewed fall ill again a season; nothing passes.",
        False,
        None,
        lambda b: _dieback(b, curve, work),
        _truths(work, curve=curve),
        _WORK,
    )


def _chosen(choose: str, *, useful: bool) -> World:
    work = Work(choose, useful=useful, relapse=0.05)
    says = "5 % of the renewed fall ill again a season" if useful else "the work changes nothing"
    return World(
        f"dieback_{choose}_{'useful' if useful else 'useless'}",
        f"Dead arms; the damage {CURVES['late']}; vines are renewed every winter, {CHOSEN[choose]}; {says}; nothing passes.",
        False,
        None,
        lambda b: _dieback(b, "late", work),
        _truths(work, curve="late"),
        _WORK,
    )


def _leaf_chosen(choose: str, *, useful: bool) -> World:
    work = Work(choose, useful=useful, relapse=0.05)
    says = "5 % of the renewed fall ill again a season" if useful else "the work changes nothing"
    return World(
        f"leaves_{choose}_{'useful' if useful else 'useless'}",
        f"Leaf symptoms that come and go; vines are renewed every winter, {CHOSEN[choose]}; {says}; nothing passes.",
        False,
        None,
        lambda b: _leaves(b, work),
        {**_truths(work), "static": True, "cause": "stock", "again": (0.3, 0.3)},
        _WORK,
    )


DAMAGE = (
    *(_plain(curve) for curve in CURVES),
    *(_relapsing(curve, relapse) for curve in CURVES for relapse in (0.0, 0.05, 0.15)),
    *(_chosen(choose, useful=useful) for choose in CHOICES for useful in (False, True)),
    *(_leaf_chosen(choose, useful=useful) for choose in CHOICES for useful in (False, True)),
)
