"""What can be done each winter, as rules that the futures follow."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.renewal.states import State

__all__ = ["STANDARD", "Done", "Strategy", "act", "standard_strategies", "strategies_of"]


#: The strategy that all others are set beside.
STANDARD = "do nothing"


@dataclass(frozen=True, slots=True)
class Strategy:
    """One strategy.

    Attributes
    ----------
    name : str
        In words.
    renew : bool
        Renew vines with lasting damage, the worst first, then those that show on their leaves.
    damaged_only : bool
        Leave alone vines that show on their leaves only, or have a quarter dead.
    arms : bool
        Renew an arm, or one trunk of several, where about half of the vine is dead, the whole trunk where more is.
    hours : float
        Crew-hours a winter for renewing; the worst vines come first.
    start_at : float
        Share of the vines showing from which it starts; 0 at once.
    neighbours : bool
        Renew the vines next to showing ones in the row as well, with the hours that are left.
    sound_share : float
        Share of the sound vines renewed each winter, in turn, with the hours that are left.
    fill : bool
        Replant dead and empty places each winter.
    replant_year : int or None
        Winter (0 the first) in which the whole block is replanted.
    protect : bool
        Prevent: protect pruning wounds, or prune late or twice, every year on every vine.
    """

    name: str
    renew: bool = False
    damaged_only: bool = False
    hours: float = math.inf
    start_at: float = 0.0
    neighbours: bool = False
    sound_share: float = 0.0
    fill: bool = False
    replant_year: int | None = None
    protect: bool = False
    arms: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """Vines worked on in one winter, (futures,) each."""

    renewed: NDArray[np.int64]
    replanted: NDArray[np.int64]
    block: NDArray[np.bool_]


def standard_strategies(
    hours: float, *, replant: bool, protect: bool = False, arms: bool = False
) -> tuple[Strategy, ...]:
    """Return the strategies that are compared unless others are written; `arms` where vines have two parts or more."""
    damaged: dict[str, Any] = {"renew": True, "damaged_only": True, "hours": hours}
    listed = (
        Strategy(STANDARD),
        Strategy("fill gaps only", fill=True),
        Strategy("renew vines with half or more dead", **damaged),
        Strategy("renew vines with half or more dead, fill gaps", fill=True, **damaged),
        *((Strategy("renew the dead part only, fill gaps", arms=True, fill=True, **damaged),) if arms else ()),
        Strategy("renew all showing vines", renew=True, hours=hours),
        Strategy("renew damaged vines and neighbours of showing", neighbours=True, **damaged),
        Strategy("renew damaged vines and 3 % of sound in turn", sound_share=0.03, **damaged),
        *(
            Strategy(f"renew damaged vines from {share} % showing on", start_at=share / 100, **damaged)
            for share in (5, 10, 20, 30)
        ),
    )
    if protect:
        listed += (
            Strategy("prevent only", protect=True),
            Strategy("prevent, and renew vines with half or more dead", protect=True, **damaged),
        )
    return (*listed, Strategy("replant the block now", replant_year=0)) if replant else listed


_SICK = (State.HEAVY, State.MIDDLE, State.LIGHT, State.SHOWING)
_LASTING = (State.HEAVY, State.MIDDLE)


def act(
    strategy: Strategy,
    state: NDArray[np.uint8],
    year: int,
    incidence: NDArray[np.float64],
    *,
    renew_hours: float,
    order: NDArray[np.int64],
    shape: tuple[int, int],
) -> Done:
    """Do a winter's work; `state` is changed in place.

    Parameters
    ----------
    strategy : Strategy
        What is done.
    state : (futures, positions) uint8 array
        States before the winter.
    year : int
        Winter, 0 the first.
    incidence : (futures,) array
        Share of the vines that showed last season.
    renew_hours : float
        Crew-hours to renew a vine.
    order : (positions,) int array
        In which equally sick vines are taken, the same for all strategies.
    shape : (int, int)
        Rows and stations.
    """
    many = len(state)
    none = np.zeros(many, dtype=np.int64)
    if strategy.replant_year == year:
        state[:] = State.BLOCK_PLANTED
        return Done(none, none, np.ones(many, dtype=bool))
    going = (incidence >= strategy.start_at) & (strategy.replant_year is None or year < strategy.replant_year)
    most = strategy.hours / renew_hours + 1e-9 if renew_hours else math.inf  # 0.6 h at 0.2 h are three vines
    room = np.full(many, min(most, state.shape[1])).astype(np.int64)
    room[~going] = 0
    renewed = none.copy()
    if strategy.renew and room.any():
        beside = _beside(state, shape) if strategy.neighbours else None
        for one in _LASTING if strategy.damaged_only else _SICK:
            into = State.ARM_CUT if strategy.arms and one == State.MIDDLE else State.CUT
            renewed += _take(state, state == one, room - renewed, order, into)
        if beside is not None:
            renewed += _take(state, beside & (state == State.SOUND), room - renewed, order)
    if strategy.sound_share and room.any():
        turn = max(1, round(1 / strategy.sound_share))
        mine = (np.arange(state.shape[1]) % turn == year % turn) & going[:, None] & (state == State.SOUND)
        renewed += _take(state, mine, room - renewed, order)
    replanted = none
    if strategy.fill:
        gaps = (state == State.DEAD) | (state == State.EMPTY)
        replanted = gaps.sum(axis=1)
        state[gaps] = State.PLANTED
    return Done(renewed, replanted, np.zeros(many, dtype=bool))


def _take(
    state: NDArray[np.uint8], wanted: NDArray[np.bool_], room: NDArray[np.int64], order: NDArray[np.int64],
    into: State = State.CUT,
) -> NDArray[np.int64]:  # fmt: skip
    """Renew as many of the wanted vines as there is room for."""
    many = wanted.sum(axis=1)
    tight = many > room
    if tight.any():
        lines = np.flatnonzero(tight)
        inside = wanted[np.ix_(lines, order)]
        kept = inside & (np.cumsum(inside, axis=1) <= room[lines, None])
        wanted[np.ix_(lines, order)] = kept
        many = np.minimum(many, np.maximum(room, 0))
    state[wanted] = into
    return np.asarray(many)


def _beside(state: NDArray[np.uint8], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Find the vines next to a showing one in their row."""
    sick = ((state == State.SHOWING) | ((state >= State.LIGHT) & (state <= State.HEAVY))).reshape(len(state), *shape)
    out = np.zeros_like(sick)
    out[:, :, 1:] |= sick[:, :, :-1]
    out[:, :, :-1] |= sick[:, :, 1:]
    return np.asarray(out.reshape(state.shape))


_YES = {"yes": True, "y": True, "1": True, "true": True, "": False, "no": False, "n": False, "0": False, "false": False}
_COLUMNS = (
    "name",
    "renew",
    "damaged_only",
    "crew_days",
    "start_at_pct",
    "neighbours",
    "sound_share_pct",
    "fill",
    "replant_year",
    "protect",
    "arms",
)


def strategies_of(lines: Sequence[Mapping[str, object]], day_hours: float) -> tuple[Strategy, ...]:
    """Read strategies that the user wrote down, a line each; doing nothing is put before them.

    Parameters
    ----------
    lines : sequence of mappings
        Columns name, renew, damaged_only, neighbours, fill, protect, arms (yes or no), crew_days, start_at_pct,
        sound_share_pct, replant_year (1 this winter); what is left empty is no, or without limit.
    day_hours : float
        Hours of a crew-day.

    Raises
    ------
    RecordError
        If a cell cannot be read; the message names line, column and value.
    """
    out = [Strategy(STANDARD)]
    for number, line in enumerate(lines, start=2):
        strange = [name for name in line if name not in _COLUMNS]
        if strange:
            raise RecordError(
                f"strategies, line {number}: no such column {strange[0]!r}; expected: {', '.join(_COLUMNS)}"
            )

        def yes(column: str, line: Mapping[str, object] = line, number: int = number) -> bool:
            text = str(line.get(column) or "").strip().casefold()
            if text not in _YES:
                raise RecordError(f"strategies, line {number}: {column} is {text!r}; expected: yes or no")
            return _YES[text]

        def size(column: str, otherwise: float, line: Mapping[str, object] = line, number: int = number) -> float:
            text = str(line.get(column) or "").strip().replace(",", ".")
            try:
                value = float(text) if text else otherwise
            except ValueError as error:
                raise RecordError(f"strategies, line {number}: {column} is {text!r}; expected: a number") from error
            if not value >= 0:
                raise RecordError(f"strategies, line {number}: {column} is {text!r}; expected: 0 or more")
            return value

        year = size("replant_year", 0.0)
        out.append(Strategy(
            str(line.get("name") or f"strategy {number - 1}").strip(), renew=yes("renew"), damaged_only=yes("damaged_only"),
            hours=size("crew_days", math.inf) * day_hours, start_at=size("start_at_pct", 0.0) / 100, neighbours=yes("neighbours"),
            sound_share=size("sound_share_pct", 0.0) / 100, fill=yes("fill"), replant_year=int(year) - 1 if year else None,
            protect=yes("protect"), arms=yes("arms"),
        ))  # fmt: skip
    return tuple(out)
