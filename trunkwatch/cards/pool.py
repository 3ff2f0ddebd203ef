"""Tables over the blocks of many growers: which cells are shown, what the sums are of, and what was shown before.

A cell that may not be shown is left out of every sum as well. The usual way is to leave further cells out until no sum tells
the first; but whoever knows all growers but one (a neighbor, a cooperative) subtracts them from the sum, and of a grower
who is in the hidden cell alone it then tells all. Of what is in no sum nothing can be subtracted.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from trunkwatch.cards.attack import exposed
from trunkwatch.cards.card import Card, SeasonLine
from trunkwatch.cards.cells import FEWEST_GROWERS, Part, figure_of, may_show
from trunkwatch.cards.ledger import Ledger, Shown
from trunkwatch.errors import NothingWrittenError, RecordError
from trunkwatch.peers.grouped import age_label

__all__ = ["BY", "COUNTS", "OTHER", "PoolCell", "PoolSum", "PoolTable", "pool"]

#: What cells can be told apart by.
BY = ("cultivar", "age", "region", "rootstock", "training")
#: What is counted: vines showing, of those scouted; first cases, of the vines that could show for the first time.
COUNTS = ("showing", "new")
#: Values that fewer growers hold than a cell takes, together.
OTHER = "other"


@dataclass(frozen=True, slots=True)
class PoolCell:
    """A cell that is shown; `earlier` where the figure is one that was shown before, for a new one would tell of few growers."""

    shown: Shown
    earlier: bool = False


@dataclass(frozen=True, slots=True)
class PoolSum:
    """The sum over cells that are shown, one value of one thing alike (all of them where empty); made of what is shown and nothing else."""

    season: int
    count: str
    cell: Mapping[str, str]
    vines: int
    cases_low: int
    cases_high: int


@dataclass(frozen=True, slots=True)
class PoolTable:
    """All that may be shown.

    Attributes
    ----------
    by : tuple of str
        What cells are told apart by.
    definition, looks : str
        What makes a case, and the kinds of inspections, of most seasons on the cards; the others take no part.
    cells : tuple of PoolCell
    sums : tuple of PoolSum
    other_looks : int
        Seasons on cards that take no part for their definition or inspections.
    """

    by: tuple[str, ...]
    definition: str
    looks: str
    cells: tuple[PoolCell, ...]
    sums: tuple[PoolSum, ...]
    other_looks: int


#: Season, count and values of a cell.
_Group = tuple[int, str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class _Line:
    card: Card
    line: SeasonLine
    labels: tuple[str, ...]


def pool(
    cards: Sequence[Card],
    by: Sequence[str],
    ledger: Ledger,
    *,
    season: int | None = None,
    regions: Sequence[str] | None = None,
) -> tuple[PoolTable, Ledger]:
    """Make a table of all cards.

    Parameters
    ----------
    cards : sequence of Card
        Pool cards that count, one a block.
    by : sequence of str
        Of `BY`; one cell a season where empty.
    ledger : Ledger
        What was shown before.
    season : int, optional
        One season; all where left out.
    regions : sequence of str, optional
        The words of the pool's list; a region that is none of them is told as none.

    Returns
    -------
    (PoolTable, Ledger)
        The ledger with what is shown now; it must be kept before the table is shown to anybody.

    Raises
    ------
    RecordError
        If cells cannot be told apart so, or no card has the season.
    NothingWrittenError
        If there is no card.
    """
    strange = [name for name in by if name not in BY]
    if strange:
        raise RecordError(f"cells are not told apart by {strange[0]!r}: one of {', '.join(BY)}")
    if not cards:
        raise NothingWrittenError("no pool card counts: `trunkwatch card FOLDER check` says why")
    lines = [
        _Line(card, line, tuple(_label(card, line, name, regions) for name in by))
        for card in cards
        for line in card.seasons
    ]
    (definition, looks), _ = max(
        Counter((str(one.card.told["definition"]), one.line.looks) for one in lines).items(),
        key=lambda pair: (pair[1], pair[0]),
    )
    kept = [one for one in lines if (one.card.told["definition"], one.line.looks) == (definition, looks)]
    merged = _merged(kept)
    wanted = [one for one in merged if season in (None, one.line.season)]
    if not wanted:
        years = sorted({one.line.season for one in merged})
        raise RecordError(f"no card has a count of {season}; seasons: {', '.join(map(str, years))}")
    cells, now = _cells(wanted, tuple(by), definition, ledger)
    return PoolTable(tuple(by), definition, looks, cells, _sums(cells, by), len(lines) - len(kept)), now


def _label(card: Card, line: SeasonLine, name: str, regions: Sequence[str] | None) -> str:
    block: Mapping[str, str] = card.told["block"]
    if name == "age":
        planted = block.get("planted", "")
        # The year is told to within five; the middle one speaks for all of them.
        return age_label(line.season - int(planted[:4]) - 2 if planted[:4].isdecimal() else math.nan)
    value = " ".join(block.get(name, "").split()).casefold()
    return (
        "" if name == "region" and regions is not None and value not in {one.casefold() for one in regions} else value
    )


def _merged(lines: Sequence[_Line]) -> list[_Line]:
    """Put values together that too few growers hold: a name of theirs would tell that they are there."""
    growers: defaultdict[tuple[int, str], set[str]] = defaultdict(set)
    for one in lines:
        for place, label in enumerate(one.labels):
            growers[place, label].add(one.card.grower)
    return [
        replace(
            one,
            labels=tuple(
                label if label and len(growers[place, label]) >= FEWEST_GROWERS else OTHER
                for place, label in enumerate(one.labels)
            ),
        )
        for one in lines
    ]


def _cells(
    lines: Sequence[_Line], by: tuple[str, ...], definition: str, ledger: Ledger
) -> tuple[tuple[PoolCell, ...], Ledger]:
    """Show what may be shown, the largest cells first; what tells of few growers beside earlier tables is held back."""
    groups: defaultdict[_Group, list[Part]] = defaultdict(list)
    for one in lines:
        for count, (vines, cases) in _counts(one.line).items():
            if vines:
                mark = ledger.mark(one.card.grower, one.card.id, one.line.season, count, vines, cases)
                part = Part(ledger.mark("grower", one.card.grower), mark, vines, cases)
                groups[one.line.season, count, one.labels].append(part)
    ledger = replace(
        ledger,
        hidden=ledger.hidden
        | {
            (year, count, frozenset(part.block for part in parts))
            for (year, count, _), parts in groups.items()
            if not may_show(parts)
        },
    )
    cells: list[PoolCell] = []
    for (year, count, labels), parts in sorted(
        groups.items(), key=lambda item: (-sum(p.vines for p in item[1]), item[0])
    ):
        if not may_show(parts):
            continue
        members = tuple(sorted((part.block, part.grower) for part in parts))
        new = Shown(year, count, definition, dict(zip(by, labels, strict=True)), members, figure_of(parts))
        before = [one for one in ledger.shown if (one.season, one.count) == (year, count)]
        if any(one == new for one in before):
            cells.append(PoolCell(new))
        elif not _exposed(before, new, groups, ledger):
            ledger = replace(ledger, shown=(*ledger.shown, new))
            cells.append(PoolCell(new))
        else:
            same = [one for one in before if (one.cell, one.definition) == (new.cell, new.definition)]
            cells += [PoolCell(same[-1], earlier=True)] if same else []
    return tuple(
        sorted(cells, key=lambda one: (one.shown.count != "showing", one.shown.season, tuple(one.shown.cell.values())))
    ), ledger


def _exposed(before: Sequence[Shown], new: Shown, groups: Mapping[_Group, Sequence[Part]], ledger: Ledger) -> bool:
    """Tell whether a new figure beside all earlier ones of its season and count would tell what may not be shown."""
    now = {
        part.block: part
        for (year, count, _), parts in groups.items()
        if (year, count) == (new.season, new.count)
        for part in parts
    }
    growers = {block: grower for one in (*before, new) for block, grower in one.members}

    def may(blocks: frozenset[str]) -> bool:
        if blocks <= set(now):
            return may_show([now[block] for block in blocks])
        # Of a card that is gone, or was corrected since, the counts are not known any more.
        return len({growers[block] for block in blocks}) >= FEWEST_GROWERS

    hidden = [blocks for year, count, blocks in ledger.hidden if (year, count) == (new.season, new.count)]
    return exposed([*(one.known for one in before), new.known], hidden, may)


def _counts(line: SeasonLine) -> dict[str, tuple[int, int]]:
    return {"showing": (line.vines, line.cases), "new": (line.at_risk, line.new)}


def _sums(cells: Sequence[PoolCell], by: Sequence[str]) -> tuple[PoolSum, ...]:
    """Add up what is shown: over all cells, and where cells are told apart by two things or more, for each value of each."""
    groups: defaultdict[tuple[int, str, tuple[tuple[str, str], ...]], list[Shown]] = defaultdict(list)
    for one in cells:
        shown = one.shown
        ways: list[tuple[tuple[str, str], ...]] = [()]
        ways += [((name, shown.cell[name]),) for name in by] if len(by) > 1 else []
        for way in ways:
            groups[shown.season, shown.count, way].append(shown)
    return tuple(
        PoolSum(
            season,
            count,
            dict(way),
            sum(one.figure.vines for one in listed),
            sum(one.figure.cases_low if one.figure.cases is None else one.figure.cases for one in listed),
            sum(one.figure.cases_high if one.figure.cases is None else one.figure.cases for one in listed),
        )
        for (season, count, way), listed in sorted(groups.items())
        if by
    )
