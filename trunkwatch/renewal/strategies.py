"""What can be done each winter, as rules that the futures follow."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.renewal.states import State, damage_state, with_a_shoot

__all__ = ["STANDARD", "Done", "Effort", "Strategy", "act", "standard_strategies", "strategies_of"]


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
        Crew-hours a winter for all work, with the training after it; the worst vines come first, gaps last.
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
    least : int
        Least damage that is renewed where only damaged vines are: `State.LIGHT` a quarter of the vine dead, `State.MIDDLE`
        half, `State.HEAVY` most of it.
    shoot_first : bool
        Train a shoot on the vines that would be cut, and cut the old part a winter later.
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
    least: int = int(State.MIDDLE)
    shoot_first: bool = False


@dataclass(frozen=True, slots=True)
class Effort:
    """Crew-hours for a vine, and what a cut loses: the same for the futures and for the list of the winter.

    Attributes
    ----------
    trunk, arm, replant : float
        Crew-hours to renew a trunk, an arm or one trunk of several, and to replant, with the training after it.
    shoot, late : float
        To train a shoot before the cut, and to cut beside it a winter later.
    bearing : (states,) array or None
        Yield of each state; None where the loss of yield has no limit.
    most_loss : float
        Largest loss of yield in one year, as a share of what the block bears.
    whole : (positions,) bool array or None
        Vines of which only the whole trunk can be renewed, because more than one arm or the trunk is affected.
    """

    trunk: float
    arm: float
    replant: float = 0.0
    shoot: float = 0.0
    late: float = 0.0
    bearing: NDArray[np.float64] | None = field(repr=False, compare=False, default=None)
    most_loss: float = 1.0
    whole: NDArray[np.bool_] | None = field(repr=False, compare=False, default=None)

    def loss(self, state: int, into: int) -> float:
        """Return the yield that is lost in the first season after a cut."""
        if self.bearing is None:
            return 0.0
        first = {State.CUT: State.RENEWED_1, State.CUT_TRAINED: State.TRAINED_1, State.ARM_CUT: State.ARM_1}
        return max(0.0, float(self.bearing[state] - self.bearing[first[State(into)]])) if into in first else 0.0


@dataclass(frozen=True, slots=True)
class Done:
    """Vines worked on in one winter, and its crew-hours, (futures,) each."""

    renewed: NDArray[np.int64]
    replanted: NDArray[np.int64]
    block: NDArray[np.bool_]
    hours: NDArray[np.float64]


def standard_strategies(
    hours: float, *, replant: bool, protect: bool = False, arms: bool = False
) -> tuple[Strategy, ...]:
    """Return the strategies that are compared unless others are written; `arms` where vines have two parts or more."""
    damaged: dict[str, Any] = {"renew": True, "damaged_only": True, "hours": hours}
    listed = (
        Strategy(STANDARD),
        Strategy("fill gaps only", fill=True),
        Strategy("retrain vines with half or more dead", **damaged),
        Strategy("retrain vines with half or more dead, fill gaps", fill=True, **damaged),
        *((Strategy("retrain the dead part only, fill gaps", arms=True, fill=True, **damaged),) if arms else ()),
        Strategy("retrain all showing vines", renew=True, hours=hours),
        Strategy("retrain damaged vines and neighbors of showing", neighbours=True, **damaged),
        Strategy("retrain damaged vines and 3 % of sound in turn", sound_share=0.03, **damaged),
        *(
            Strategy(f"retrain damaged vines from {share} % showing on", start_at=share / 100, **damaged)
            for share in (5, 10, 20, 30)
        ),
    )
    if protect:
        listed += (
            Strategy("prevent only", protect=True),
            Strategy("prevent, and retrain vines with half or more dead", protect=True, **damaged),
        )
    return (*listed, Strategy("replant the block now", replant_year=0)) if replant else listed


_SICK = (State.HEAVY, State.MIDDLE, State.LIGHT, State.SHOWING)
_SHOOTS = (State.SHOOT_HEAVY, State.SHOOT_MIDDLE, State.SHOOT_LIGHT)


def act(
    strategy: Strategy,
    state: NDArray[np.uint8],
    year: int,
    incidence: NDArray[np.float64],
    *,
    renew_hours: float,
    order: NDArray[np.int64],
    shape: tuple[int, int],
    effort: Effort | None = None,
    bearing: NDArray[np.float64] | float = math.inf,
    there: NDArray[np.int64] | None = None,
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
        Crew-hours to renew a vine, where no effort is given.
    order : (positions,) int array
        In which equally sick vines are taken, the same for all strategies.
    shape : (int, int)
        Rows and stations.
    effort : Effort, optional
        Hours of all work and the largest loss of yield; hours bound the renewals alone where left out.
    bearing : (futures,) array or float
        What the block bears, in healthy vines, for the largest loss.
    there : (states,) array, optional
        Vines in each state over all futures, where they were counted already.
    """
    many = len(state)
    none = np.zeros(many, dtype=np.int64)
    if strategy.replant_year == year:
        state[:] = State.BLOCK_PLANTED
        return Done(none, none, np.ones(many, dtype=bool), np.zeros(many))
    going = (incidence >= strategy.start_at) & (strategy.replant_year is None or year < strategy.replant_year)
    winter = _Winter(state, order, effort or Effort(renew_hours, renew_hours), strategy.hours, bearing)
    if there is None:
        there = np.bincount(state.ravel(), minlength=State.SHOOT_HEAVY + 1)
    if strategy.renew and going.any() and winter.hours.max() > 0:
        _renew(strategy, winter, going, there, shape)
    if strategy.sound_share and going.any():
        turn = max(1, round(1 / strategy.sound_share))
        mine = (np.arange(state.shape[1]) % turn == year % turn) & going[:, None] & (state == State.SOUND)
        winter.take(mine, State.SOUND, State.CUT)
    if strategy.fill and there[State.DEAD] + there[State.EMPTY]:
        winter.take((state == State.DEAD) | (state == State.EMPTY), State.DEAD, State.PLANTED)
    return Done(winter.renewed, winter.replanted, np.zeros(many, dtype=bool), winter.spent)


def _renew(
    strategy: Strategy, winter: "_Winter", going: NDArray[np.bool_], there: NDArray[np.int64], shape: tuple[int, int]
) -> None:
    """Renew the sick, the worst first, then the sound vines beside them."""
    state, effort = winter.state, winter.effort
    beside = _beside(state, shape) if strategy.neighbours else None
    for one in _SHOOTS if strategy.shoot_first else ():
        if there[one]:
            winter.take((state == one) & going[:, None], one, State.CUT_TRAINED)
    for one in _SICK:
        if not there[one] or (strategy.damaged_only and (one == State.SHOWING or one < strategy.least)):
            continue
        wanted = (state == one) & going[:, None]
        if strategy.shoot_first and one != State.SHOWING:
            winter.take(wanted, one, with_a_shoot(one))
        elif strategy.arms and one in (State.LIGHT, State.MIDDLE):
            if effort.whole is not None:
                winter.take(wanted & effort.whole, one, State.CUT)
                wanted &= ~effort.whole
            winter.take(wanted, one, State.ARM_CUT)
        else:
            winter.take(wanted, one, State.CUT)
    if beside is not None:
        winter.take(beside & (state == State.SOUND) & going[:, None], State.SOUND, State.CUT)


class _Winter:
    """One winter's work: the hours and the loss of yield that are left."""

    def __init__(
        self,
        state: NDArray[np.uint8],
        order: NDArray[np.int64],
        effort: Effort,
        hours: float,
        bearing: NDArray[np.float64] | float,
    ) -> None:
        many = len(state)
        self.state, self.order, self.effort = state, order, effort
        self.hours = np.full(many, hours)
        self.loss = np.broadcast_to(effort.most_loss * np.asarray(bearing), (many,)).copy()
        self.renewed, self.replanted = np.zeros(many, dtype=np.int64), np.zeros(many, dtype=np.int64)
        self.spent = np.zeros(many)

    def take(self, wanted: NDArray[np.bool_], one: int, into: int) -> None:
        """Work on as many of the wanted vines as there is room for; `wanted` is changed in place."""
        effort = self.effort
        each = {
            State.CUT: effort.trunk,
            State.ARM_CUT: effort.arm,
            State.PLANTED: effort.replant,
            State.CUT_TRAINED: effort.late,
        }
        hours, loss = each.get(State(into), effort.shoot), effort.loss(one, into)
        room = np.full(len(wanted), float(wanted.shape[1]))
        if hours:
            room = np.minimum(room, self.hours / hours + 1e-9)  # 0.6 h at 0.2 h are three vines
        if loss:
            room = np.minimum(room, self.loss / loss + 1e-9)
        many = _first_of(wanted, room.astype(np.int64), self.order)
        self.state[wanted] = into
        self.hours -= many * hours
        self.spent += many * hours
        if loss:
            self.loss -= many * loss
        if into == State.PLANTED:
            self.replanted += many
        elif into in (State.CUT, State.ARM_CUT, State.CUT_TRAINED):
            self.renewed += many


def _first_of(wanted: NDArray[np.bool_], room: NDArray[np.int64], order: NDArray[np.int64]) -> NDArray[np.int64]:
    """Keep as many of the wanted vines as there is room for, in the order given; return how many."""
    many = wanted.sum(axis=1)
    tight = many > room
    if tight.any():
        lines = np.flatnonzero(tight)
        line, vine = np.divmod(np.flatnonzero(wanted[lines]), wanted.shape[1])  # line by line
        turn = np.empty_like(order)
        turn[order] = np.arange(order.size)
        sorted_ = np.lexsort((turn[vine], line))
        begins = np.cumsum(many[lines]) - many[lines]
        late = np.arange(line.size) - begins[line] >= room[lines][line]
        wanted[lines[line[late]], vine[sorted_[late]]] = False
        many = np.minimum(many, np.maximum(room, 0))
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
    "least_dead_pct",
    "shoot_first",
)


def strategies_of(lines: Sequence[Mapping[str, object]], day_hours: float) -> tuple[Strategy, ...]:
    """Read strategies that the user wrote down, a line each; doing nothing is put before them.

    Parameters
    ----------
    lines : sequence of mappings
        Columns name, renew, damaged_only, neighbours, fill, protect, arms, shoot_first (yes or no), crew_days, start_at_pct,
        sound_share_pct, least_dead_pct (25, 50 or 85: a quarter, half, most of the vine), replant_year (1 this winter); what is left empty is no, or without limit.
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
        out.append(
            Strategy(
                str(line.get("name") or f"strategy {number - 1}").strip(),
                renew=yes("renew"),
                damaged_only=yes("damaged_only"),
                hours=size("crew_days", math.inf) * day_hours,
                start_at=size("start_at_pct", 0.0) / 100,
                neighbours=yes("neighbours"),
                sound_share=size("sound_share_pct", 0.0) / 100,
                fill=yes("fill"),
                replant_year=int(year) - 1 if year else None,
                protect=yes("protect"),
                arms=yes("arms"),
                least=int(damage_state(size("least_dead_pct", 50.0))),
                shoot_first=yes("shoot_first"),
            )
        )
    return tuple(out)
