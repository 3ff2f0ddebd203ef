"""Why work is proposed, in words for the crew."""

import math

from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.plan import But, PlannedWork, VineFacts, Why
from trunkwatch.vineyard.codes import RENEWAL_SHOOTS, SHOOT_QUALITIES, SHOOT_WAITS
from trunkwatch.vineyard.manner import centimeters

__all__ = ["why_words"]

_BUT = {
    But.NO_SHOOT: "; no shoot to retrain is noted",
    But.ROOTSTOCK: " (the one below the graft union is rootstock)",
    But.NOT_PAYING: "; cutting it is not expected to pay",
    But.REPLANT_NOT_PAYING: "; a replant is not expected to pay here",
    But.LOOK_FIRST: "; look at the wood before cutting",
    But.STRATEGY_RENEWS_NOTHING: "; the best strategy retrains nothing this winter",
    But.STRATEGY_FILLS_NOTHING: "; the best strategy does not fill it this winter",
    But.STRATEGY_LEAVES: "; the best strategy leaves such vines this winter",
    But.STRATEGY_WHOLE: "; the best strategy retrains the whole trunk",
    But.NEXT_WINTER: "; cut the old part a winter later",
    But.SHOOT_TRAINED: "; cut beside the shoot that was trained the winter before",
}
#: What is no use to a crew that is not to cut.
_OF_THE_CUT = frozenset({But.NO_SHOOT, But.ROOTSTOCK, But.SHOOT_NOT_GOOD})


def why_words(work: PlannedWork, costs: Costs, *, dated: bool = True) -> str:
    """Say why work is proposed, and when its evidence was last seen.

    Parameters
    ----------
    work : PlannedWork
    costs : Costs
        Heights that the reason speaks of.
    dated : bool
        Whether to say when; not where the days of many vines are told together.
    """
    buts = work.buts
    if work.kind in ("mark", "watch") and But.NOT_PAYING not in buts:
        buts = tuple(but for but in buts if but not in _OF_THE_CUT)
    told = "".join(_BUT[but] if but is not But.SHOOT_NOT_GOOD else _not_good(work.facts) for but in buts)
    seen = f"; last seen {work.last_seen}" if dated and work.last_seen else ""
    return f"{_why(work.why, work.facts, costs)}{told}{seen}"


def _not_good(facts: VineFacts) -> str:
    return f"; the shoot is {SHOOT_QUALITIES[facts.shoot_quality]}: {SHOOT_WAITS[facts.shoot_quality]}"


def _why(why: Why, facts: VineFacts, costs: Costs) -> str:
    if why is Why.UNTIDY:
        return "dried clusters or old wood were noted"
    if why is Why.TRAINED:
        return f"retrained or replanted {'last winter' if facts.trained == 1 else 'two winters ago'}"
    if why is Why.NO_VINE:
        return "no living vine stands here"
    if why is Why.LOW_STAIN:
        return f"stain was seen down to {centimeters(facts.stain_top_cm)}: a clean cut would be below {centimeters(costs['lowest_cut_cm'])}"
    if why is Why.SHOWED:
        return "showed before, not this season"
    if why is Why.SHOOT:
        return f"a shoot {RENEWAL_SHOOTS[facts.shoot].split(':')[0]} is there"
    if why is Why.DISAGREE:
        return "look again: the records disagree"
    if why is Why.IN_TURN:
        return "sound; the best strategy retrains some sound vines in turn"
    if why is Why.BESIDE:
        return "sound; the best strategy retrains the vines beside those that show"
    if why is Why.SHOOT_FIRST:
        return "train a shoot from below the damage"
    return _parts(facts) if why is Why.PART else "shows, no dead part on record"


def _parts(facts: VineFacts) -> str:
    named = sorted(facts.trunks - {0})
    parts = [f"trunk {', '.join(map(str, named))}" if named else "the trunk"] if facts.trunks else []
    if facts.arms:
        arms = [arm.replace("_", " ") for arm in sorted(facts.arms) if arm]
        parts.append(f"the {' and the '.join(arms)} arm" if arms else "an arm (not said which)")
    many = len(facts.trunks) + len(facts.arms) > 1
    dead = "" if math.isnan(facts.percent) else f", {facts.percent:.0f} % dead{' at the worst' if many else ''}"
    return f"{' and '.join(parts)} affected{dead}"
