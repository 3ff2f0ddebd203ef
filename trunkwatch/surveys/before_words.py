"""Before a survey, in sentences for a grower: which rows to walk, and for what they are enough."""

from trunkwatch.surveys.before import SHARE_TO_FIND, RowsToWalk, SurveyPlan

__all__ = ["plan_sentences"]


def plan_sentences(found: SurveyPlan) -> tuple[str, ...]:
    """Say which rows to walk; the first sentence is the answer."""
    if found.alike is None:
        return _nothing_to_go_by(found)
    sentences = [
        f"To know the share showing within {100 * found.margin:g} points of a hundred: scout {_rows(found.within_margin, found)}.",
        f"To see it double since {found.last}: {_doubling(found)}.",
        _behind(found),
    ]
    if found.within_margin is not None and found.within_margin.every > 1:
        sentences.append(
            "Scout whole rows. Rows that stand apart say nothing of spread across the rows; for that walk two or more beside each other."
        )
    return tuple(sentences)


def _nothing_to_go_by(found: SurveyPlan) -> tuple[str, ...]:
    if not found.at_most < 1:
        return (
            f"Scout the whole block: all vines scouted in {found.last} were showing, so no share can be planned for.",
        )
    looked = f"No case is on file from {found.last}; with that up to {100 * found.at_most:.1f} of 100 vines may have been showing."
    goal = f"To find at least one vine, 19 times in 20, if {100 * SHARE_TO_FIND:g} of 100 show anywhere in the block"
    if found.to_find is None:
        return (f"{goal}: scout the whole block, and even that may miss it.", looked)
    return (f"{goal}: walk {_rows(found.to_find, found)}.", looked)


def _rows(chosen: RowsToWalk | None, found: SurveyPlan) -> str:
    if chosen is None or len(chosen.rows) == found.rows:
        return f"the whole block, {found.rows} rows, {found.vines:,} vines"
    return f"{len(chosen.rows)} of {found.rows} rows, {chosen.vines:,} vines: rows {', '.join(chosen.rows)}"


def _doubling(found: SurveyPlan) -> str:
    if found.doubling is not None:
        return f"walk {_rows(found.doubling, found)} (seen 8 times in 10)"
    if found.alike is not None and found.alike.share >= 0.5:
        return "it cannot double, half of the vines or more show already"
    return f"not even the whole block is enough, for the survey of {found.last} covered too few rows"


def _behind(found: SurveyPlan) -> str:
    alike = found.alike
    assert alike is not None  # noqa: S101 - asked for by the caller
    likeness = (
        f"vines of a row are alike (correlation {alike.rho:.3f}), so whole rows take {alike.design_effect:.1f} times the vines that "
        "single vines would"
        if alike.rho > 0
        else "vines of a row are no more alike than others, as far as can be detected"
    )
    return (
        f"Behind it: in {found.last} {100 * alike.share:.1f} of 100 vines showed, and {likeness}. The swing of symptoms from year to year is "
        "not in these numbers."
    )
