"""Worlds in which disease passes from vine to vine."""

from calibration.worlds.course import (
    Cold,
    Course,
    Growth,
    Passing,
    Showing,
    along_kernel,
    distance_kernel,
    no_stock,
    one_observer,
)
from calibration.worlds.kinds import Block, World
from calibration.worlds.moving import cold_season
from calibration.worlds.places import delays, foci, low_ground, scattered

__all__ = ["PASSING", "along_course"]

SHOWS = Showing(first=0.5, again=(0.6, 0.6))
#: Vines that an infectious vine infects in a season, chance of infection from outside, seasons to the first symptoms.
RATE, OUTSIDE, INCUBATION = 0.2, 0.0035, 2
#: Vines infected from outside in the fourth season after planting.
SEEDS = 0.012


def along_course(block: Block, rate: float = RATE, outside: float = OUTSIDE, **more) -> Course:
    """Return a block in which disease passes to the next two vines along the row."""
    stock, never = no_stock(block)
    shared = {
        "looks": one_observer(block),
        "stock": stock,
        "can_show": never,
        "outside": outside,
        "incubation": INCUBATION,
        "passing": Passing(along_kernel(), rate),
        "seeds": scattered(block, SEEDS, "seeds"),
        "shows": SHOWS,
    }
    return Course(**{**shared, **more})


def _kernel(block: Block, scale_m: float) -> Course:
    return along_course(block, passing=Passing(distance_kernel(scale_m), 0.14))


def _foci(block: Block) -> Course:
    stock = foci(block, 0.06)
    return along_course(block, stock=stock, can_show=delays(block, 12.0, 6.0), rate=0.15, outside=0.003, seeds=None)


def _with_cold(block: Block) -> Course:
    cold = Cold(cold_season(block), 0.6 * low_ground(block))
    return along_course(block, shows=Growth("early"), cold=cold, weather=True)


def _incubation(block: Block, seasons: int, rate: float) -> Course:
    return along_course(block, incubation=seasons, rate=rate)


def _truths(reach_m: float, share: tuple[float, float], **more) -> dict:
    return {
        "static": False,
        "clustered": True,
        "cause": "passing",
        "work": None,
        "reach_m": reach_m,
        "share_passed": share,
        **more,
    }


_BASIS = "force from outside and from neighbours by distance: Gibson and Austin 1996, Parry et al. 2014; rates invented"
PASSING = (
    World("along", "Disease passes to the next vines along the row, besides some from outside.", True, True,
          along_course, _truths(2.4, (0.68, 0.88), incubation=2), _BASIS),
    World("along_weak", "Disease passes along the row, and about half of it comes from outside.", True, True,
          lambda b: along_course(b, rate=0.06, outside=0.005), _truths(2.4, (0.3, 0.55)), _BASIS),
    World("kernel_1m", "Disease passes in all directions, less with distance (scale 1 m).", True, False,
          lambda b: _kernel(b, 1.0), _truths(5.0, (0.7, 0.9), scale_m=1.0), _BASIS),
    World("kernel_3m", "Disease passes in all directions, less with distance (scale 3 m).", True, False,
          lambda b: _kernel(b, 3.0), _truths(15.0, (0.73, 0.93), scale_m=3.0), _BASIS),
    World("kernel_10m", "Disease passes in all directions, less with distance (scale 10 m).", True, False,
          lambda b: _kernel(b, 10.0), _truths(50.0, (0.62, 0.86), scale_m=10.0, clustered=None), _BASIS),
    World("foci_and_along", "Foci of infected stock, from which disease passes along the row.", True, True,
          _foci, _truths(2.4, (0.66, 0.87)), _BASIS),
    World("along_and_cold", "Dead arms from disease that passes along the row, and one cold winter in a low corner on top; the weather is on record.", True, True,
          _with_cold, _truths(2.4, (0.68, 0.88), cold_at="seasons // 2 + 1"), _BASIS + "; cold as in cold_winter"),
    World("along_incubation_0", "Disease passes along the row; a vine can show and pass it on in the season of its infection.", True, True,
          lambda b: _incubation(b, 0, 0.13), _truths(2.4, (0.62, 0.84), incubation=0), _BASIS),
    World("along_incubation_4", "Disease passes along the row; a vine can show and pass it on four seasons after infection.", True, True,
          lambda b: _incubation(b, 4, 0.35), _truths(2.4, (0.72, 0.92), incubation=4), _BASIS + "; leaf symptoms 3 to 8 years after infection: extension texts on Eutypa dieback"),
)  # fmt: skip
