"""The lists of the year for a crew: mark, leave the shoot, cut, replant, finish training."""

from collections.abc import Mapping
from dataclasses import dataclass

from trunkwatch.block.vine_now import last_evidence
from trunkwatch.history import BlockReading
from trunkwatch.history.written import Work
from trunkwatch.sheets.paper import Size, _checked, render
from trunkwatch.vineyard import codes

__all__ = ["LISTS", "CrewLine", "crew_lines", "crew_lists"]

#: Which kinds of work stand on which list, and when it is walked (common practice, no source).
LISTS: Mapping[str, tuple[str, frozenset[str]]] = {
    "Mark": ("in summer, while symptoms show", frozenset({"mark", "watch", "lab_sample"})),
    "Leave this shoot": ("at suckering: these shoots are the next trunks", frozenset({"keep_shoot"})),
    "Cut": (
        "in winter, dry weather ahead",
        frozenset(
            {
                "renew_arm",
                "renew_trunk",
                "cut_old_trunk",
                "remove",
                "regraft",
                "curettage",
                "clear_mummies",
                "protect_wound",
            }
        ),
    ),
    "Replant": ("when the ground allows", frozenset({"replant"})),
    "Finish training": ("in the next two years", frozenset({"train"})),
}


@dataclass(frozen=True, slots=True)
class CrewLine:
    """One piece of work on a list; `seen` is the day on which what calls for it was last seen, empty where nothing was."""

    id: str
    row: str
    position: str
    bay: str
    trunk: str
    arm: str
    what: str
    cut: str
    note: str
    done: bool
    seen: str
    work: Work


def crew_lines(reading: BlockReading, *, done_since: str = "") -> dict[str, list[CrewLine]]:
    """Sort planned and done work into the lists, in walking order.

    Work that was planned twice on the same part of a vine stands once, as it was planned for the later day; and not as
    planned where it was done since, or in the same season.

    Parameters
    ----------
    reading : BlockReading
        The block's records.
    done_since : str
        First day from which done work is listed.
    """
    planned: dict[_Piece, Work] = {}
    last_done: dict[_Piece, Work] = {}
    for work in reading.work:  # in order of date
        if work.done:
            last_done[_piece(work)] = work
        elif work.status == "planned":
            planned[_piece(work)] = max(planned.get(_piece(work), work), work, key=lambda one: (one.date, one.id))
    listed = [work for piece, work in planned.items() if not _is_done(work, last_done.get(piece))]
    listed += [work for work in reading.work if work.done and work.date >= done_since]
    listed.sort(key=lambda work: work.cell)
    return {name: [_line(reading, work) for work in listed if work.kind in kinds] for name, (_, kinds) in LISTS.items()}


#: Cell, kind, trunk (0 for not said) and arm.
_Piece = tuple[tuple[int, int], str, int, str]


def _piece(work: Work) -> _Piece:
    return work.cell, work.kind, work.trunk, work.arm


def _is_done(planned: Work, done: Work | None) -> bool:
    """Tell whether planned work was done: later, or before its day in the same season."""
    return done is not None and (done.date >= planned.date or done.season == planned.season)


def _line(reading: BlockReading, work: Work) -> CrewLine:
    row, position = reading.grid.label(*work.cell)
    bay, vine = reading.grid.bay_of(row, position)
    return CrewLine(
        work.id, row, str(position), f"{bay}, {vine}" if bay else "", str(work.trunk or ""), work.arm.replace("_", " "),
        codes.WORK_KINDS[work.kind], "" if work.cut_height_cm is None else f"{work.cut_height_cm:.0f} cm", work.note,
        work.done, last_evidence(reading, work.cell, work.date), work,
    )  # fmt: skip


def crew_lists(reading: BlockReading, season: int, *, size: Size = "A4") -> str:
    """Write the lists for printing, a page each at least; empty lists are left out.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    _checked(size)
    lines = {name: [line for line in found if not line.done] for name, found in crew_lines(reading).items()}
    told = [(name, LISTS[name][0], found) for name, found in lines.items() if found]
    return render("crew_list.html", block=reading.grid.block, season=season, size=size, lists=told)
