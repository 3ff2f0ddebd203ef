"""How many more seasons until spread could be told, in sentences for a grower."""

from trunkwatch.pattern.when_told import POWER, WhenTold, WhyNotTold

__all__ = ["when_sentence", "when_sentences"]


def when_sentences(found: tuple[WhenTold, ...] | WhyNotTold) -> tuple[str, ...]:
    """Say it for each share that was asked, and what it rests on."""
    if isinstance(found, WhyNotTold):
        seasons = f"{found.seasons} surveyed season{'s' if found.seasons != 1 else ''}"
        on_file = f"{seasons} and {found.new} new cases after the first are on file"
        return (
            f"When spread to the next vine could show: not known yet, {on_file}; two seasons and a new case are needed.",
        )
    one = found[0]
    by_now = f"{one.cases} cases in {one.seasons} surveyed seasons by now, about {one.new_a_season:.0f} new ones a season carried on"
    return (
        *(when_sentence(each) for each in found),
        *(_power(each) for each in found),
        f"Behind it: {by_now}; {one.runs} simulated records each.",
        "Ground or planting stock that makes neighbors alike takes longer.",
    )


def when_sentence(found: WhenTold) -> str:
    """Say how many more seasons it takes."""
    share = f"If {100 * found.share:.0f} of 100 new cases follow the vine next to them in the row"
    if found.enough_after is None:
        return f"{share}, spread would not show within {found.more[-1]} more seasons."
    if found.enough_after < 0.5:
        return f"{share}, the seasons on file are enough to tell spread here."
    seasons = round(found.enough_after)
    return f"{share}: about {seasons} more season{'s' if seasons != 1 else ''} until spread could show here ({100 * POWER:.0f} times in 100)."


def _power(found: WhenTold) -> str:
    now, *later = [f"{100 * told:.0f}" for told in found.told]
    after = ", ".join(f"{told} after {more} more seasons" for told, more in zip(later, found.more[1:], strict=True))
    return f"With {100 * found.share:.0f} of 100 following, spread would show in {now} of 100 such blocks now, {after}."
