"""Lots among equal vines, in sentences for a grower."""

from trunkwatch.follow_up.lots import CHANCE, DrawnLots, WouldShow
from trunkwatch.follow_up.outcomes import Outcome
from trunkwatch.vineyard.calendar import winter_name
from trunkwatch.vineyard.lots import LOT_YEARS

__all__ = ["lot_sentences"]

_DOES = {
    Outcome.LEAVES: "show leaf symptoms again, die or are pulled",
    Outcome.WORSE: "lose a fifth of the vine or more, die or are pulled",
}


def lot_sentences(drawn: DrawnLots, shows: WouldShow, *, hemisphere: str, written: bool) -> tuple[str, ...]:
    """Say what was drawn, what it can show, what stands beside, and what it costs.

    Parameters
    ----------
    drawn : DrawnLots
    shows : WouldShow
        Of the effect that was asked for.
    hemisphere : {"north", "south"}
        Where the block lies.
    written : bool
        Whether the lots are written down.
    """
    winter = winter_name(drawn.winter, hemisphere)
    groups = len({lot.group for lot in drawn.lots.values()})
    told = [
        (
            f"Lots for {winter}: {drawn.renew} vines to be retrained and {drawn.leave} to be left for comparison, drawn inside {groups} group{'s' if groups != 1 else ''} of vines "
            "that are equal in seasons on record, how often they showed, last inspection, share dead and a usable shoot."
        ),
        *_can_show(drawn, shows),
        (
            f"Beside {drawn.beside[0]} of the {drawn.renew} to be retrained and {drawn.beside[1]} of the {drawn.leave} to be left a vine in the row was retrained or protected in the last "
            f"{LOT_YEARS} years, or is to be: what comes from there is not in the comparison if the two shares differ much."
        ),
    ]
    if drawn.alone or drawn.no_shoot:
        told.append(
            f"Not drawn: {drawn.alone} vines without an equal, {drawn.no_shoot} without a usable shoot on record."
        )
    told.append(
        "The lots are on the work list as marks; `trunkwatch plan` compares by lot once they were followed."
        if written
        else "Nothing is written yet: --write puts the lots on the work list."
    )
    told.append(
        f"Mind: a vine that is left uncut for {LOT_YEARS} years may stay a source for its neighbors, and it bears less. That is the price of knowing; you decide, and may cut any of them."
    )
    return tuple(told)


def _can_show(drawn: DrawnLots, shows: WouldShow) -> tuple[str, ...]:
    basis = (
        f"{100 * shows.left:.0f} of 100 of those left {_DOES[shows.outcome]} within {shows.years} years, as {shows.looks_back} looks back at left vines of this block say"
        if shows.looks_back
        else f"50 of 100 of those left {_DOES[shows.outcome]} within {shows.years} years: an assumption, no vine of this block was left and followed for so long"
    )
    if not shows.needed:
        return (f"No effect can show: {basis}.",)
    return (
        (
            f"If retraining spares {100 * (shows.left - shows.renewed):.0f} vines of 100, these {len(drawn.lots)} lots alone would show it {100 * shows.chance:.0f} times in 100. To show it "
            f"{100 * CHANCE:.0f} times in 100, {shows.needed} vines are needed: lots like these in {shows.winters} winter{'s' if shows.winters != 1 else ''}, and {shows.years} years more to follow the last of them. "
            f"Assumed: {basis}; each vine goes its own way."
        ),
    )
