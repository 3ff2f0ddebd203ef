"""One run of a course through all its seasons. Every random number is drawn beforehand, so that a run without work shares them."""

from dataclasses import dataclass, field

import numpy as np
from calibration.worlds.course import FAR, Course, Growth, Passing
from calibration.worlds.kinds import BEFORE, FOUND_DEAD, NEVER, NOT_LOOKED_AT, NOTED, NOTHING, OUTSIDE, STOCK, Block
from numpy.typing import NDArray
from scipy.signal import fftconvolve

__all__ = ["Run", "run"]

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

#: Share of the vine that must be dead before anything can be seen.
VISIBLE = 0.05
#: Seasons until a replant of infected stock can show: at least three, at most seven.
REPLANT_WAITS = (3, 8)


class Draws:
    """The random numbers of a block, by purpose."""

    def __init__(self, block: Block) -> None:
        span = (block.years, *block.shape)
        for purpose in ("infect", "source", "show", "die", "heal", "look", "relapse", "choose", "slip", "side"):
            setattr(self, purpose, block.chance(purpose).random(span))
        self.season = block.chance("season").normal(size=block.years)
        self.speed = block.chance("speed").normal(size=block.shape)
        self.cold = block.chance("cold").random((3, *block.shape))
        self.first_arm = block.chance("first arm").integers(2, size=block.shape)
        self.percent = block.chance("percent").normal(0, 7, (block.seasons, *block.shape, 2))
        self.replant = block.chance("replant").integers(*REPLANT_WAITS, size=block.shape)
        self.false = block.chance("false").random((2, *block.shape))


@dataclass
class Run:
    """What came of it: by year since planting (latent), or by season of the record (`percent`, `worked`)."""

    infected: Bools
    showing: Bools
    severity: Floats
    alive: Bools
    died: Bools
    cold: Bools
    plant: Ints
    new_showing: Ints
    new_noted: Ints
    seen: NDArray[np.int8]  # by season of the record and after it
    percent: Floats  # season x row x station x arm, as noted; 0 not noted
    worked: Bools
    found_dead_now: Bools
    spells: dict[str, Ints] = field(default_factory=dict)


def force(passing: Passing, infectious: Bools) -> Floats:
    """Return the expected number of infections that each cell receives in a season."""
    kernel = passing.kernel * passing.rate
    reach_rows, reach = kernel.shape[0] // 2, kernel.shape[1] // 2
    if reach_rows:
        return np.maximum(fftconvolve(infectious.astype(float), kernel, mode="same"), 0.0)
    out = np.zeros(infectious.shape)
    for step in range(1, reach + 1):
        out[:, step:] += kernel[0, reach - step] * infectious[:, :-step]
        out[:, :-step] += kernel[0, reach + step] * infectious[:, step:]
    return out


def giver(kernel: Floats, infectious: Bools, row: int, station: int, at: float) -> int:
    """Return the flat number of the vine that passed the disease on, drawn by its share of the force at the cell."""
    a, b = kernel.shape[0] // 2, kernel.shape[1] // 2
    top, left = max(row - a, 0), max(station - b, 0)
    bottom, right = min(row + a + 1, infectious.shape[0]), min(station + b + 1, infectious.shape[1])
    window = kernel[top - row + a : bottom - row + a, left - station + b : right - station + b]
    weights = np.cumsum((window * infectious[top:bottom, left:right]).ravel())
    chosen = int(np.searchsorted(weights, at * weights[-1], side="right"))
    down, beside = divmod(min(chosen, weights.size - 1), right - left)
    return (top + down) * infectious.shape[1] + left + beside


def _beside(marked: Bools) -> Bools:
    """Return the cells beside a marked one, in the row or across."""
    out = np.zeros_like(marked)
    out[:, 1:] |= marked[:, :-1]
    out[:, :-1] |= marked[:, 1:]
    out[1:] |= marked[:-1]
    out[:-1] |= marked[1:]
    return out


class _State:
    """The vines as they stand, and what is on record of them."""

    def __init__(self, course: Course, block: Block) -> None:
        shape, n = block.shape, block.shape[0] * block.shape[1]
        self.course, self.block, self.draws = course, block, Draws(block)
        self.alive = np.ones(shape, dtype=bool)
        self.since = np.where(course.stock, 0, NEVER)
        self.source = np.where(course.stock, STOCK, NEVER)
        self.onset = np.where(course.stock, course.can_show, FAR)
        self.times = np.zeros(shape, dtype=np.int64)
        self.showing = np.zeros(shape, dtype=bool)
        self.relapsing = np.zeros(shape, dtype=bool)
        self.cold = np.zeros(shape, dtype=bool)
        self.noted_ever = np.zeros(shape, dtype=bool)
        self.noted_times = np.zeros(shape, dtype=np.int64)  # since planting or renewal
        self.noted_first = np.full(shape, FAR)
        self.last_percent = np.zeros((*shape, 2))
        self.noted_last = np.full(shape, NEVER)
        self.dead_on_record = np.zeros(shape, dtype=bool)
        self.spell = np.arange(n).reshape(shape)
        self.spells = {
            "row": [np.repeat(np.arange(shape[0]), shape[1])],
            "station": [np.tile(np.arange(shape[1]), shape[0])],
            "planted": [np.zeros(n, dtype=np.int64)],
        }
        self.count = n
        self.closed: list[tuple[Ints, Ints, Ints, Ints]] = []
        self.ended = np.full(shape, NEVER)
        self.cold_share = 0.2 + 0.7 * self.draws.cold[1]

    def close(self, where: Bools) -> None:
        """Put the plants of some cells on the list of spells."""
        self.closed.append((self.spell[where], self.ended[where], self.since[where], self.source[where]))

    def replant(self, year: int, where: Bools, infected: Bools) -> None:
        """Pull the plants of some cells and set new ones."""
        self.ended[where & self.alive] = year
        self.close(where)
        rows, stations = np.nonzero(where)
        self.spell[where] = self.count + np.arange(rows.size)
        self.count += rows.size
        for name, values in (("row", rows), ("station", stations), ("planted", np.full(rows.size, year))):
            self.spells[name].append(values)
        bad = where & infected
        self.alive |= where
        self.ended[where] = NEVER
        self.since = np.where(where, np.where(bad, year, NEVER), self.since)
        self.source = np.where(where, np.where(bad, STOCK, NEVER), self.source)
        self.onset = np.where(where, np.where(bad, year + self.draws.replant, FAR), self.onset)
        self.noted_first[where], self.noted_last[where] = FAR, NEVER
        for array in (self.times, self.noted_times, self.last_percent):
            array[where] = 0
        for array in (self.showing, self.cold, self.relapsing, self.noted_ever, self.dead_on_record):
            array[where] = False

    def die(self, year: int) -> Bools:
        """Let vines die between two seasons."""
        chance = np.where(self.showing, self.course.dies_showing, self.course.dies_sound)
        gone = self.alive & (self.draws.die[year] < chance)
        self._end(gone, year)
        return gone

    def _end(self, gone: Bools, year: int) -> None:
        self.alive[gone] = False
        self.ended[gone] = year
        self.showing &= ~gone

    def infect(self, year: int) -> None:
        """Let disease come from outside, and from vine to vine."""
        course = self.course
        outside = np.broadcast_to(course.outside[year] if np.ndim(course.outside) else course.outside, self.block.shape)
        from_outside = -np.log1p(-outside)
        infectious = (self.since != NEVER) & (self.onset <= year)
        passed = force(course.passing, infectious) if course.passing else np.zeros(self.block.shape)
        open_to = self.alive & (self.since == NEVER)
        new = open_to & (self.draws.infect[year] < -np.expm1(-from_outside - passed))
        if course.seeds is not None and year == course.seeds_in:
            new |= open_to & course.seeds
            from_outside = np.where(course.seeds, 1.0, from_outside)
            passed = np.where(course.seeds, 0.0, passed)
        for row, station in zip(*np.nonzero(new), strict=True):
            draw = self.draws.source[year, row, station] * (from_outside[row, station] + passed[row, station])
            if draw < from_outside[row, station]:
                self.source[row, station] = OUTSIDE
            else:
                at = (draw - from_outside[row, station]) / passed[row, station]
                self.source[row, station] = giver(course.passing.kernel, infectious, int(row), int(station), at)
        self.since[new] = year
        self.onset[new] = year + course.incubation

    def show(self, year: int) -> Floats:
        """Let vines show; return the share of each that is dead."""
        course, back = self.course, self.relapsing & self.alive & (self.onset > year)
        if course.work is not None:
            self.onset[back & (self.draws.relapse[year] < course.work.relapse)] = year
        can = self.alive & (self.onset <= year)
        severity = np.zeros(self.block.shape)
        if isinstance(course.shows, Growth):
            speed = np.exp(course.shows.spread_of_rates * self.draws.speed)
            severity = np.where(can, np.minimum(course.shows.share(year - self.onset + 1.0) * speed, 1.0), 0.0)
            showing = severity >= VISIBLE
        else:
            p = course.shows.chance(self.times)
            with np.errstate(divide="ignore"):
                odds = np.log(p / (1 - p)) + course.shows.season_sd * self.draws.season[year]
            showing = can & (self.draws.show[year] < 1 / (1 + np.exp(-odds)))
        self._frost(year)
        severity = np.where(self.cold & self.alive, np.maximum(severity, self.cold_share), severity)
        self.showing = (showing | self.cold) & self.alive
        return severity

    def _frost(self, year: int) -> None:
        cold = self.course.cold
        if cold is None:
            return
        self.cold &= self.draws.heal[year] >= cold.heals
        if year == BEFORE + cold.season:
            hit = self.alive & (self.draws.cold[0] < cold.chance)
            self.cold |= hit
            self._end(hit & (self.draws.cold[2] < cold.kills), year)

    def look(self, t: int, severity: Floats, false: Bools) -> tuple[NDArray[np.int8], Floats]:
        """Let the scouts walk; return what they have of every vine, and the percent of each arm."""
        looks, year = self.course.looks, BEFORE + t
        walked = np.broadcast_to((looks.who[t] >= 0)[:, None], self.block.shape)
        sees = np.broadcast_to(looks.sees[t][:, None], self.block.shape)
        if looks.sees_beside is not None:
            sees = np.where(_beside(self.noted_ever), looks.sees_beside, sees)
        noted = walked & self.showing & (self.draws.look[year] < sees)
        false = walked & false & self.alive & ~self.showing & (self.since == NEVER)
        percent = np.zeros((*self.block.shape, 2))
        if isinstance(self.course.shows, Growth) and t < self.block.seasons:
            percent = self._percent(t, severity) * noted[:, :, None]
            percent[false, 0] = 10.0
        noted = noted | false
        if looks.slips:
            self._slip(year, noted, percent)
        seen = np.where(walked, np.where(noted, NOTED, NOTHING), NOT_LOOKED_AT).astype(np.int8)
        if looks.writes_dead:
            self.dead_on_record |= walked & ~self.alive
            seen[walked & self.dead_on_record] = FOUND_DEAD
        return seen, percent

    def _slip(self, year: int, noted: Bools, percent: Floats) -> None:
        """Write some notes one position off, where a living vine stands there that has no note of its own."""
        slipped = noted & (self.draws.slip[year] < self.course.looks.slips)
        for row, station in zip(*np.nonzero(slipped), strict=True):
            to = station + (1 if self.draws.side[year, row, station] < 0.5 else -1)
            if 0 <= to < noted.shape[1] and self.alive[row, to] and not noted[row, to]:
                noted[row, [station, to]] = False, True
                percent[row, to], percent[row, station] = percent[row, station], 0.0

    def _percent(self, t: int, severity: Floats) -> Floats:
        worse = np.minimum(1.0, 1.6 * severity)
        arms = np.stack([worse, np.clip(2 * severity - worse, 0, 1)], axis=-1)
        arms = np.where(self.draws.first_arm[:, :, None] == 1, arms[:, :, ::-1], arms)
        rough = np.clip(5 * np.round((100 * arms + self.draws.percent[t]) / 5), 5, 100)
        return np.where(arms >= VISIBLE, rough, 0.0)

    def keep(self, t: int, seen: NDArray[np.int8], percent: Floats) -> Bools:
        """Put a look on record; return the vines that were never noted before."""
        noted = seen == NOTED
        new = noted & ~self.noted_ever
        self.noted_ever |= noted
        self.noted_times[noted] += 1
        self.noted_first[noted] = np.minimum(self.noted_first[noted], t)
        self.noted_last[noted] = t
        self.last_percent[noted] = percent[noted]
        return new

    def renew(self, t: int) -> Bools:
        """Choose vines from what is on record, and renew them."""
        work, done = self.course.work, np.zeros(self.block.shape, dtype=bool)
        if work is None or not work.first <= t < self.block.seasons - 1:
            return done
        candidates = np.flatnonzero(self.alive & (self.noted_times > 0) & ~self.dead_on_record)
        order = self._order(work.choose, t, candidates)
        done.ravel()[order[: round(work.share * done.size)]] = True
        self.noted_times[done], self.noted_first[done], self.noted_last[done] = 0, FAR, NEVER
        if work.useful:
            self.relapsing |= done & (self.since != NEVER)
            self.onset[done] = FAR
            self.cold[done] = False
        return done

    def _order(self, choose: str, t: int, candidates: Ints) -> Ints:
        chance = self.draws.choose[BEFORE + t].ravel()[candidates]
        times = self.noted_times.ravel()[candidates]
        if choose == "showing_this_year":
            now = self.noted_last.ravel()[candidates] == t
            candidates, chance = candidates[now], chance[now]
            return candidates[np.argsort(chance)]
        keys = {
            "worst_first": -self.last_percent.sum(axis=2).ravel()[candidates] * 1000 - times,
            "longest_on_record": self.noted_first.ravel()[candidates],
            "at_random": np.zeros(candidates.size),
            "showed_least": times,
        }
        return candidates[np.lexsort((chance, keys[choose]))]


def run(course: Course, block: Block, *, work: bool) -> Run:
    """Run a course; without work nobody renews a vine."""
    state, years, shape = _State(course, block), block.years, block.shape
    span, looked = (years, *shape), years - BEFORE
    out = Run(
        *(np.zeros(span, dtype=bool) for _ in range(2)),
        np.zeros(span),
        *(np.zeros(span, dtype=bool) for _ in range(3)),
        np.zeros(span, dtype=np.int64),
        np.zeros(years, dtype=np.int64),
        np.zeros(looked, dtype=np.int64),
        np.zeros((looked, *shape), dtype=np.int8),
        np.zeros((block.seasons, *shape, 2)),
        np.zeros((block.seasons, *shape), dtype=bool),
        np.zeros((looked, *shape), dtype=bool),
    )
    false_in = np.where(
        state.draws.false[0] < course.looks.false_once, (state.draws.false[1] * block.seasons).astype(int), NEVER
    )
    for year in range(years):
        t = year - BEFORE
        if year:
            out.died[year] = state.die(year)
        for replanting in course.replantings:
            if replanting.season == t:
                state.replant(year, replanting.where, replanting.infected)
        state.infect(year)
        lived = state.alive.copy()
        out.severity[year] = state.show(year)
        out.died[year] |= lived & ~state.alive
        out.new_showing[year] = np.count_nonzero(state.showing & (state.times == 0))
        state.times += state.showing
        out.infected[year], out.showing[year], out.alive[year] = state.since != NEVER, state.showing, state.alive
        out.cold[year], out.plant[year] = state.cold & state.alive, state.spell
        if t >= 0:
            before = state.dead_on_record.copy()
            out.seen[t], percent = state.look(t, out.severity[year], false_in == t)
            out.found_dead_now[t] = state.dead_on_record & ~before
            out.new_noted[t] = np.count_nonzero(state.keep(t, out.seen[t], percent))
            if t < block.seasons:
                out.percent[t] = percent
                if work:
                    out.worked[t] = state.renew(t)
    state.close(np.ones(shape, dtype=bool))
    out.spells = _spells(state)
    return out


def _spells(state: _State) -> dict[str, Ints]:
    spells = {name: np.concatenate(parts) for name, parts in state.spells.items()}
    for name in ("ended", "since", "source"):
        spells[name] = np.full(state.count, NEVER)
    for number, *columns in state.closed:
        for name, values in zip(("ended", "since", "source"), columns, strict=True):
            spells[name][number] = values
    return spells
