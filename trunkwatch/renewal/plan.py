"""The plan for this winter: what to do with each vine and why, ranked, filled up to the crew-days given, staged."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.states import State
from trunkwatch.renewal.vine_gain import VineGains
from trunkwatch.renewal.yields import yield_table
from trunkwatch.vineyard.codes import SHOOT_WAITS

__all__ = [
    "RULES",
    "But",
    "PlannedWork",
    "VineFacts",
    "Why",
    "each_shoot_once",
    "only_whole",
    "placed_shoot",
    "plan_blocks",
    "plan_winter",
    "renewal_of",
    "replant_of",
    "suggest",
    "trained_first",
    "usable_shoot",
    "waits_for_shoot",
]

#: Every rule by which work is proposed, and where it comes from.
RULES: Mapping[str, str] = {
    "replant_low_stain": "stain at the union or within the lowest cut of the ground: renewal does not clear it, replant (extension advice, San Luis Obispo 2015)",
    "replant_dead": "a dead vine or an empty place: replant, if a young vine pays there (common practice, no source)",
    "renew_arm": "one arm affected: lay down a new one from a young shoot (extension advice on vine surgery)",
    "renew_trunk": "more than one arm, or the trunk, affected: retrain the trunk from a shoot below the damage (extension advice on vine surgery)",
    "cut_old_trunk": "one dead trunk of several: cut it out and keep the others (common practice in cold climates, no source)",
    "cut_and_wait": "no shoot to retrain: cut to clean wood and wait for a sucker; 42 to 100 % push one (Sosnowski, Wicks and Scott 2011)",
    "not_below_union": "a shoot from below the graft union of a grafted vine is rootstock and no renewal",
    "keep_shoot": "a young shoot in the right place is the next trunk: leave it at suckering (common practice, no source)",
    "train_first": "a shoot in the right place that is not good yet is none to cut to: shorten one that is too vigorous, leave one that is unripe or thin; train it, and cut the old part next winter (common practice, no source)",
    "mark": "shows, and is not worth cutting this winter, has no dead part on record, or is too young to be retrained: mark it, look again (common practice, no source)",
    "watch": "showed before and does not now: watch (common practice, no source)",
    "look_again": "damage on record that a later inspection did not see, or does not mention: look again before anything is cut (the record itself)",
    "cause": "an arm that bears nothing is worth retraining whether disease or cold killed it; the cause changes what to do for the block",
    "cut_height": "cut 20 cm below the last stain, 10 at the least, and look at the cut face (sources at cut_below_stain_cm)",
    "train": "retrained or replanted in the last two winters: finish training (common practice, no source)",
    "clear": "dried clusters or old wood on the vine: clear them away (common practice, no source)",
    "sample": "a first case in a block where none was diagnosed: send cut wood to a laboratory (common practice, no source)",
}


class Why(Enum):
    """Why work is proposed for a vine: what was found on it."""

    UNTIDY = "untidy"  # dried clusters or old wood were noted
    TRAINED = "trained"  # renewed or replanted in the last winters
    NO_VINE = "no vine"
    LOW_STAIN = "low stain"  # a clean cut would be too close to the ground
    PART = "part"  # arms or trunks affected
    NO_PART = "no part"  # shows, without a part on record
    SHOWED = "showed"  # before, not this season
    SHOOT = "shoot"  # a shoot to renew from is there
    DISAGREE = "disagree"  # the records on its damage disagree
    IN_TURN = "in turn"  # sound, renewed in turn
    BESIDE = "beside"  # sound, beside a vine that shows
    SHOOT_FIRST = "shoot first"  # a shoot is trained before the cut


class But(Enum):
    """What holds a proposal back or changes it."""

    NO_SHOOT = "no shoot"
    ROOTSTOCK = "rootstock"  # the only shoot noted is below the graft union
    NOT_PAYING = "not paying"
    REPLANT_NOT_PAYING = "replant not paying"
    LOOK_FIRST = "look first"
    STRATEGY_RENEWS_NOTHING = "strategy retrains nothing"
    STRATEGY_FILLS_NOTHING = "strategy fills nothing"
    STRATEGY_LEAVES = "strategy leaves"  # the strategy renews others, not such vines
    STRATEGY_WHOLE = "strategy whole"  # the strategy renews the whole trunk
    SHOOT_NOT_GOOD = "shoot not good"  # it is in the right place, and not good yet
    NEXT_WINTER = "next winter"  # the cut follows a winter later
    SHOOT_TRAINED = "shoot trained"  # cut beside a shoot trained the winter before


@dataclass(frozen=True, slots=True)
class VineFacts:
    """What is on record of one vine that a decision needs.

    Attributes
    ----------
    cell : (int, int)
        In the grid.
    state : int
        As in `trunkwatch.renewal.states.State`.
    arms, trunks : frozenset
        Arms, and trunks (by number, 0 for not said), with lasting findings that no work cleared.
    total_trunks : int
        Trunks that the training has; 1 where it is not multi-trunk.
    percent : float
        Largest share dead of a part with lasting damage; nan where none is written.
    shoot : str
        Shoot to renew from, as last noted.
    grafted : bool
    stain_top_cm : float
        Height of the lowest clean cut face minus what is known of the stain: lowest height with stain; nan unknown.
    trained : int
        Winters since it was renewed or replanted, 0 for none.
    mummies : bool
        Dried clusters or old wood noted this season.
    first_case : bool
        Its first case is this season's.
    share : float
        Percent of the whole vine that is dead; nan where nothing says how much.
    last_seen : str
        Day on which its damage or symptoms were last seen; empty for none.
    shoot_seen : str
        Day on which the shoot was noted.
    disagree : bool
        All its damage is in doubt: a later look saw nothing, or does not mention it.
    damaged : bool
        Damage that lasts stands on it.
    shoot_quality : str
        Of the shoot, as written with it; empty where nothing was said.
    """

    cell: tuple[int, int]
    state: int
    arms: frozenset[str] = frozenset()
    trunks: frozenset[int] = frozenset()
    total_trunks: int = 1
    percent: float = math.nan
    shoot: str = ""
    grafted: bool = True
    stain_top_cm: float = math.nan
    trained: int = 0
    mummies: bool = False
    first_case: bool = False
    share: float = math.nan
    last_seen: str = ""
    shoot_seen: str = ""
    disagree: bool = False
    damaged: bool = False
    shoot_quality: str = ""


@dataclass(frozen=True, slots=True)
class PlannedWork:
    """One piece of work proposed.

    Attributes
    ----------
    kind : str
        A kind of work of the `work` table.
    rule : str
        Name of the rule in `RULES`.
    why : Why
        What was found on this vine.
    facts : VineFacts
        On which it rests.
    buts : tuple of But
        What holds it back, in the order in which it came up.
    hours, gain : float
        Crew-hours, and expected gain in money over the years ahead, costs taken off; nan where no prices are written.
    winter : int
        0 this winter, 1 the next, and so on.
    """

    cell: tuple[int, int]
    kind: str
    rule: str
    why: Why
    facts: VineFacts = field(repr=False, compare=False)
    buts: tuple[But, ...] = ()
    trunk: int = 0
    arm: str = ""
    cut_height_cm: float = math.nan
    hours: float = 0.0
    gain: float = math.nan
    winter: int = 0
    loss: float = 0.0  # yield lost in the first season, in healthy vines

    @property
    def last_seen(self) -> str:
        """Day on which the evidence was last seen; empty where it rests on none."""
        return self.facts.shoot_seen if self.why is Why.SHOOT else self.facts.last_seen

    @property
    def per_hour(self) -> float:
        """Gain a crew-hour, by which the work is ranked."""
        return self.gain / self.hours if self.hours > 0 else math.inf


_AT_HAND = frozenset({"trunk", "above_union", "own_root"})


def placed_shoot(facts: VineFacts) -> bool:
    """Tell whether there is a shoot where a vine can be renewed from: below the union of a grafted vine there is none."""
    return facts.shoot in _AT_HAND or (facts.shoot == "below_union" and not facts.grafted)


def usable_shoot(facts: VineFacts) -> bool:
    """Tell whether there is a shoot to renew from this winter: in the right place, and not written down as anything but good."""
    return placed_shoot(facts) and facts.shoot_quality not in SHOOT_WAITS


def suggest(facts: VineFacts, costs: Costs, gains: VineGains | None) -> list[PlannedWork]:
    """Propose work for one vine, by the rules, with its reason.

    Parameters
    ----------
    facts : VineFacts
        The vine.
    costs : Costs
        Hours, heights and yields.
    gains : VineGains, optional
        What work brings; without prices none is given and nothing is ranked by money.
    """
    out = []
    if facts.mummies:
        out.append(PlannedWork(facts.cell, "clear_mummies", "clear", Why.UNTIDY, facts, hours=0.05))
    if 0 < facts.trained <= 2:
        out.append(PlannedWork(facts.cell, "train", "train", Why.TRAINED, facts, hours=costs["train_hours"]))
    if facts.state in (State.DEAD, State.EMPTY):
        return [*out, _replant(facts, costs, gains, "replant_dead", Why.NO_VINE)]
    if facts.disagree and facts.state != State.SHOWING:
        return [*out, PlannedWork(facts.cell, "watch", "look_again", Why.DISAGREE, facts)]
    if facts.state == State.SHOWING or State.LIGHT <= facts.state <= State.HEAVY:
        out += _on_showing(facts, costs, gains)
    elif State.HIDDEN_1 <= facts.state <= State.HIDDEN_3:
        out.append(PlannedWork(facts.cell, "watch", "watch", Why.SHOWED, facts))
    elif facts.damaged:  # a young vine, or one that is growing anew
        out.append(PlannedWork(facts.cell, "mark", "mark", Why.PART, facts))
    if placed_shoot(facts) and (
        State.LIGHT <= facts.state <= State.HEAVY or facts.state in (State.SHOWING, State.HIDDEN_1, State.HIDDEN_2)
    ):
        out.append(PlannedWork(facts.cell, "keep_shoot", "keep_shoot", Why.SHOOT, facts, hours=0.02))
    return out


def _on_showing(facts: VineFacts, costs: Costs, gains: VineGains | None) -> list[PlannedWork]:
    one = renewal_of(facts, costs, gains)
    if one.kind == "replant":
        return [_replant(facts, costs, gains, "replant_low_stain", Why.LOW_STAIN)]
    if gains is not None and one.gain <= 0:
        return [
            PlannedWork(
                facts.cell,
                "mark",
                "mark",
                one.why,
                facts,
                (*one.buts, But.NOT_PAYING),
                one.trunk,
                one.arm,
                gain=one.gain,
            )
        ]
    return [trained_first(one, costs["train_hours"]) if waits_for_shoot(one) else one]


def waits_for_shoot(one: PlannedWork) -> bool:
    """Tell whether a renewal waits a winter for its shoot, which is in the right place and not good yet."""
    return one.kind in ("renew_trunk", "renew_arm") and placed_shoot(one.facts) and not usable_shoot(one.facts)


def trained_first(one: PlannedWork, hours: float) -> PlannedWork:
    """Return the training of the shoot that comes before a renewal; the cut is proposed a winter later, once the shoot is good.

    Parameters
    ----------
    one : PlannedWork
        The renewal; its part is kept.
    hours : float
        Crew-hours of training a vine for a year.
    """
    return replace(
        one,
        kind="train_first",
        rule="train_first",
        buts=(But.SHOOT_NOT_GOOD, But.NEXT_WINTER),
        cut_height_cm=math.nan,
        hours=hours,
        gain=math.nan,
        loss=0.0,
    )


def each_shoot_once(works: Sequence[PlannedWork]) -> list[PlannedWork]:
    """Leave out "leave this shoot" where the same shoot is trained this winter: it is left with that."""
    trained = {one.cell for one in works if one.kind == "train_first" and not one.winter}
    return [one for one in works if one.kind != "keep_shoot" or one.cell not in trained]


def only_whole(facts: VineFacts) -> bool:
    """Tell whether only the whole trunk of a damaged vine can be renewed: no single part is named, or the trunk is."""
    return _what(facts)[0] == "renew_trunk"


def renewal_of(facts: VineFacts, costs: Costs, gains: VineGains | None, *, whole: bool = False) -> PlannedWork:
    """Return the renewal of a vine, whether it pays or not; a replant where no clean cut can be made.

    Parameters
    ----------
    facts, costs, gains
        As in `suggest`.
    whole : bool
        Renew the whole trunk, also where one part would do.
    """
    cut = _cut_height(facts, costs)
    if not math.isnan(facts.stain_top_cm) and cut < costs["lowest_cut_cm"]:
        return replant_of(facts, costs, gains, "replant_low_stain", Why.LOW_STAIN)
    kind, rule, trunk, arm = _what(facts)
    if whole and kind != "renew_trunk":
        kind, rule, trunk, arm = "renew_trunk", "renew_trunk", 0, ""
    shoot = placed_shoot(facts)  # one that is not good yet is trained first, and there when the cut is made
    buts: tuple[But, ...] = ()
    if kind in ("renew_trunk", "renew_arm") and shoot and not usable_shoot(facts):
        buts = (But.SHOOT_NOT_GOOD,)
    elif kind in ("renew_trunk", "renew_arm") and not shoot:
        rule = "cut_and_wait"
        buts = (But.NO_SHOOT, But.ROOTSTOCK) if facts.shoot == "below_union" else (But.NO_SHOOT,)
    part = 1.0 if kind == "renew_trunk" else 0.5 if kind == "renew_arm" else 1 / max(facts.total_trunks, 1)
    hours = costs["renew_hours"] * (1.0 if kind == "renew_trunk" else 0.6) + 2 * costs["train_hours"] * part
    gain = math.nan if gains is None else gains.renew(facts.state, part=part, shoot=shoot, hours=hours)
    bearing = yield_table(costs)
    first = bearing[State.TRAINED_1] if shoot else bearing[State.RENEWED_1]
    why = Why.PART if facts.arms or facts.trunks else Why.NO_PART
    return PlannedWork(
        facts.cell,
        kind,
        rule,
        why,
        facts,
        buts,
        trunk,
        arm,
        cut,
        hours,
        gain,
        loss=max(0.0, part * float(bearing[facts.state] - first)),
    )


def _what(facts: VineFacts) -> tuple[str, str, int, str]:
    trunks = sorted(facts.trunks - {0})
    if facts.total_trunks > 1 and len(trunks) == 1 and not facts.arms:
        return "cut_old_trunk", "cut_old_trunk", trunks[0], ""
    if facts.trunks or len(facts.arms) != 1:
        return "renew_trunk", "renew_trunk", trunks[0] if len(trunks) == 1 else 0, ""
    return "renew_arm", "renew_arm", 0, next(iter(facts.arms))


def _cut_height(facts: VineFacts, costs: Costs) -> float:
    return math.nan if math.isnan(facts.stain_top_cm) else facts.stain_top_cm - costs["cut_below_stain_cm"]


def _replant(facts: VineFacts, costs: Costs, gains: VineGains | None, rule: str, why: Why) -> PlannedWork:
    one = replant_of(facts, costs, gains, rule, why)
    if gains is not None and one.gain <= 0:
        return PlannedWork(facts.cell, "watch", rule, why, facts, (But.REPLANT_NOT_PAYING,), gain=one.gain)
    return one


def replant_of(facts: VineFacts, costs: Costs, gains: VineGains | None, rule: str, why: Why) -> PlannedWork:
    """Return the replant of a vine or a gap, whether it pays or not."""
    hours = costs["replant_hours"] + 2 * costs["train_hours"]
    gain = math.nan if gains is None else gains.replant(facts.state, hours=hours)
    loss = float(yield_table(costs)[facts.state])
    return PlannedWork(facts.cell, "replant", rule, why, facts, hours=hours, gain=gain, loss=loss)


_HEAVY = frozenset({"renew_arm", "renew_trunk", "cut_old_trunk", "replant"})


def plan_winter(
    works: Sequence[PlannedWork], costs: Costs, *, crew_days: float, vines: int, most_winters: int = 10
) -> list[PlannedWork]:
    """Rank the work and spread it over winters.

    Parameters
    ----------
    works : sequence of PlannedWork
        As `suggest` makes it.
    costs : Costs
        Hours of a crew-day, and the largest loss of yield in one year.
    crew_days : float
        Crew-days a winter.
    vines : int
        Bearing vines, for the loss.
    most_winters : int
        What does not fit into so many winters is left out.

    Returns
    -------
    list of PlannedWork
        Light work first as it stands, heavy work by gain a crew-hour (by share dead where there are no prices), each
        with its winter.
    """
    return plan_blocks([(works, vines)], costs, crew_days=crew_days, most_winters=most_winters)[0]


def plan_blocks(
    blocks: Sequence[tuple[Sequence[PlannedWork], int]], costs: Costs, *, crew_days: float, most_winters: int = 10
) -> list[list[PlannedWork]]:
    """Rank the work of several blocks together for one crew; the largest loss of yield holds for each block.

    Parameters
    ----------
    blocks : sequence of (works, vines)
        Of each block, as in `plan_winter`.
    costs, crew_days, most_winters
        As in `plan_winter`.

    Returns
    -------
    list of list of PlannedWork
        Block by block, as `plan_winter` returns it.
    """
    out = [[one for one in works if one.kind not in _HEAVY] for works, _ in blocks]
    heavy = [(number, one) for number, (works, _) in enumerate(blocks) for one in works if one.kind in _HEAVY]
    heavy.sort(key=lambda pair: (-_rank(pair[1]), pair[0], pair[1].cell))
    hours = np.full(most_winters, crew_days * costs["crew_day_hours"])
    loss = [np.full(most_winters, costs.share("most_loss_pct") * max(vines, 1)) for _, vines in blocks]
    for number, one in heavy:
        # What waits for a later winter by its block's own strategy does not come before it.
        late = np.arange(most_winters) >= one.winter
        fits = np.flatnonzero(late & (hours >= one.hours - 1e-9) & (loss[number] >= one.loss - 1e-9))
        if not fits.size:
            continue
        winter = int(fits[0])
        hours[winter] -= one.hours
        loss[number][winter] -= one.loss
        out[number].append(replace(one, winter=winter))
    return out


def _rank(one: PlannedWork) -> float:
    return one.loss if math.isnan(one.gain) else one.per_hour


def bearing_vines(states: NDArray[np.uint8]) -> int:
    """Count the vines that bear."""
    return int(
        np.isin(
            states,
            (
                State.SOUND,
                State.SHOWING,
                State.HIDDEN_1,
                State.HIDDEN_2,
                State.HIDDEN_3,
                State.RENEWED_3,
                State.RENEWED_4,
                State.ARM_1,
                State.ARM_2,
            ),
        ).sum()
    )
