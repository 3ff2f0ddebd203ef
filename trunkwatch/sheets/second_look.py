"""Vines for a blind second look: half of them with findings, in walking order, without saying which."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.errors import RecordError
from trunkwatch.history import BlockReading
from trunkwatch.sheets.paper import Size, _checked, render, short_codes
from trunkwatch.stats.chance import Rng, generator
from trunkwatch.stats.recheck import FEWEST, vines_to_draw
from trunkwatch.surveys.paired_looks import OF_LOOK, first_look, second_looks
from trunkwatch.vineyard.covered import Stretch, format_covered

__all__ = ["SecondLook", "draw_second_look", "second_look_page"]

#: Share of the first look's cases that shows again, where no second look of the season tells (our own assumption).
AGAIN = 0.8


@dataclass(frozen=True, slots=True)
class SecondLook:
    """The vines drawn, and what whoever draws them should know.

    Attributes
    ----------
    block, season, look
        Block, year of the harvest, and the kind of look that is looked at again.
    vines : tuple of (str, int)
        Row label and position, in walking order.
    covered : str
        What to write as `covered` of the survey.
    with_findings : int
        Vines on which the first look saw a case. The sheet does not say how many nor which.
    notes : tuple of str
        How many must be drawn for a corrected figure, and what was left out. Not for the second scout.
    """

    block: str
    season: int
    look: str
    vines: tuple[tuple[str, int], ...]
    covered: str
    with_findings: int
    notes: tuple[str, ...] = ()


def draw_second_look(
    reading: BlockReading, season: int, vines: int, *, look: str | None = None, rng: Rng = None
) -> SecondLook:
    """Draw vines of one kind of look for a second look.

    Parameters
    ----------
    reading : BlockReading
        The block's records.
    season : int
        Year of the harvest.
    vines : int
        How many; half of them with findings at that look where there are as many. Vines that a second look covers
        already are not drawn again.
    look : {"dormant", "spring", "summer"}, optional
        The look that is looked at again; the latest of the season that saw a case where left out.
    rng : Generator, int or None
        Source of chance.

    Raises
    ------
    RecordError
        If the look saw no case or left no vine without, or there was none.
    ValueError
        If fewer than two vines are asked for, or there is no such kind of look.
    """
    if vines < 2:
        raise ValueError(f"{vines} vines: two at least are needed")
    whole = None
    for kind in [look] if look is not None else reversed(list(OF_LOOK)):
        whole = first_look(reading, kind, season)
        if whole.cases.any():
            break
    if whole is None or not whole.vines.any() or not whole.cases.any() or whole.cases.sum() == whole.vines.sum():
        what = f"the {look} look" if look is not None else "any look"
        raise RecordError(
            f"no second look can be drawn for {what} of {season}: vines with and without findings at that look are "
            "needed, covered by a survey"
        )
    free = np.argwhere(whole.vines & ~whole.cases & ~whole.twice)
    showing = np.argwhere(whole.cases & ~whole.twice)
    if not len(showing) or not len(free):
        raise RecordError(f"all vines with or without findings at the {whole.look} look were looked at twice already")
    chance, grid = generator(rng), reading.grid
    many = min(vines // 2, len(showing))
    cells = np.concatenate([
        showing[chance.permutation(len(showing))[:many]], free[chance.permutation(len(free))[: vines - many]]
    ])  # fmt: skip
    # Along each row as it is numbered: where the numbering is serpentine this is how the rows are walked.
    ordered = sorted(map(tuple, cells.tolist()), key=lambda cell: (cell[0], grid.position[cell]))
    named = tuple(grid.label(row, station) for row, station in ordered)
    covered = format_covered(Stretch(row, position, position, 1) for row, position in named)
    notes = _notes(reading, season, whole.look, len(named), many, len(showing), int(whole.carried.sum()))
    return SecondLook(grid.block, season, whole.look, named, covered, many, notes)


def _notes(
    reading: BlockReading, season: int, look: str, drawn: int, many: int, available: int, carried: int
) -> tuple[str, ...]:
    done = [one for one in second_looks(reading, look, season) if one.season == season]
    seen = sum(int(one.second.sum()) for one in done)
    told = [
        f"{drawn} vines of the {look} look of {season} drawn, {many} of them with findings; keep that from the scout"
    ]
    if carried:
        told.append(
            f"{carried} {'vine' if carried == 1 else 'vines'} with a lasting symptom on record, not written down again at this "
            "look, left out of the draw"
        )
    told.append(_how_many(seen, available, season, look))
    return tuple(told)


def _how_many(seen: int, available: int, season: int, look: str) -> str:
    """Say how many must be drawn, this sheet's vines included, until a corrected figure can be given."""
    if seen >= FEWEST:
        return f"second looks at the {look} look of {season} saw {seen} cases already: enough for a corrected incidence"
    so_far = f"; those on record saw {seen}" if seen else ""
    least, likely = vines_to_draw(seen, available), vines_to_draw(seen, available, again=AGAIN)
    rule = f"a corrected incidence needs {FEWEST} cases seen at second looks{so_far}"
    if least is None:
        return (
            f"{rule}: the {available} vines with findings that are left are too few for that. Second looks of several "
            "seasons are taken together where the same people made the first and the second looks in all of them"
        )
    more = "" if likely is None else f", about {likely} if eight in ten do (our own assumption)"
    return (
        f"{rule}: draw {least} vines in all, this sheet included, if every vine with findings shows them again{more}. "
        "Several sheets of a season are taken together: write each in as a survey before the next is drawn"
    )


def second_look_page(drawn: SecondLook, *, size: Size = "A4") -> str:
    """Write the list for printing; it does not say which vines had findings.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    _checked(size)
    return render("second_look.html", drawn=drawn, size=size, codes=short_codes())
