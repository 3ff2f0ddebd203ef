"""Worlds in which the way of looking deceives: crews, observers, missed seasons, parts of the block, deaths that nobody writes."""

from dataclasses import replace

import numpy as np
from calibration.worlds.course import Course, Looks, one_observer
from calibration.worlds.kinds import FUTURE, Block, World
from calibration.worlds.passing import along_course
from calibration.worlds.still import STATIC, static_course

__all__ = ["LOOKING"]

CREW = (0.95, 0.8, 0.6, 0.4)


def _crew(block: Block) -> Looks:
    """Four people take runs of rows, dealt out anew every season."""
    span, chance = (block.seasons + FUTURE, block.shape[0]), block.chance("crew")
    run = np.minimum(np.arange(block.shape[0]) * 8 // block.shape[0], 7)
    who = np.array([chance.permutation(np.arange(8) % 4)[run] for _ in range(span[0])])
    return Looks(who, np.array(CREW)[who], ("A", "B", "C", "D"))


def _another(block: Block) -> Looks:
    """A sees 55 % in the first half of the record, B 95 % from then on."""
    span = (block.seasons + FUTURE, block.shape[0])
    who = np.broadcast_to((np.arange(span[0]) >= block.seasons // 2)[:, None], span).astype(np.int64)
    return Looks(who, np.where(who == 1, 0.95, 0.55), ("A", "B"))


def _halves(block: Block) -> Looks:
    """A walks the first half of the rows and sees 95 %, B the other half and sees 50 %."""
    span = (block.seasons + FUTURE, block.shape[0])
    who = np.broadcast_to(np.arange(block.shape[0]) >= block.shape[0] // 2, span).astype(np.int64)
    return Looks(who, np.where(who == 1, 0.5, 0.95), ("A", "B"))


def _drifting(block: Block) -> Looks:
    """A sees 95 % in the first season and 50 % in the last; after the record as in its last season."""
    seasons = np.minimum(np.arange(block.seasons + FUTURE), block.seasons - 1) / (block.seasons - 1)
    sees = np.broadcast_to((0.95 - 0.45 * seasons)[:, None], (seasons.size, block.shape[0]))
    return Looks(np.zeros(sees.shape, dtype=np.int64), sees)


def _part(block: Block, walked: np.ndarray) -> Looks:
    """One observer, who walks what is given by season and row; every row after the record."""
    whole = one_observer(block)
    who = whole.who.copy()
    who[: block.seasons] = np.where(walked, 0, -1)
    return Looks(who, whole.sees)


def _every(block: Block, seasons: int) -> Looks:
    """Walk in the last season of the record and in every so many before it."""
    walked = (block.seasons - 1 - np.arange(block.seasons)) % seasons == 0
    return _part(block, np.broadcast_to(walked[:, None], (block.seasons, block.shape[0])))


def _rotating(block: Block) -> Looks:
    """Walk every third row, the next ones in the next season."""
    t, row = np.ogrid[: block.seasons, : block.shape[0]]
    return _part(block, (row - t) % 3 == 0)


def _thirds(block: Block) -> Looks:
    """Walk a third of the rows, side by side, the next third in the next season."""
    t, row = np.ogrid[: block.seasons, : block.shape[0]]
    return _part(block, (row * 3 // block.shape[0] - t) % 3 == 0)


def _beside(block: Block) -> Looks:
    """One observer, who sees half of what shows, and 95 % beside a vine that was noted before."""
    return replace(one_observer(block, 0.5), sees_beside=0.95)


def _slipping(block: Block) -> Looks:
    """One observer, who writes 4 % of the notes one position off."""
    return replace(one_observer(block), slips=0.04)


def _unwritten(block: Block) -> Course:
    looks = replace(one_observer(block), writes_dead=False, writes_gap=0.67)
    return static_course(block, "foci", looks=looks, dies_showing=0.12, dies_sound=0.005)


def _still(name: str, what: str, where: str, looks, basis: str = "invented", **more) -> World:
    truths = {**STATIC, "clustered": where == "foci", "cause": "stock", **more}
    return World(name, what, False, None, lambda b: static_course(b, where, looks=looks(b)), truths, basis)


def _spreading(name: str, what: str, looks, basis: str = "invented") -> World:
    truths = {
        "static": False,
        "clustered": True,
        "cause": "passing",
        "work": None,
        "reach_m": 2.4,
        "share_passed": (0.68, 0.88),
        "incubation": 2,
    }
    return World(name, what, True, True, lambda b: along_course(b, looks=looks(b)), truths, basis)


_DRIFT = "invented (observers differ, and look less sharply with time)"
LOOKING = (
    _still("changing_crew", "Scattered infected vines; four people who see 95, 80, 60 and 40 % take other runs of rows every season; nothing passes.", "chance", _crew, _DRIFT, sees=CREW),
    _still("another_observer", "Scattered infected vines; from the middle of the record on another observer sees 95 % where the first saw 55 %; nothing passes.", "chance", _another, _DRIFT, sees=(0.55, 0.95), from_season="seasons // 2"),
    _still("another_observer_foci", "Static foci; from the middle of the record on another observer sees 95 % where the first saw 55 %; nothing passes.", "foci", _another, _DRIFT, sees=(0.55, 0.95), from_season="seasons // 2"),
    _still("two_halves", "Scattered infected vines; one observer sees 95 % in the first half of the rows, another 50 % in the second; nothing passes.", "chance", _halves, _DRIFT, sees=(0.95, 0.5)),
    _still("drifting_observer", "Scattered infected vines; the observer sees 95 % in the first season and less every season, 50 % in the last; nothing passes.", "chance", _drifting, _DRIFT, sees=(0.95, 0.5)),
    _still("looks_beside_old_cases", "Scattered infected vines; the observer sees half of what shows, and 95 % beside a vine that was noted before; nothing passes.", "chance", _beside, "invented", sees=(0.5,), sees_beside=0.95),
    _still("slipped_positions", "Scattered infected vines; one note in twenty-five is written one position off in the row; nothing passes.", "chance", _slipping, "invented", slips=0.04),
    _still("every_second_season_foci", "Static foci, looked at in every second season; nothing passes.", "foci", lambda b: _every(b, 2), every=2),
    _still("every_third_season_foci", "Static foci, looked at in every third season; nothing passes.", "foci", lambda b: _every(b, 3), every=3),
    _spreading("every_second_season_along", "Disease passes along the row; the block is looked at in every second season.", lambda b: _every(b, 2)),
    _spreading("every_third_season_along", "Disease passes along the row; the block is looked at in every third season.", lambda b: _every(b, 3)),
    _still("rotating_rows", "Scattered infected vines; every third row is walked, the next ones in the next season; nothing passes.", "chance", _rotating, "invented (parts of a block walked by turns)"),
    _still("rotating_thirds_foci", "Static foci; a third of the rows side by side is walked, the next third in the next season; nothing passes.", "foci", _thirds, "invented (parts of a block walked by turns)"),
    _spreading("rotating_rows_along", "Disease passes along the row; every third row is walked, the next ones in the next season.", _rotating, "invented (parts of a block walked by turns)"),
    World("unwritten_deaths", "Static foci whose vines die, of those that show 12 % a season; no death is written, and two in three gaps are, two to four seasons later; nothing passes.", False, None,
          _unwritten, {**STATIC, "clustered": True, "cause": "stock", "writes_gap": 0.67}, "missing and dead vines are often left out of surveys: New Zealand surveys 2013; rates invented"),
)  # fmt: skip
