"""Vines for a blind second look: half of them with findings, in walking order, without saying which."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.errors import RecordError
from trunkwatch.history import BlockReading
from trunkwatch.sheets.paper import Size, _checked, render, short_codes
from trunkwatch.stats.chance import Rng, generator
from trunkwatch.stats.rechecks import vines_to_draw
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
    available : int
        Vines with findings at the first look that no second look covers yet, those drawn included.
    carried : int
        Vines left out: a lasting symptom on record that the first look did not write down again.
    seen : int
        Cases that second looks of the season at this look saw already.
    """

    block: str
    season: int
    look: str
    vines: tuple[tuple[str, int], ...]
    covered: str
    with_findings: int
    available: int
    carried: int
    seen: int

    @property
    def least(self) -> int | None:
        """Vines to draw in all for a corrected incidence if every case shows again; None where there are too few."""
        return vines_to_draw(self.seen, self.available)

    @property
    def likely(self) -> int | None:
        """The same if the share `AGAIN` of them does."""
        return vines_to_draw(self.seen, self.available, again=AGAIN)


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
        what = f"the {look} inspection" if look is not None else "any inspection"
        raise RecordError(
            f"no recheck can be drawn for {what} of {season}: vines with and without findings at that inspection are "
            "needed, covered by a survey"
        )
    free = np.argwhere(whole.vines & ~whole.cases & ~whole.twice)
    showing = np.argwhere(whole.cases & ~whole.twice)
    if not len(showing) or not len(free):
        raise RecordError(
            f"all vines with or without findings at the {whole.look} inspection were scouted twice already"
        )
    chance, grid = generator(rng), reading.grid
    many = min(vines // 2, len(showing))
    cells = np.concatenate(
        [showing[chance.permutation(len(showing))[:many]], free[chance.permutation(len(free))[: vines - many]]]
    )
    # Along each row as it is numbered: where the numbering is serpentine this is how the rows are walked.
    ordered = sorted(map(tuple, cells.tolist()), key=lambda cell: (cell[0], grid.position[cell]))
    named = tuple(grid.label(row, station) for row, station in ordered)
    covered = format_covered(Stretch(row, position, position, 1) for row, position in named)
    done = [one for one in second_looks(reading, whole.look, season) if one.season == season]
    return SecondLook(
        grid.block,
        season,
        whole.look,
        named,
        covered,
        many,
        len(showing),
        int(whole.carried.sum()),
        sum(int(one.second.sum()) for one in done),
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
