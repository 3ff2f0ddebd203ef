"""What whoever draws a second look should know, in words; not for the second scout."""

from trunkwatch.sheets.second_look import SecondLook
from trunkwatch.stats.recheck import FEWEST

__all__ = ["second_look_notes"]


def second_look_notes(drawn: SecondLook) -> tuple[str, ...]:
    """Say what was drawn, what was left out, and how many must be drawn for a corrected figure."""
    told = [
        f"{len(drawn.vines)} vines of the {drawn.look} inspection of {drawn.season} drawn, {drawn.with_findings} of them with findings; keep that from the scout"
    ]
    if drawn.carried:
        told.append(
            f"{drawn.carried} {'vine' if drawn.carried == 1 else 'vines'} with a lasting symptom on record, not recorded again at this "
            "look, left out of the draw"
        )
    told.append(_how_many(drawn))
    return tuple(told)


def _how_many(drawn: SecondLook) -> str:
    """Say how many must be drawn, this sheet's vines included, until a corrected figure can be given."""
    if drawn.seen >= FEWEST:
        return f"rechecks at the {drawn.look} inspection of {drawn.season} saw {drawn.seen} cases already: enough for a corrected incidence"
    so_far = f"; those on record saw {drawn.seen}" if drawn.seen else ""
    rule = f"a corrected incidence needs {FEWEST} cases seen at rechecks{so_far}"
    if drawn.least is None:
        return (
            f"{rule}: the {drawn.available} vines with findings that are left are too few for that. Rechecks of several "
            "seasons are taken together where the same people made the first and the rechecks in all of them"
        )
    more = "" if drawn.likely is None else f", about {drawn.likely} if eight in ten do (our own assumption)"
    return (
        f"{rule}: draw {drawn.least} vines in all, this sheet included, if every vine with findings shows them again{more}. "
        "Several sheets of a season are taken together: write each in as a survey before the next is drawn"
    )
