"""Worlds in which nothing passes from vine to vine, and yet new cases come in an order of their own."""

import numpy as np
from calibration.worlds.course import Cold, Course, Growth, Showing, no_stock, one_observer, rising
from calibration.worlds.kinds import BEFORE, ROW_M, VINE_M, Block, World
from calibration.worlds.places import low_ground, slope, stretches

__all__ = ["MOVING", "cold_season"]

SHOWS = Showing(first=0.5, again=(0.6, 0.6))
MOVES = {"static": False, "reach_m": None, "work": None}


def _side(block: Block) -> Course:
    """Infection from outside: everywhere 0.3 % a season; on one side rising to about 8 %, and the risk moves inwards."""
    down = 1 - slope(block)
    stock, never = no_stock(block)
    years = np.clip((np.arange(block.years) - BEFORE + 4) / (block.seasons + 4), 0, 1.2)[:, None, None]
    outside = 0.003 + 0.08 * years / (1 + np.exp(-(down[None] - 0.95 + 0.35 * years) / 0.06))
    return Course(looks=one_observer(block), stock=stock, can_show=never, outside=outside, incubation=1, shows=SHOWS)


def _front(block: Block) -> Course:
    """A front crosses the block from a side within the record; at it the chance of infection is 9 % a season."""
    place = slope(block)[None]
    front = ((np.arange(block.years) - BEFORE + 2) / (block.seasons + 4))[:, None, None]
    stock, never = no_stock(block)
    outside = 0.002 + 0.09 * np.exp(-(((place - front) / 0.12) ** 2))
    return Course(looks=one_observer(block), stock=stock, can_show=never, outside=outside, incubation=1, shows=SHOWS)


def _growing(block: Block) -> Course:
    """Five wet spots that grow by 0.7 m a season: 15 % a season of the vines in them are infected, 0.2 % elsewhere."""
    chance, stock_and_never = block.chance("wet"), no_stock(block)
    nearest = np.full(block.shape, np.inf)
    for _ in range(5):
        row, station = chance.random(2) * np.array(block.shape)
        late = chance.uniform(0, 3)
        away = np.hypot(block.across_m - row * ROW_M, block.along_m - station * VINE_M) + late
        nearest = np.minimum(nearest, away)
    radius = 0.7 * (np.arange(block.years) - BEFORE + 3)[:, None, None]
    outside = np.where(nearest[None] < radius, 0.15, 0.002)
    return Course(
        looks=one_observer(block),
        stock=stock_and_never[0],
        can_show=stock_and_never[1],
        outside=outside,
        incubation=1,
        shows=SHOWS,
    )


def _zones(block: Block, *, on_record: bool) -> Course:
    """Chains of zones of six vines along the row: the middle one first, then the next ones, two to three seasons apart."""
    chains = max(4, block.shape[0] * block.shape[1] // 90)
    chain, link = stretches(block, chains=chains, links=3, length=6)
    chance = block.chance("zones")
    starts = BEFORE - 4 + chance.integers(0, block.seasons - 1, chains)
    gap = max(2, block.seasons // 5)
    stock = chance.random(block.shape) < np.where(chain >= 0, 0.65, 0.01)
    late = starts[chain] + gap * np.maximum(link, 0) + chance.integers(0, gap, block.shape)
    scatter = chance.integers(BEFORE - 2, BEFORE + block.seasons, block.shape)
    names = np.where(chain >= 0, np.char.add("lot ", (link + 1).astype(str)), "lot 0") if on_record else None
    return Course(
        looks=one_observer(block),
        stock=stock,
        can_show=np.where(chain >= 0, late, scatter),
        shows=SHOWS,
        plant_rootstocks=names,
    )


def cold_season(block: Block) -> int:
    """Return the season of the record in which the cold winter comes: a little after its middle."""
    return block.seasons // 2 + 1


def _cold(block: Block) -> Course:
    stock, never = no_stock(block)
    cold = Cold(cold_season(block), 0.75 * low_ground(block))
    return Course(looks=one_observer(block), stock=stock, can_show=never, shows=Growth("slow"), cold=cold, weather=True)


def _by_year(block: Block, start: float, slope_a_season: float) -> Course:
    stock, never = no_stock(block)
    outside = rising(block, start, slope_a_season)[:, None, None] * np.ones(block.shape)
    return Course(looks=one_observer(block), stock=stock, can_show=never, outside=outside, incubation=1, shows=SHOWS)


def _scattered_from_outside(block: Block) -> Course:
    return _by_year(block, 0.015, 0.0)


MOVING = (
    World("cold_winter", "No disease; one cold winter kills wood in a low corner, and it is grown over in the seasons after; the weather is on record.", False, None,
          _cold, {**MOVES, "static": False, "clustered": True, "cause": "cold", "cold_at": "seasons // 2 + 1"}, "a step in one year, low spots, cold of -31 C: extension texts on winter injury; strength invented"),
    World("rising_side", "Infection comes from outside on one side; it rises from season to season and reaches further in; nothing passes.", False, None,
          _side, {**MOVES, "clustered": True, "cause": "gradient"}, "gradients from an edge: Munkvold et al. 1993; strength invented"),
    World("moving_front", "A front of infection from outside crosses the block from one side to the other within the record; nothing passes.", False, None,
          _front, {**MOVES, "clustered": None, "cause": "gradient"}, "invented"),
    World("growing_spots", "Five wet spots grow by 0.7 m a season, and vines in them fall ill; nothing passes, and the map alone cannot tell it from passing.", False, None,
          _growing, {**MOVES, "clustered": True, "cause": "wet ground"}, "invented (wet feet are a look-alike)"),
    World("zones_on_record", "Short zones along the row sicken one after another, the middle of each chain first; the lot of every vine is on record as its rootstock; nothing passes.", False, None,
          lambda b: _zones(b, on_record=True), {**MOVES, "static": True, "clustered": True, "cause": "zones", "on_record": True}, "invented"),
    World("zones_unknown", "The same zones, and nobody wrote down the lots.", False, None,
          lambda b: _zones(b, on_record=False), {**MOVES, "static": True, "clustered": True, "cause": "zones", "on_record": False}, "invented"),
    World("from_outside", "Every sound vine has the same chance of infection from outside in every season; nothing passes.", False, None,
          _scattered_from_outside, {**MOVES, "clustered": False, "cause": "outside"}, "a constant chance of infection from outside: Madden, Hughes and van den Bosch 2007; 1.5 % invented"),
    World("rising", "Infection from outside, anywhere, with log-odds that rise by 0.2 a season; nothing passes.", False, None,
          lambda b: _by_year(b, 0.008, 0.2), {**MOVES, "clustered": False, "cause": "outside", "log_odds_a_season": 0.2}, "8 to 20 % of vines in five years, log-odds +0.21 a year: New Zealand surveys 2013 and 2018"),
    World("falling", "Infection from outside, anywhere, with log-odds that fall by 0.25 a season; nothing passes.", False, None,
          lambda b: _by_year(b, 0.02, -0.25), {**MOVES, "clustered": False, "cause": "outside", "log_odds_a_season": -0.25}, "invented"),
)  # fmt: skip
