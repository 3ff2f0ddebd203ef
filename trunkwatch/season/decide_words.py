"""The decision in sentences for a grower, with its limits first."""

import math

from trunkwatch.renewal.costs import ASSUMPTIONS, LOUD_NOTE
from trunkwatch.renewal.plan import PlannedWork
from trunkwatch.season.decide import Decision
from trunkwatch.vineyard.codes import WORK_KINDS

__all__ = ["CAUTIONS_DECIDE", "decision_sentences", "work_line"]

CAUTIONS_DECIDE = (
    "This is a projection from your record and your prices, not advice: ask a farm-business adviser before a large decision.",
    "There is no built-in threshold. The familiar rules of 25 or 30 % come from virus diseases, which spread and cost in another way.",
    "Saws: trained people, protective gear, two of you; wires are under tension. Burning is decided by local law, wound protectants by their label.",
    "Symptoms are not a diagnosis: send cut wood to a laboratory before you pull a block.",
)  # fmt: skip


def decision_sentences(found: Decision) -> tuple[str, ...]:
    """Say what the comparison and the plan amount to."""
    told = []
    if found.comparison is None:
        told.append(f"Strategies cannot be compared: {found.reason}.")
        told.append(
            "`trunkwatch plan --example-costs REGION` shows a costs.csv to start from; what is proposed for each vine stands by itself."
        )
    else:
        told += _money(found)
    now = [one for one in found.work if one.winter == 0]
    hours = sum(one.hours for one in now)
    kinds: dict[str, int] = {}
    for one in now:
        kinds[one.kind] = kinds.get(one.kind, 0) + 1
    listed = (
        ", ".join(f"{WORK_KINDS[kind]} {many}" for kind, many in sorted(kinds.items(), key=lambda item: -item[1]))
        or "nothing"
    )
    told.append(
        f"This winter and the summer after it: {listed}; about {hours / found.costs['crew_day_hours']:.1f} crew-days."
    )
    later = max((one.winter for one in found.work), default=0)
    if later:
        told.append(
            f"What does not fit into {found.crew_days:g} crew-days, or would cost more than {found.costs['most_loss_pct']:g} % of a year's yield, waits: the plan runs over {later + 1} winters."
        )
    return tuple(told)


def _money(found: Decision) -> list[str]:
    one = found.comparison
    assert one is not None  # noqa: S101 - asked before
    best = next(j for j in one.judged if j.name == one.recommended)
    told = []
    if one.recommended == one.judged[0].name:
        told.append(
            "Of the strategies compared none is worth more than doing nothing, beyond the error of the simulation."
        )
    else:
        sure = "clearly" if one.clear else "not clearly"
        told.append(
            f"Best on average over {one.years} years: {best.name}, worth {best.gain:,.0f} a hectare more than doing nothing "
            f"(nine futures in ten between {best.gain_low:,.0f} and {best.gain_high:,.0f}); {sure} better than the next, {one.second} "
            f"(by {one.gap:,.0f}, Monte Carlo error {one.gap_error:,.0f} from {one.futures} futures)."
        )
        told.append(
            f"It is the best in {100 * best.best:.0f} % of the futures and takes about {best.crew_days:.1f} crew-days a hectare in its first winter. "
            f"At 3, 5 and 7 % discount it is worth {best.at[3.0]:,.0f}, {best.at[5.0]:,.0f} and {best.at[7.0]:,.0f}."
        )
        told.append(_flips(found, best.flip_price))
    told.append(
        f"For scale: a healthy full block is worth {one.healthy:,.0f} a hectare over the same years, before the costs that all strategies share."
    )
    if any(source.startswith("EXAMPLE") for source in found.costs.sources.values()):
        told.insert(0, LOUD_NOTE)
    return told


def _flips(found: Decision, price: float) -> str:
    now = found.costs["price_per_t"]
    parts = [f"at a price of {price:,.0f} a tonne (now {now:,.0f})" if not math.isnan(price) else "at no price"]
    parts.append(
        f"at a discount rate of {found.flip_discount:.0f} %"
        if not math.isnan(found.flip_discount)
        else "at no discount rate up to 30 %"
    )
    return f"The answer would flip to doing nothing {', and '.join(parts)}."


def work_line(found: Decision, one: PlannedWork) -> str:
    """Write one piece of work for people."""
    row, position = found.season.history.grid.label(*one.cell)
    parts = [f"{row}:{position} {WORK_KINDS[one.kind]}"]
    if one.trunk:
        parts.append(f"trunk {one.trunk}")
    if one.arm:
        parts.append(one.arm.replace("_", " "))
    if not math.isnan(one.cut_height_cm):
        parts.append(f"cut at {one.cut_height_cm:.0f} cm, look at the face")
    if not math.isnan(one.gain) and one.hours:
        parts.append(f"worth about {one.gain:.2f}")
    return f"{', '.join(parts)}: {one.why}"


def assumption_lines(found: Decision) -> list[tuple[str, str, str, str]]:
    """List every assumption used: name, value with unit, meaning, source."""
    return [
        (name, f"{value:g} {ASSUMPTIONS[name].unit}", ASSUMPTIONS[name].meaning, found.costs.sources[name])
        for name, value in found.costs.values.items()
    ]
