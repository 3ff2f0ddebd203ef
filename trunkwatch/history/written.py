"""What was written, typed and placed: a finding, a piece of work, a planting, each in its cell of the grid.

A record is turned into one of these once, with the labels, the counting and the layout of its day; above this room
nobody looks at a written line again.
"""

from typing import NamedTuple

from trunkwatch.history.definitions import spur_share
from trunkwatch.history.looks import Look
from trunkwatch.history.places import Cell
from trunkwatch.history.vine_part import VinePart
from trunkwatch.vineyard.codes import LASTING

__all__ = ["DONE", "Finding", "Named", "Planting", "Work"]

#: Statuses of work that was done; nothing written means done.
DONE = frozenset({"", "done"})


class Named(NamedTuple):
    """How a record names its vine, as it was written.

    Attributes
    ----------
    row, position, bay : str
    vine : int
        Vine in the bay, 0 where none is written.
    counted_from : str
        start, end, or empty.
    """

    row: str
    position: str
    bay: str = ""
    vine: int = 0
    counted_from: str = ""


class Finding(NamedTuple):
    """One finding on one vine.

    Attributes
    ----------
    id : str
    cell : (int, int)
        Row and station in the grid.
    plant : int
        Number of the plant that stood there on the day, -1 for none.
    date : str
        YYYY-MM-DD.
    season : int
        Year of the harvest.
    kind : str
        Kind of the look that covers it, else of its day: dormant, spring or summer.
    look : Look or None
        The look that covers it; None for a casual one.
    symptom : str
        Code.
    part : VinePart
        What it sits on.
    dead, total, percent, empty_percent, cut_height_cm, stain_cm : float or None
        As written; None where nothing is.
    grade, scale, pattern, cause, shoot, shoot_quality, photo, observer, note : str
        As written; `grade` is the class on a scale.
    named : Named
        How the vine was written down.
    read_from : str
        File and line.
    """

    id: str
    cell: Cell
    plant: int
    date: str
    season: int
    kind: str
    look: Look | None
    symptom: str
    part: VinePart
    dead: float | None
    total: float | None
    percent: float | None
    empty_percent: float | None
    cut_height_cm: float | None
    stain_cm: float | None
    grade: str
    scale: str
    pattern: str
    cause: str
    shoot: str
    shoot_quality: str
    photo: str
    observer: str
    note: str
    named: Named
    read_from: str

    @property
    def lasting(self) -> bool:
        """Whether the symptom stays until work takes it away."""
        return self.symptom in LASTING

    @property
    def casual(self) -> bool:
        """Whether no look covers it: it stands in the history of the vine and makes no case."""
        return self.look is None

    @property
    def clean_face(self) -> bool:
        """Whether it is a look at the face of a cut that showed no stain: 0 cm of it, and no pattern."""
        return self.symptom == "wood_staining" and self.stain_cm == 0 and not self.pattern

    @property
    def spur_share(self) -> float:
        """Share of dead spur positions, 0 to 1; nan where nothing was counted."""
        return spur_share(self.dead, self.total, self.percent)

    @property
    def percent_dead(self) -> float | None:
        """Percent of its part that is dead, by its spurs where they were counted, else as written; None where nothing says so."""
        if self.dead is not None and self.total:
            return 100 * self.dead / self.total
        return self.percent


class Work(NamedTuple):
    """One piece of work on one vine.

    Attributes
    ----------
    id, root : str
        Its own id, and that of the first record of its chain of corrections.
    cell, plant, date, season
        As in `Finding`.
    kind, status : str
        Codes.
    trunk : int
        0 where none is named.
    arm : str
    cut_height_cm, hours, cost : float or None
    crew, note, observer, device : str
    named, read_from
        As in `Finding`.
    wound_protected : str
        yes, no, or empty where nobody said.
    not_done : str
        Code of why dropped work was not done; empty where nobody said.
    """

    id: str
    root: str
    cell: Cell
    plant: int
    date: str
    season: int
    kind: str
    status: str
    trunk: int
    arm: str
    cut_height_cm: float | None
    hours: float | None
    cost: float | None
    crew: str
    note: str
    observer: str
    device: str
    named: Named
    read_from: str
    wound_protected: str = ""
    not_done: str = ""

    @property
    def done(self) -> bool:
        """Whether it was done; planned and dropped work was not."""
        return self.status in DONE


class Planting(NamedTuple):
    """One line of the plants table: a planting, a removal, or an empty place.

    Attributes
    ----------
    id : str
    cell : (int, int)
    planted, removed : str
        Day or year; empty where not written.
    reason, cultivar, rootstock, note, observer : str
    named, read_from
        As in `Finding`.
    """

    id: str
    cell: Cell
    planted: str
    removed: str
    reason: str
    cultivar: str
    rootstock: str
    note: str
    observer: str
    named: Named
    read_from: str
