"""What a workbook says and what would come of it, worked out in a process of its own for the page that shows it."""

import shutil
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from trunkwatch.errors import FaultyNotesError, TrunkwatchError
from trunkwatch.intake.add import Added
from trunkwatch.intake.bring_book import (
    MOST_SECONDS,
    Understood,
    draft_book,
    kept_answers,
    take_book,
    understand_book,
)
from trunkwatch.intake.preview import MOST_SECONDS as MOST_TRYING
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.book.kept import Kept
from trunkwatch.spreadsheets.book.made import Look
from trunkwatch.spreadsheets.book.plan import BookPlan, Cause
from trunkwatch.store import copy_whole
from trunkwatch.vineyard.faults import Fault
from trunkwatch.web.said import units_of
from trunkwatch.web.vineyard import Vineyard

__all__ = ["BookSeen", "causes_of", "merged", "see_book", "understood_by"]

#: Of a larger workbook the rows are drawn without what was seen, until all its words have a meaning.
MOST_DRAFTED = 50_000
_FIX = "fix it in the workbook, or change what is said above"
#: So many blocks, and vines of all of them, are drawn beside the form.
MOST_BLOCKS, MOST_VINES = 30, 60_000


@dataclass(frozen=True, slots=True)
class BookSeen:
    """A workbook as the page shows it.

    Attributes
    ----------
    plan : BookPlan
        What was understood, without its entries.
    looks : tuple of Look
        What each inspection gives.
    causes : tuple of Cause
        Faults and notes, each cause once.
    added : Added or None
        What came of it on a copy of the vineyard; None where something waits for an answer, or stands in the way.
    drawings : dict of str to dict
        Each block as it would be laid out, with what was seen.
    undrawn : int
        Blocks that are not drawn, since they are too many or too large.
    """

    plan: BookPlan
    looks: tuple[Look, ...]
    causes: tuple[Cause, ...]
    added: Added | None = None
    drawings: dict[str, dict[str, Any]] = field(default_factory=dict)
    undrawn: int = 0

    @property
    def waits(self) -> int:
        """How many things wait for an answer or to be confirmed."""
        return len(self.plan.asked) + len(self.plan.proposed)

    @property
    def stops(self) -> bool:
        """Whether a fault stands in the way."""
        return any(cause.stops for cause in self.causes)


def merged(kept: Kept, answers: Mapping[str, Any]) -> Kept:
    """Return what is kept of earlier workbooks, with the answers of this one before it.

    Raises
    ------
    RecordError
        If an answer is not what it should be.
    """
    raw: dict[str, Any] = {name: dict(part) for name, part in kept.raw.items()}
    for part, own in answers.items():
        there = raw.setdefault(part, {})
        for name, value in own.items():
            old = there.get(name)
            is_like = isinstance(value, dict) and isinstance(old, dict) and old.get("shape") == value.get("shape")
            there[name] = _over(old, value) if is_like else value
    return Kept.of(raw, "what was said")


def _over(old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table with another over it, and so the tables in it."""
    inner = {name: _over(old[name], new[name]) for name in new if isinstance(new[name], dict) and name in old}
    return {**old, **new, **inner}


def understood_by(vineyard: Path, path: Path, answers: Mapping[str, Any], name: str, hemisphere: str) -> Understood:
    """Understand a workbook by the answers of a form; where it is read, a process of its own reads it.

    Raises
    ------
    FileError, RecordError
        As `understand_book`.
    """
    kept = merged(kept_answers(vineyard), answers)
    return understand_book(vineyard, path, answers=kept, name=name, hemisphere=hemisphere)


def see_book(
    path: Path, vineyard: Path, answers: Mapping[str, Any], name: str, hemisphere: str, *, keep_good: bool = False
) -> BookSeen:
    """Understand a workbook, try it on a copy of the vineyard beside it, and draw what comes of it; all in a process of its own.

    Raises
    ------
    FileError, RecordError
        If it cannot be read, or an answer cannot be.
    """
    folder = Path(
        tempfile.mkdtemp(prefix="copy-", dir=path.parent)
    )  # of its own: two may look at one workbook at a time
    copy = folder / "copy.gpkg"
    try:
        seen = apart(
            _see,
            path,
            copy,
            vineyard,
            dict(answers),
            name,
            hemisphere,
            keep_good=keep_good,
            seconds=MOST_SECONDS + MOST_TRYING,
        )
        drawings, left = _drawn(copy, seen, units_of(vineyard))
        return replace(seen, drawings=drawings, undrawn=left)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _see(
    path: Path, copy: Path, vineyard: Path, answers: dict[str, Any], name: str, hemisphere: str, *, keep_good: bool
) -> BookSeen:
    """Understand and try a workbook; the copy stays as it is to be drawn."""
    understood = understood_by(vineyard, path, answers, name, hemisphere)
    plan = understood.plan
    seen = BookSeen(replace(plan, entries=()), understood.made.looks, (*plan.causes, *understood.made.causes))
    copy_whole(vineyard, copy)
    seen = _tried(seen, understood, copy, keep_good=keep_good)
    if seen.added is None:
        _draft(copy, understood)
    return seen


def _draft(copy: Path, understood: Understood) -> None:
    """Put into the copy what can be drawn so far; what is wrong with the rest is told where it is tried as a whole."""
    if len(understood.plan.entries) <= MOST_DRAFTED:
        with suppress(TrunkwatchError):
            draft_book(copy, understood)
            return
    with suppress(TrunkwatchError):
        draft_book(copy, understood, rows_only=True)


def _tried(seen: BookSeen, understood: Understood, copy: Path, *, keep_good: bool) -> BookSeen:
    """Take a workbook that waits for nothing into the copy."""
    if seen.plan.asked or (seen.stops and not keep_good):
        return seen
    try:
        added = take_book(copy, understood, keep_good=keep_good)
        return replace(seen, added=added, causes=(*seen.causes, *causes_of(added.notes), *_since(added)))
    except FaultyNotesError as error:
        return replace(seen, causes=(*seen.causes, *causes_of(error.faults)))
    except TrunkwatchError as error:
        cause = Cause(str(error), 1, understood.plan.file, _FIX)
        return replace(seen, causes=(*seen.causes, cause))


def _since(added: Added) -> list[Cause]:
    """Say of records that are known and do not stand any more that what stands is kept."""
    if not added.superseded:
        return []
    first = added.superseded[0]
    return [
        Cause(
            "known and corrected or taken back since",
            len(added.superseded),
            f"{first.table}, {first.about}",
            "what stands now is kept",
            stops=False,
        )
    ]


def causes_of(faults: Sequence[Fault]) -> list[Cause]:
    """Put faults of records together by their cause."""
    groups: dict[tuple[str, str, str], list[Fault]] = {}
    for fault in faults:
        groups.setdefault((fault.problem, fault.column, fault.expected), []).append(fault)
    return [
        Cause(
            f"{problem}{f' (column {column})' if column else ''}",
            len(own),
            " ".join(part for part in (own[0].place, own[0].value and f"({own[0].value})") if part)
            or "the whole workbook",
            f"expected: {expected}" if expected else _FIX if own[0].weight == "fault" else "",
            stops=own[0].weight == "fault",
        )
        for (problem, column, expected), own in groups.items()
    ]


def _drawn(copy: Path, seen: BookSeen, unit: str) -> tuple[dict[str, dict[str, Any]], int]:
    """Draw the blocks that a workbook speaks of, as their pages will."""
    labels = dict.fromkeys([*(block.label for block in seen.plan.blocks), *(look.block for look in seen.looks)])
    desk, vines = Vineyard(copy), 0
    drawings: dict[str, dict[str, Any]] = {}
    for label in labels:
        if len(drawings) >= MOST_BLOCKS or vines > MOST_VINES:
            break
        names = [name for name in desk.labels() if label in (name, name.partition("/")[2])]
        with suppress(TrunkwatchError):  # what cannot be laid out yet is not drawn: the questions say why
            drawings[label] = desk.grid(names[0] if names else label) | {"unit": unit}
            vines += len(drawings[label]["x"])
    return drawings, len(labels) - len(drawings)
