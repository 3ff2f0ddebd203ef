"""The lists of the winter for a crew, one a kind of work: cut, replant, train, look again, clean up, leave the shoot, mark."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from trunkwatch.answer.five_words import LONG_AGO
from trunkwatch.answer.tasks import look_again_at
from trunkwatch.block import BlockSeason
from trunkwatch.block.vine_now import VineNow, last_evidence, vines_now
from trunkwatch.history import BlockReading
from trunkwatch.history.places import Cell
from trunkwatch.history.written import Work
from trunkwatch.sheets.crew_words import part_in, says_in, seen_in, shoot_in, words_in
from trunkwatch.sheets.field_words import LANGUAGES
from trunkwatch.sheets.paper import Size, _checked, render
from trunkwatch.surveys.to_walk import ToWalk, last_noted
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import coming_winter
from trunkwatch.vineyard.manner import centimeters
from trunkwatch.vineyard.records import by_plan
from trunkwatch.vineyard.tables import number_or_none

__all__ = [
    "LISTS",
    "LOOK_AGAIN",
    "CrewLine",
    "Standing",
    "crew_lines",
    "crew_lists",
    "last_season",
    "not_done_lines",
    "standing_of",
    "without_what_stands_beside",
]

#: Which kinds of work stand on which list, in the order in which they are printed.
LISTS: Mapping[str, frozenset[str]] = {
    "Cut": frozenset({"renew_arm", "renew_trunk", "cut_old_trunk", "remove", "regraft", "curettage", "protect_wound"}),
    "Replant": frozenset({"replant"}),
    "Train first": frozenset({"train_first"}),
    "Finish training": frozenset({"train"}),
    "Look again": frozenset({"watch"}),  # where the records disagree; all else to watch is marked
    "Clean up": frozenset({"clear_mummies"}),
    "Leave this shoot": frozenset({"keep_shoot"}),
    "Mark": frozenset({"mark", "watch", "lab_sample"}),
}
LOOK_AGAIN = "Look again"
#: Work beside which it matters what shoot there is.
_OF_A_SHOOT = frozenset({"renew_arm", "renew_trunk", "train_first", "keep_shoot"})
#: Work of which the plan's reason is what was seen and the shoot.
_READ_OFF = _OF_A_SHOOT | {"cut_old_trunk"}
#: Work whose wood is carried out.
_LEAVES_WOOD = frozenset({"renew_arm", "renew_trunk", "cut_old_trunk", "remove"})


@dataclass(frozen=True, slots=True)
class Standing:
    """What stands on the vines of a block, and which of them are to be looked at again.

    Attributes
    ----------
    vines : mapping of cell to VineNow
    again : frozenset of cell
        As everywhere: `trunkwatch.answer.tasks.look_again_at`.
    """

    vines: Mapping[Cell, VineNow] = field(default_factory=dict)
    again: frozenset[Cell] = frozenset()


def standing_of(season: BlockSeason | None) -> Standing:
    """Return what stands after a season; nothing where there is none on record."""
    return Standing() if season is None else Standing(vines_now(season), look_again_at(season))


def last_season(walk: ToWalk, today: str | None = None) -> int:
    """Return the season up to which planned work is on the lists: that to be walked, or the winter after the last one on record.

    What a plan puts off to later winters comes on the lists of those.
    """
    noted = last_noted(walk.reading)
    if noted is not None and walk.season <= noted:
        return coming_winter(walk.season, walk.reading.hemisphere, today)
    return walk.season


@dataclass(frozen=True, slots=True)
class CrewLine:
    """One piece of work on a list; `seen` is the day on which what calls for it was last seen, empty where nothing was.

    `stands` says what was seen, `shoot` which shoot there is, `work` is the record: None for a second look that nobody planned.
    """

    id: str
    row: str
    position: str
    bay: str
    part: str
    what: str
    cut: str
    note: str
    done: bool
    seen: str
    stands: str
    shoot: str
    work: Work | None


def crew_lines(
    reading: BlockReading,
    *,
    done_since: str = "",
    through: int | None = None,
    standing: Standing | None = None,
    language: str = "en",
) -> dict[str, list[CrewLine]]:
    """Sort planned and done work into the lists, in walking order.

    Work that was planned twice on the same part of a vine stands once, as it was planned for the later day; and not as
    planned where it was done since, or in the same season.

    Parameters
    ----------
    reading : BlockReading
        The block's records.
    done_since : str
        First day from which done work is listed.
    through : int, optional
        Last season of which planned work is listed; all where left out.
    standing : Standing, optional
        What stands on the vines: with it every vine on which the records disagree is on the list "Look again".
    language : {"en", "es"}
        Of the words.
    """
    planned: dict[_Piece, Work] = {}
    last_done: dict[_Piece, Work] = {}
    for work in reading.work:  # in order of date
        if work.done:
            last_done[_piece(work)] = work
        elif work.status == "planned" and (through is None or work.season <= through):
            planned[_piece(work)] = max(planned.get(_piece(work), work), work, key=lambda one: (one.date, one.id))
    listed = [work for piece, work in planned.items() if not _is_done(work, last_done.get(piece))]
    listed += [work for work in reading.work if work.done and work.date >= done_since]
    writer = _Writer(reading, standing or Standing(), language)
    again = writer.standing.again
    lines = {
        name: [(work.cell, writer.line(work)) for work in listed if work.kind in kinds and _is_for(name, work, again)]
        for name, kinds in LISTS.items()
    }
    there = {
        cell
        for cell, line in lines[LOOK_AGAIN]
        if line.work is not None and (not line.done or (through is not None and line.work.season >= through))
    }
    lines[LOOK_AGAIN] += [(cell, writer.second_look(cell)) for cell in again - there]
    return {name: [line for _, line in sorted(found, key=lambda pair: pair[0])] for name, found in lines.items()}


def not_done_lines(
    reading: BlockReading, *, since: str = "", standing: Standing | None = None, language: str = "en"
) -> list[tuple[CrewLine, str]]:
    """List planned work that people at the vine did not do, each with why, in walking order.

    Parameters
    ----------
    reading : BlockReading
        The block's records.
    since : str
        First day from which it is listed.
    standing, language
        As in `crew_lines`.
    """
    writer = _Writer(reading, standing or Standing(), language)
    dropped = [work for work in reading.work if work.not_done and work.status == "dropped" and work.date >= since]
    return [
        (writer.line(work), codes.NOT_DONE.get(work.not_done, work.not_done))
        for work in sorted(dropped, key=lambda work: work.cell)
    ]


def _is_for(name: str, work: Work, again: frozenset[Cell]) -> bool:
    """Tell whether work of a kind that two lists have is for this one."""
    return work.kind != "watch" or (name == LOOK_AGAIN) == (work.cell in again)


#: Cell, kind, trunk (0 for not said) and arm.
_Piece = tuple[tuple[int, int], str, int, str]


def _piece(work: Work) -> _Piece:
    return work.cell, work.kind, work.trunk, work.arm


def _is_done(planned: Work, done: Work | None) -> bool:
    """Tell whether planned work was done: later, or before its day in the same season."""
    return done is not None and (done.date >= planned.date or done.season == planned.season)


class _Writer:
    """Writes the lines of one block in one language."""

    def __init__(self, reading: BlockReading, standing: Standing, language: str) -> None:
        self.reading, self.standing, self.language = reading, standing, language
        self.words = words_in(language)
        self.bearing = number_or_none(reading.records.block.get("row_bearing_deg"))

    def line(self, work: Work) -> CrewLine:
        row, position, bay = self._named(work.cell)
        part = part_in(self.words, work.trunk, work.arm, self.bearing, language=self.language)
        now = self.standing.vines.get(work.cell)
        seen = last_evidence(self.reading, work.cell, work.date)
        stands = self._stands(work.cell)
        if work.kind in LISTS["Cut"] and work.cell in self.standing.again:
            stands = "; ".join(filter(None, [stands, self.words["look_first"]]))
        elif work.kind in LISTS["Cut"] and seen and int(seen[:4]) < work.season - LONG_AGO:
            stands = "; ".join(filter(None, [stands, self.words["long_ago"].format(year=seen[:4])]))
        # What a plan writes of its reasons is English; what was seen and the shoot stand in columns of their own.
        own = self.language == "en" or not by_plan(work.device)
        return CrewLine(
            work.id,
            row,
            position,
            bay,
            part,
            self.words[f"code.{work.kind}"],
            "" if work.cut_height_cm is None else centimeters(work.cut_height_cm),
            work.note if own else "",
            work.done,
            seen,
            stands,
            shoot_in(self.words, now) if work.kind in _OF_A_SHOOT else "",
            work,
        )

    def second_look(self, cell: Cell) -> CrewLine:
        row, position, bay = self._named(cell)
        now = self.standing.vines.get(cell)
        return CrewLine(
            "",
            row,
            position,
            bay,
            "",
            self.words["look_again"],
            "",
            "",
            False,
            now.last_seen if now is not None else "",
            self._stands(cell),
            "",
            None,
        )

    def _stands(self, cell: Cell) -> str:
        now = self.standing.vines.get(cell)
        return "" if now is None else seen_in(self.words, now, self.bearing, language=self.language)

    def _named(self, cell: Cell) -> tuple[str, str, str]:
        row, position = self.reading.grid.label(*cell)
        bay, vine = self.reading.grid.bay_of(row, position)
        return row, str(position), f"{bay}, {vine}" if bay else ""


def crew_lists(
    reading: BlockReading,
    season: int,
    *,
    size: Size = "A4",
    language: str = "en",
    through: int | None = None,
    standing: Standing | None = None,
) -> str:
    """Write the lists for printing, a page each at least; empty lists are left out.

    Parameters
    ----------
    reading : BlockReading
        The block's records.
    season : int
        Of the work, for the heading.
    size : {"A4", "Letter"}
        Paper.
    language, through, standing
        As in `crew_lines`.

    Raises
    ------
    ValueError
        If there is no such paper, or no such language.
    """
    _checked(size)
    words = words_in(language)
    lines = crew_lines(reading, through=through, standing=standing, language=language)
    open_lines = {
        name: [without_what_stands_beside(line) for line in found if not line.done] for name, found in lines.items()
    }
    told = [(name, _said(name, language, words, open_lines), found) for name, found in open_lines.items() if found]
    return render(
        "crew_list.html",
        block=reading.grid.block,
        season=season,
        size=size,
        lists=told,
        words=words,
        language=language,
        checked=LANGUAGES[language][1],
    )


def without_what_stands_beside(line: CrewLine) -> CrewLine:
    """Leave the note to the crew where it only says what the plan read off the columns beside it."""
    work = line.work
    says_twice = work is not None and by_plan(work.device) and work.kind in _READ_OFF and (line.stands or line.shoot)
    return replace(line, note="") if says_twice else line


def _said(name: str, language: str, words: Mapping[str, str], lines: Mapping[str, list[CrewLine]]) -> list[str]:
    """Return what stands at the head of a list."""
    told = says_in(name, language)
    if name == "Clean up":
        rows: dict[str, list[str]] = {}
        for line in lines["Cut"]:
            if line.work is not None and line.work.kind in _LEAVES_WOOD:
                rows.setdefault(line.row, []).append(line.position)
        if rows:
            where = "; ".join(
                f"{words['row_n'].format(n=row)}: {', '.join(dict.fromkeys(vines))}" for row, vines in rows.items()
            )
            told.append(words["wood_of"].format(where=where))
    return told
