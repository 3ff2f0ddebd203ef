"""Double pruning and wound protection in sentences: what is published, what it changes in this winter, what it costs."""

from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.cold.window import BlockWindow
from trunkwatch.cold.window_words import stretch_words
from trunkwatch.cold.with_measures import Measure, WithMeasure
from trunkwatch.vineyard.manner import centimeters

__all__ = ["LABELS", "MEASURES", "measure_lines", "measure_table"]

MEASURES: Mapping[Measure, str] = MappingProxyType({
    Measure.LONG_FIRST: "Double pruning", Measure.PROTECT: "Wound protection",
})  # fmt: skip
#: Said wherever protection is weighed.
LABELS = "Labels and local law decide what may be put on wounds, and when; no product is meant here."


def measure_lines(window: BlockWindow, found: WithMeasure, money: str) -> tuple[str, ...]:
    """Say what a measure would change.

    Parameters
    ----------
    window : BlockWindow
    found : WithMeasure
    money : str
        The currency; empty where none is written.
    """
    low, high = (100 * share for share in found.prevented)
    told = [
        f"{_head(window, found)}: {low:.0f} to {high:.0f} % fewer infections. Where that comes from: {found.source}."
    ]
    told.append(_published(found.measure))
    told.append(_windows(window, found))
    if found.measure is Measure.LONG_FIRST and (saved := _spared(found)) is not None:
        place, before, after = saved
        told.append(
            f"Spare buds: of a first cut {stretch_words(window, window.best.stretches[place])} {100 * after:.1f} % of the crop is given away on the mean, "
            f"of a final cut then {100 * before:.1f} %."
        )
    told.append(_cost(window, found, money or "money"))
    if found.measure is Measure.PROTECT:
        told.append(LABELS)
    return tuple(told)


def _head(window: BlockWindow, found: WithMeasure) -> str:
    if found.measure is Measure.PROTECT:
        return "Wound protection after each cut"
    return f"Double pruning, a first cut that leaves {window.long_cut:g} times the nodes and the final cut late, against one early cut"


def _published(measure: Measure) -> str:
    if measure is Measure.LONG_FIRST:
        return (
            f"The fungus was never more than {centimeters(4)} below the first cut: cut {centimeters(30)} to {centimeters(45)} above the last one first, and the final cut takes "
            "it away (Weber and others 2007, abstract, one fungus)."
        )
    return (
        "Single trials, by fungus: 52 to 100 % (a table in Kaplan and others 2016); two biological ones had no effect in a trial in Spain "
        "(abstract)."
    )


def _windows(window: BlockWindow, found: WithMeasure) -> str:
    if all(one.calendar != one.calendar for one in found.stretches):
        return "How much it changes by date cannot be told: no rain is on file."
    without = {k for k, one in enumerate(window.best.stretches) if one.regret == 0}
    more = [window.best.stretches[k] for k in found.good if k not in without]
    if not more:
        return "No other stretch gets as good by it, at the low share, as the best one without it under both rules of aging."
    names = ", ".join(stretch_words(window, one) for one in more)
    return f"With it, at the low share, these meet no more than the best stretch without it, under both rules of aging: {names}."


def _spared(found: WithMeasure) -> tuple[int, float, float] | None:
    """Return the stretch on which a long first cut spares most, and the crop given away without it and with it."""
    known = [
        (one.crop_lost - one.crop_lost_with, k)
        for k, one in enumerate(found.stretches)
        if one.crop_lost == one.crop_lost
    ]
    if not known or max(known)[0] <= 0.0005:
        return None
    _, place = max(known)
    return place, found.stretches[place].crop_lost, found.stretches[place].crop_lost_with


def _cost(window: BlockWindow, found: WithMeasure, money: str) -> str:
    if found.money is None:
        time = f"{found.minutes:g} minutes a vine more. " if found.minutes is not None else ""
        return f"{time}What it costs is not known: write {' and '.join(found.missing)} into costs.csv. The parts are not added up."
    time = f"{found.minutes:g} minutes and " if found.minutes is not None else ""
    text = f"It takes {time}{found.money:.2f} {money} a vine more."
    saved = _spared(found) if found.measure is Measure.LONG_FIRST else None
    if saved is not None and found.crop_worth is not None:
        place, before, after = saved
        kept = (before - after) * found.crop_worth
        text += f" The spare buds it keeps {stretch_words(window, window.best.stretches[place])} are worth {kept:.2f} {money} a vine on the mean."
    return f"{text} Fewer infections are not put into money."


def measure_table(window: BlockWindow, found: WithMeasure) -> tuple[str, ...]:
    """Return one line a stretch, within 80 columns: open wounds without and with, crop given away without and with."""
    lines = [
        f"{MEASURES[found.measure]:<26}{'wounds, calendar':>18}{'wounds, warmth':>17}{'crop lost, %':>17}",
        f"{'':<26}{'without, with':>18}{'without, with':>17}{'without, with':>17}",
    ]
    for one, stretch in zip(found.stretches, window.best.stretches, strict=True):
        lines.append(
            f"{stretch_words(window, stretch):<26}{_pair(one.calendar, one.calendar_with):>18}{_pair(one.warmth, one.warmth_with):>17}"
            f"{_crop(one.crop_lost, one.crop_lost_with):>17}"
        )
    return (*lines, "Wounds: 100 the worst stretch without it, under each rule of aging.")


def _pair(without: float, with_it: tuple[float, float]) -> str:
    if without != without:
        return "?"
    return f"{100 * without:.0f}, {100 * with_it[0]:.0f}-{100 * with_it[1]:.0f}"


def _crop(without: float, with_it: float) -> str:
    return "?" if without != without else f"{100 * without:.1f}, {100 * with_it:.1f}"
