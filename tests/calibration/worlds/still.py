"""Worlds in which all infection came with the planting stock, or with a replant, and nothing passes."""

from dataclasses import replace

import numpy as np
from calibration.worlds.course import Course, Replanting, Showing, no_stock, one_observer
from calibration.worlds.kinds import BEFORE, Block, World
from calibration.worlds.places import delays, foci, patches, scattered, slope, smooth_field

__all__ = ["STILL", "static_course"]

#: Infected share of a static block, and years from planting to when a vine can show, mean and standard deviation.
SHARE, MEAN, SD = 0.15, 14.0, 7.0
#: Chance to show in a season: invented, the same in every season.
SHOWS = Showing(first=0.4, again=(0.4, 0.4))
STATIC = {"static": True, "reach_m": None, "work": None}


def static_course(block: Block, where: str, **more) -> Course:
    """Return a static block: vines by chance, or in foci; other parts of the course can be set."""
    stock = foci(block, SHARE) if where == "foci" else scattered(block, SHARE)
    shared = {"looks": one_observer(block), "stock": stock, "can_show": delays(block, MEAN, SD), "shows": SHOWS}
    return Course(**{**shared, **more})


def _rootstock(block: Block, *, on_record: bool) -> Course:
    """Patches of one rootstock, of which 6 in 10 vines are infected; the patches begin to show one after another."""
    patch = patches(block)
    number = int(patch.max()) + 1
    chance = block.chance("rootstock")
    stock = chance.random(block.shape) < np.where(patch >= 0, 0.6, 0.02)
    begins = BEFORE - 2 + np.arange(number) * (block.seasons + 2) // number
    begins = np.where(patch >= 0, begins[patch] + chance.geometric(0.4, block.shape) - 1, delays(block, MEAN, SD))
    names = np.where(patch >= 0, "weak", "strong") if on_record else None
    return Course(looks=one_observer(block), stock=stock, can_show=begins, shows=SHOWS, plant_rootstocks=names)


def _replants(block: Block, *, beside: bool) -> Course:
    """Three batches set as stretches of five to nine vines in a row; of the second and third 7 in 10 are infected.

    `beside`: every stretch has one of the infected first vines of the block in its middle.
    """
    stock = scattered(block, 0.05)
    ill = np.argwhere(stock)
    chance, n = block.chance("batches"), block.shape[0] * block.shape[1]
    taken, batches = np.zeros(block.shape, dtype=bool), []
    for at, infected in ((0, 0.0), (1, 0.7), (max(2, block.seasons // 3), 0.7)):
        where = np.zeros(block.shape, dtype=bool)
        for _ in range(n):  # a small block may have no room for more stretches
            if where.sum() >= 0.08 * n:
                break
            length = int(chance.integers(5, 10))
            row, station = ill[chance.integers(len(ill))] if beside and len(ill) else chance.integers(block.shape)
            station = max(int(station) - length // 2, 0)
            where[row, station : station + length] = True
            where &= ~stock
        where &= ~taken
        taken |= where
        batches.append(Replanting(at, where, where & (chance.random(block.shape) < infected)))
    return Course(
        looks=one_observer(block),
        stock=stock,
        can_show=delays(block, MEAN, SD),
        shows=Showing(0.5, (0.6, 0.6)),
        replantings=tuple(batches),
    )


def _surface(block: Block) -> Course:
    odds = -2.6 + 2.2 * (slope(block) - 0.5) * 2 * 0.5 + 0.7 * smooth_field(block)
    stock = block.chance("surface").random(block.shape) < 1 / (1 + np.exp(-odds - 0.4))
    return Course(looks=one_observer(block), stock=stock, can_show=delays(block, MEAN, SD), shows=SHOWS)


def _cultivars(block: Block) -> Course:
    rows = np.arange(block.shape[0]) // 4 % 2
    stock = block.chance("cultivars").random(block.shape) < np.where(rows == 1, 0.25, 0.06)[:, None]
    names = tuple("tender" if row else "tough" for row in rows)
    return Course(
        looks=one_observer(block), stock=stock, can_show=delays(block, MEAN, SD), shows=SHOWS, row_cultivars=names
    )


def _majority(block: Block) -> Course:
    chance = block.chance("majority")
    stock = chance.random(block.shape) < np.clip(0.7 + 0.15 * smooth_field(block), 0, 0.95)
    late = BEFORE + np.floor(chance.normal(0.8 * block.seasons, 0.3 * block.seasons, block.shape)).astype(np.int64)
    return Course(looks=one_observer(block), stock=stock, can_show=np.maximum(late, 4), shows=SHOWS)


def _repeats(block: Block, again: tuple[float, float], ramp: int) -> Course:
    return static_course(
        block, "chance", shows=Showing(first=0.5, again=again, ramp=ramp), can_show=delays(block, MEAN, SD)
    )


def _clean(block: Block) -> Course:
    stock, never = no_stock(block)
    looks = replace(one_observer(block), false_once=0.01)
    return Course(looks=looks, stock=stock, can_show=never)


def _false_notes(block: Block) -> Course:
    return static_course(block, "foci", looks=replace(one_observer(block), false_once=0.01))


_TRADE = "invented"
STILL = (
    World("scattered", "15 % of the vines came infected, anywhere, and begin to show over many seasons; nothing passes.", False, None,
          lambda b: static_course(b, "chance"), {**STATIC, "clustered": False, "cause": "stock"}, _TRADE),
    World("foci", "Infected planting stock stands in foci of about 4 m; its vines begin to show over many seasons; nothing passes.", False, None,
          lambda b: static_course(b, "foci"), {**STATIC, "clustered": True, "cause": "stock"}, _TRADE),
    World("rootstock_on_record", "Six patches of an infected rootstock begin to show one after another; the rootstock of every vine is on record; nothing passes.", False, None,
          lambda b: _rootstock(b, on_record=True), {**STATIC, "clustered": True, "cause": "rootstock", "on_record": True}, "invented (old planting stock in patches)"),
    World("rootstock_unknown", "The same patches, and nobody wrote down the rootstock.", False, None,
          lambda b: _rootstock(b, on_record=False), {**STATIC, "clustered": True, "cause": "rootstock", "on_record": False}, "invented (old planting stock in patches)"),
    World("replant_batches", "Stretches of rows were replanted in three seasons, twice with infected stock; the planting days are on record; nothing passes.", False, None,
          lambda b: _replants(b, beside=False), {**STATIC, "clustered": True, "cause": "replants", "on_record": True}, "invented (infected nursery stock is common)"),
    World("replants_beside_old_cases", "As replant_batches, and every stretch lies around an infected vine of the first planting that stays; nothing passes.", False, None,
          lambda b: _replants(b, beside=True), {**STATIC, "clustered": True, "cause": "replants", "on_record": True}, "invented (infected nursery stock is common)"),
    World("surface", "The risk lies on a smooth surface with a slope, and all infection is older than the record; nothing passes.", False, None,
          _surface, {**STATIC, "clustered": True, "cause": "gradient"}, "invented"),
    World("slow_foci", "Foci of infected stock whose vines take about 22 years from planting to show; nothing passes.", False, None,
          lambda b: static_course(b, "foci", can_show=delays(b, 22.0, 8.0)), {**STATIC, "clustered": True, "cause": "stock"}, "a late rise: Zanzotto et al. 2013; delay invented"),
    World("late_majority", "Seven vines in ten were infected soon after planting, on a smooth surface, and most begin to show late in the record; nothing passes.", False, None,
          _majority, {**STATIC, "clustered": None, "cause": "gradient"}, "82 % ever with symptoms in one vineyard: Surico et al. 2000; rest invented"),
    World("cultivars", "Four rows of a tough cultivar alternate with four of a tender one, by chance inside each; the cultivars are on record; nothing passes.", False, None,
          _cultivars, {**STATIC, "clustered": True, "clustered_inside_rows": False, "cause": "cultivar", "on_record": True}, "cultivars differ, 0 to 26 %: Gastou et al. 2024; 6 and 25 % invented"),
    World("false_notes", "Static foci, and one sound vine in a hundred is noted once by mistake.", False, None,
          _false_notes, {**STATIC, "clustered": True, "cause": "stock", "false_once": 0.01}, "invented"),
    World("false_notes_only", "No vine is infected, and one in a hundred is noted once by mistake.", False, None,
          _clean, {**STATIC, "clustered": False, "cause": "nothing", "false_once": 0.01}, "invented"),
    World("again_30", "Scattered infected vines; of those that showed, three in ten show in any later season; nothing passes.", False, None,
          lambda b: _repeats(b, (0.3, 0.3), 1), {**STATIC, "clustered": False, "cause": "stock", "again": (0.3, 0.3)}, "invented (no share that shows again is published)"),
    World("again_61_to_95", "Scattered infected vines; of those that showed, 61 % show again, and after four more showings 95 %; nothing passes.", False, None,
          lambda b: _repeats(b, (0.61, 0.95), 5), {**STATIC, "clustered": False, "cause": "stock", "again": (0.61, 0.95)}, "invented (the history beyond last year matters)"),
)  # fmt: skip
