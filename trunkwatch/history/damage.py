"""What lasts on a vine: since when it stands, when it was last seen, and what ended it.

Each lasting finding stands until work takes its part away, its plant is gone, a later look that could have seen it says
that nothing is there, or so many looks in a row are silent on it as count in this block (`silence`).
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from enum import Enum
from functools import cached_property
from typing import NamedTuple, Protocol

from trunkwatch.history.looks import Look, could_see
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import Plant
from trunkwatch.history.silence import Silence, Track
from trunkwatch.history.vine_part import takes
from trunkwatch.history.written import Finding, Work

__all__ = ["Damage", "Damages", "End", "EndKind"]

_ALWAYS = "9999-99-99"


class EndKind(Enum):
    """Why damage stands no more, in the order in which ends of one day are told."""

    CUT = "cut"
    GONE = "gone"
    CONTRADICTED = "contradicted"
    UNMENTIONED = "unmentioned"


class End(NamedTuple):
    """What ended a damage, and when.

    Attributes
    ----------
    kind : EndKind
    day : str
        YYYY-MM-DD.
    looks : int
        For `UNMENTIONED`: silent looks in a row; 0 otherwise.
    """

    kind: EndKind
    day: str
    looks: int = 0


class Damage(NamedTuple):
    """One lasting finding and what became of it.

    Attributes
    ----------
    finding : Finding
    mentions : tuple of str
        Days on which it was mentioned, its own first day among them, in order.
    end : End or None
        None while it stands.
    """

    finding: Finding
    mentions: tuple[str, ...]
    end: End | None

    def last_seen(self, by: str = _ALWAYS) -> str:
        """Return the last day, up to a day, on which it was mentioned."""
        return max((day for day in self.mentions if day <= by), default=self.finding.date)

    def stands(self, day: str, *, cut_that_day: bool = False) -> bool:
        """Tell whether it stands on a day.

        Parameters
        ----------
        day : str
        cut_that_day : bool
            Whether what is cut on the very day is gone; a look on that day may have been before the cut.
        """
        if self.finding.date > day:
            return False
        if self.end is None:
            return True
        if self.end.kind is EndKind.CUT:
            return self.end.day > day if cut_that_day else self.end.day >= day
        return self.end.day >= day if self.end.kind is EndKind.GONE else self.end.day > day

    def ended(self, kind: EndKind, day: str) -> bool:
        """Tell whether it had ended in one way by a day."""
        return self.end is not None and self.end.kind is kind and self.end.day <= day


class _Vine(Protocol):
    @property
    def findings(self) -> tuple[Finding, ...]: ...
    @property
    def work(self) -> tuple[Work, ...]: ...
    @property
    def plants(self) -> tuple[Plant, ...]: ...


class Damages:
    """The damage on every vine of a block.

    Parameters
    ----------
    vines : mapping of cell to what was written of it
        Findings, work and plants, in order of date; without those of blind second looks.
    looks : sequence of Look
        In order of date, without second looks.
    """

    def __init__(self, vines: Mapping[Cell, _Vine], looks: Sequence[Look]) -> None:
        self._vines = {
            cell: vine for cell, vine in vines.items() if any(f.lasting and f.plant >= 0 for f in vine.findings)
        }
        self._looks = looks
        self._last_day = max((look.until for look in looks), default="")

    @cached_property
    def silence(self) -> Silence:
        """How often old damage is written again in this block."""
        tracks = [track for cell, vine in self._vines.items() for track in _tracks(cell, vine, self._looks)]
        return Silence(tracks)

    @cached_property
    def by_cell(self) -> Mapping[Cell, tuple[Damage, ...]]:
        """Damage by cell, in order of date; only vines that have or had some."""
        return {
            cell: tuple(self._damage(cell, vine, f) for f in vine.findings if f.lasting and f.plant >= 0)
            for cell, vine in self._vines.items()
        }

    def of(self, cell: Cell) -> tuple[Damage, ...]:
        """Return the damage of a cell, ended ones too."""
        return self.by_cell.get(cell, ())

    def standing(self, cell: Cell, day: str) -> tuple[Damage, ...]:
        """Return what stands in a cell after the work of a day."""
        return tuple(damage for damage in self.of(cell) if damage.stands(day, cut_that_day=True))

    def _damage(self, cell: Cell, vine: _Vine, finding: Finding) -> Damage:
        mentions = tuple(g.date for g in vine.findings if mentions_it(g, finding) and g.date >= finding.date)
        ends = [
            end
            for end in (
                _cut(vine, finding),
                _gone(vine, finding),
                _contradicted(vine, finding),
                self._unmentioned(cell, vine, finding),
            )
            if end is not None
        ]
        # Of ends on one day the first in the order of the kinds is told: min keeps it.
        return Damage(finding, mentions, min(ends, key=lambda end: end.day, default=None))

    def _unmentioned(self, cell: Cell, vine: _Vine, finding: Finding) -> End | None:
        if self.silence.never(self._last_day):
            return None
        mentions = [(g.date, _over(g)) for g in vine.findings if mentions_it(g, finding)]
        silent: list[Look] = []
        for look in _silent_looks(cell, vine.plants[finding.plant], finding, self._looks):
            if _mentioned_at(vine, finding, look):
                continue
            silent.append(look)
            since = max(over for day, over in mentions if day <= look.until)
            run = sum(other.date > since for other in silent)
            if look.date > since and run >= self.silence.looks_needed(look.until):
                return End(EndKind.UNMENTIONED, look.until, run)
        return None


def _over(finding: Finding) -> str:
    """Return the day on which a finding and the look that covers it are over."""
    return finding.date if finding.look is None else max(finding.date, finding.look.until)


def mentions_it(other: Finding, damage: Finding) -> bool:
    """Tell whether a finding mentions a damage: same plant, same symptom, and the parts may be the same."""
    return other.plant == damage.plant and other.symptom == damage.symptom and other.part.may_be(damage.part)


def first_cut(work: Sequence[Work], plant: Plant, finding: Finding) -> str:
    """Return the day on which done work took away what a finding sits on; empty where none did."""
    return min(
        (
            w.date
            for w in work
            if w.done
            and w.date >= finding.date
            and plant.stands(w.date)
            and takes(w.kind, w.trunk, w.arm, finding.part)
        ),
        default="",
    )


def _cut(vine: _Vine, finding: Finding) -> End | None:
    day = first_cut(vine.work, vine.plants[finding.plant], finding)
    return End(EndKind.CUT, day) if day else None


def _gone(vine: _Vine, finding: Finding) -> End | None:
    until = vine.plants[finding.plant].until
    return End(EndKind.GONE, until) if until < _ALWAYS else None


def _contradicted(vine: _Vine, finding: Finding) -> End | None:
    for other in vine.findings:
        if (
            other.symptom == "none"
            and other.date > finding.date
            and other.plant == finding.plant
            and other.part.may_be(finding.part)
            and could_see(other.kind, other.look.purpose if other.look else frozenset(), finding.symptom, finding.kind)
            and not any(mentions_it(g, finding) and _together(g, other) for g in vine.findings)
        ):
            return End(EndKind.CONTRADICTED, other.date)
    return None


def _together(one: Finding, other: Finding) -> bool:
    """Tell whether a finding was made at the look of another, or on its day."""
    if one.date == other.date:
        return True
    return other.look is not None and (one.look is other.look or other.look.takes_in(one.date))


def _silent_looks(cell: Cell, plant: Plant, finding: Finding, looks: Sequence[Look]) -> list[Look]:
    """Return the looks after a finding that covered its vine and could have seen it."""
    return [
        look
        for look in looks
        if look.date > finding.date
        and look is not finding.look
        and cell in look.cells
        and plant.stands(look.until)
        and could_see(look.kind, look.purpose, finding.symptom, finding.kind)
    ]


def _mentioned_at(vine: _Vine, finding: Finding, look: Look) -> bool:
    return any(mentions_it(g, finding) and (g.look is look or look.takes_in(g.date)) for g in vine.findings)


def _tracks(cell: Cell, vine: _Vine, looks: Sequence[Look]) -> list[Track]:
    """Return each damage as it was written time and again: looks between its first and last mention, and which of them mention it."""
    found: defaultdict[tuple[object, ...], list[Finding]] = defaultdict(list)
    for f in vine.findings:
        if f.lasting and f.plant >= 0:
            found[f.plant, f.symptom, f.part.trunk, f.part.arm].append(f)
    tracks = []
    for listed in found.values():
        for run in _between_cuts(vine, listed):
            first = run[0]
            if run[-1].date == first.date:
                continue  # written once: nothing says that it was there at any other look
            between = [
                look
                for look in _silent_looks(cell, vine.plants[first.plant], first, looks)
                if first.look is None or look.date > first.look.until
            ]
            known = [(look, _known_since(run, look)) for look in between]
            tracks.append(Track(tuple((day, _mentioned_at(vine, first, look)) for look, day in known if day)))
    return tracks


def _between_cuts(vine: _Vine, listed: Sequence[Finding]) -> list[list[Finding]]:
    """Part the findings of one damage where a cut lies between them: what came after it is another."""
    runs: list[list[Finding]] = []
    for f in listed:
        cut = first_cut(vine.work, vine.plants[f.plant], runs[-1][0]) if runs else ""
        if not runs or (cut and cut < f.date):
            runs.append([])
        runs[-1].append(f)
    return runs


def _known_since(run: Sequence[Finding], look: Look) -> str:
    """Return the day of the first finding after a look, which shows that the damage was there at it; empty for none."""
    return next((f.date for f in run if f.date > look.until and (f.look is None or f.look.date > look.until)), "")
