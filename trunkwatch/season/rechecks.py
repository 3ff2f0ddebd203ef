"""Blind second looks of a season: how well two looks agree, and the incidence corrected for what was missed."""

from trunkwatch.history.second_looks import second_looks
from trunkwatch.season.load import BlockSeason
from trunkwatch.stats.recheck import Recheck, recheck

__all__ = ["recheck_of", "recheck_sentences"]


def recheck_of(season: BlockSeason) -> Recheck | None:
    """Compare the looks of a season with its blind second looks; None where there are none."""
    first, second = second_looks(season.records, season.history.grid, season.history.definition, season.season)
    if not first.size:
        return None
    return recheck(first, second, cases=int((season.cases & season.vines).sum()), vines=int(season.vines.sum()))


def recheck_sentences(found: Recheck) -> tuple[str, ...]:
    """Say it for a grower."""
    n = found.agreement.vines
    told = []
    told.append(
        f"{n} vines were looked at a second time without knowledge of the first look; both looks say the same of "
        f"{found.agreement.cases} ({100 * found.agreement.low:.0f} to {100 * found.agreement.high:.0f} %)."
    )
    if found.kappa == found.kappa:
        told.append(
            f"Agreement beyond chance (kappa) is {found.kappa:.2f} ({found.kappa_low:.2f} to {found.kappa_high:.2f})."
        )
    if found.seen_again == found.seen_again:
        told.append(
            f"Weighed back to the block, the first look had seen {100 * found.seen_again:.0f} % "
            f"({100 * found.seen_again_low:.0f} to {100 * found.seen_again_high:.0f} %) of what the second look saw."
        )
    if found.reason:
        told.append(f"No incidence corrected for missed cases is given: {found.reason}.")
    else:
        told.append(
            f"Corrected for missed cases, {100 * found.corrected:.1f} % of the vines had symptoms to be seen "
            f"({100 * found.corrected_low:.1f} to {100 * found.corrected_high:.1f} %). That is not the share infected."
        )
    return tuple(told)
