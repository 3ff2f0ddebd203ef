"""Vines for a blind second look: half of them with findings, in walking order, without saying which."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.errors import RecordError
from trunkwatch.history import BlockHistory, rate
from trunkwatch.sheets.paper import Size, _checked, render
from trunkwatch.stats.chance import Rng, generator
from trunkwatch.vineyard.covered import Stretch, format_covered

__all__ = ["SecondLook", "draw_second_look", "second_look_page"]


@dataclass(frozen=True, slots=True)
class SecondLook:
    """The vines drawn, by row label and position, and what to write as `covered` of the survey."""

    block: str
    season: int
    vines: tuple[tuple[str, int], ...]
    covered: str
    with_findings: int


def draw_second_look(history: BlockHistory, season: int, vines: int, *, rng: Rng = None) -> SecondLook:
    """Draw vines of a season for a second look.

    Parameters
    ----------
    history : BlockHistory
        The block.
    season : int
        A counted season.
    vines : int
        How many; half of them showing where there are as many.
    rng : Generator, int or None
        Source of chance.

    Raises
    ------
    RecordError
        If the season has no case or no vine without, or was not counted.
    ValueError
        If fewer than two vines are asked for.
    """
    if vines < 2:
        raise ValueError(f"{vines} vines: two at least are needed")
    found = rate(history, "annual", season)
    showing, free = np.argwhere(found.numerator), np.argwhere(found.denominator & ~found.numerator)
    if found.reason or not len(showing) or not len(free):
        raise RecordError(
            f"no second look can be drawn for {season}: {found.reason or 'cases and vines without are needed'}"
        )
    chance = generator(rng)
    many = min(vines // 2, len(showing))
    cells = np.concatenate([
        showing[chance.permutation(len(showing))[:many]], free[chance.permutation(len(free))[: vines - many]]
    ])  # fmt: skip
    ordered = sorted(map(tuple, cells.tolist()))
    named = tuple(history.grid.label(row, station) for row, station in ordered)
    covered = format_covered(Stretch(row, position, position, 1) for row, position in named)
    return SecondLook(history.block, season, named, covered, many)


def second_look_page(drawn: SecondLook, *, size: Size = "A4") -> str:
    """Write the list for printing; it does not say which vines had findings.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    _checked(size)
    return render("second_look.html", drawn=drawn, size=size)
