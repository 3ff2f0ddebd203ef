"""Records made of the entries of a workbook, by the meanings of its words."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from trunkwatch.spreadsheets.book.days import is_day, middle_day
from trunkwatch.spreadsheets.book.entries import Causes
from trunkwatch.spreadsheets.book.gather import measured_of, read_meanings, side_of, word_rule
from trunkwatch.spreadsheets.book.guess import plain
from trunkwatch.spreadsheets.book.meaning import Finding, Meaning
from trunkwatch.spreadsheets.book.plan import BlockFacts, BookPlan, Cause, Entry
from trunkwatch.spreadsheets.book.trade_words import CERTAIN, MARKS, NO_MARKS, PROPOSED
from trunkwatch.spreadsheets.located import Known, word_key
from trunkwatch.vineyard.one_line import halves_of
from trunkwatch.vineyard.row_cells import MOST_POSITIONS
from trunkwatch.vineyard.tables import frame_of

__all__ = ["Look", "Made", "made_of"]

#: A survey is parted before what it covers is written in more letters than can be read.
_MOST_LETTERS = 18_000
_MOST_STRETCHES = 18_000
_TABLES = ("blocks", "rows", "surveys", "symptoms", "plants", "work")

Vine = tuple[str, str, int]


@dataclass(frozen=True, slots=True)
class Look:
    """What a look of a block gives."""

    block: str
    day: str
    key: str
    looked_at: int
    sick: int
    no_vine: int


@dataclass(frozen=True, slots=True)
class Made:
    """Tables of records, what each look gives, and what cannot be."""

    frames: Mapping[str, pd.DataFrame]
    looks: tuple[Look, ...]
    causes: tuple[Cause, ...]


@dataclass(slots=True)
class _Vine:
    """All that the workbook says of one vine on one day."""

    entries: list[tuple[Entry, Meaning]] = field(default_factory=list)
    blank: bool = False  # whether a blank cell says that it was looked at


def made_of(
    plan: BookPlan, known: Known, there: Mapping[str, str], owner: str, turned: Collection[tuple[str, str]] = ()
) -> Made:
    """Make records.

    Parameters
    ----------
    plan : BookPlan
        What was understood.
    known : Known
        Rows that are there already.
    there : mapping of str to str
        Blocks that are there already, and the hemisphere of each.
    owner : str
        Vineyard of blocks that are made.
    turned : collection of (str, str)
        Block and row of the rows that are there and numbered from the far end.
    """
    return _Maker(plan, known, there, owner, turned).made()


class _Maker:
    """Makes the records of one workbook."""

    def __init__(
        self, plan: BookPlan, known: Known, there: Mapping[str, str], owner: str, turned: Collection[tuple[str, str]]
    ) -> None:
        self.plan, self.known, self.owner, self.turned = plan, known, owner, turned
        self.causes = Causes()
        self.tables: dict[str, list[dict[str, Any]]] = {name: [] for name in _TABLES}
        self.meanings = read_meanings(plan.words)
        self.measured = measured_of(Counter((entry.context, entry.word) for entry in plan.entries if entry.word))
        self.sides = {side: choice.value for side, choice in plan.sides}
        self.new = {facts.label: facts for facts in plan.blocks}
        self.hemispheres = {**there, **{label: facts.hemisphere.value for label, facts in self.new.items()}}
        self.day_of = {day.key: day.meaning.value for day in plan.days}
        self.blank = [sheet.blank.value for sheet in plan.sheets]

    def made(self) -> Made:
        self._blocks()
        by_day = self._vines()
        looks = [self._look(block, day, observer, vines) for (block, day, observer), vines in sorted(by_day.items())]
        self._plants(by_day)
        frames = {name: frame_of(name, records) for name, records in self.tables.items() if records}
        return Made(frames, tuple(looks), self.causes.listed())

    # -- blocks ------------------------------------------------------------------------------------------------

    def _blocks(self) -> None:
        for facts in self.plan.blocks:
            record = {
                "block": facts.label,
                "vineyard": self.owner,
                "hemisphere": facts.hemisphere.value,
                "planted": facts.planted,
                "row_spacing_m": facts.row_spacing_m,
                "vine_spacing_m": facts.vine_spacing_m,
            }
            self.tables["blocks"].append(record)
            cultivars = self._cultivars(facts.label)
            orders = _row_orders(facts)
            for row, first, last in facts.rows:
                line = {
                    "block": facts.label,
                    "vineyard": self.owner,
                    "row": row,
                    "first": first,
                    "last": last,
                    "cultivar": cultivars.get(row, ""),
                }
                if row in orders:
                    line["row_order"] = orders[row]
                if row in facts.from_far_end:
                    line["numbered_from"] = "end"
                self.tables["rows"].append(line)

    def _cultivars(self, block: str) -> dict[str, str]:
        found: dict[str, set[str]] = {}
        for entry in self.plan.entries:
            if entry.cultivar and entry.block == block:
                found.setdefault(entry.row, set()).add(entry.cultivar)
        mixed = [row for row, names in found.items() if len(names) > 1]
        if mixed:
            self.causes.add(
                "vines of one row are of several cultivars",
                f"block {block}, row {mixed[0]}",
                "nothing is taken of it: write them into plants.csv",
                stops=False,
            )
        return {row: next(iter(names)) for row, names in found.items() if len(names) == 1}

    # -- vines -------------------------------------------------------------------------------------------------

    def _day(self, key: str, block: str) -> str:
        """Return the day of an entry, "" where it waits for one."""
        if is_day(key):
            return key
        value = self.day_of.get(key, "")
        if is_day(value) or not value:
            return value
        return middle_day(int(key[-4:] if " " in key else key[:4]), value, self.hemispheres.get(block, "north"))

    def _vines(self) -> dict[tuple[str, str, str], dict[Vine, _Vine]]:
        """Put the entries of each block, day and observer together by vine."""
        found: dict[tuple[str, str, str], dict[Vine, _Vine]] = {}
        keys: dict[tuple[str, str], tuple[str, str]] = {}
        named: dict[tuple[int, str, str, str], set[str]] = {}
        beside = 0
        for entry in self.plan.entries:
            if "ask" in (entry.block, entry.row):
                continue
            day = self._day(entry.day, entry.block)
            if not day:
                continue
            meaning = self._meaning(entry, keys) if entry.word else None
            if entry.word and meaning is None:
                continue
            policy = self.blank[entry.sheet]
            if policy in ("whole rows", "whole block"):
                named.setdefault((entry.sheet, entry.block, day, entry.observer), set()).add(entry.row)
            if meaning is None and policy == "not scouted":
                beside += bool(entry.note)
                continue
            vine = found.setdefault((entry.block, day, entry.observer), {}).setdefault(
                (entry.block, entry.row, entry.position), _Vine()
            )
            if meaning is None:
                vine.blank = True
            else:
                vine.entries.append((entry, meaning))
        if beside:
            self.causes.add(
                "notes stand beside blank cells",
                f"{beside:,} of them",
                "they are not taken: write a word for what was seen",
                stops=False,
            )
        self._whole(named, found)
        return found

    def _meaning(self, entry: Entry, keys: dict[tuple[str, str], tuple[str, str]]) -> Meaning | None:
        pair = (entry.context, entry.word)
        key = keys.get(pair)
        if key is None:
            context = entry.context.casefold()
            key = keys[pair] = (context, word_rule(context, word_key(entry.word), self.measured))
        return self.meanings.get(key)

    def _whole(
        self, named: Mapping[tuple[int, str, str, str], set[str]], found: dict[tuple[str, str, str], dict[Vine, _Vine]]
    ) -> None:
        """Let vines that no line names count as looked at, where the mapping says that all of a row or block was walked."""
        for (sheet, block, day, observer), rows in named.items():
            vines = found.setdefault((block, day, observer), {})
            for row, first, last in self._extent(block):
                if self.blank[sheet] == "whole block" or row in rows:
                    for position in range(first, last + 1):
                        vines.setdefault((block, row, position), _Vine()).blank = True

    def _extent(self, block: str) -> Iterable[tuple[str, int, int]]:
        if block in self.new:
            return self.new[block].rows
        return [
            (row, first, last)
            for (label, row), (first, last) in self.known.items()
            if label == block and last < MOST_POSITIONS
        ]

    # -- looks -------------------------------------------------------------------------------------------------

    def _look(self, block: str, day: str, observer: str, vines: Mapping[Vine, _Vine]) -> Look:
        seen: dict[str, list[int]] = {}
        sick = gone = 0
        keys: Counter[str] = Counter()
        first: Entry | None = None
        for (_, row, position), vine in vines.items():
            kinds = {meaning.kind for _, meaning in vine.entries}
            self._at_odds(vine, kinds, day)
            if kinds & {"sound", "symptom", "replanted"} or (vine.blank and not kinds & {"no vine", "not scouted"}):
                seen.setdefault(row, []).append(position)
            sick += "symptom" in kinds
            gone += "no vine" in kinds
            self._findings(vine, day)
            for entry, _ in vine.entries:
                first = first or entry
                keys[entry.day] += 1
        self._survey(block, day, observer, seen, keys, first)
        return Look(block, day, ", ".join(sorted(keys)), sum(map(len, seen.values())), sick, gone)

    def _survey(
        self,
        block: str,
        day: str,
        observer: str,
        seen: Mapping[str, list[int]],
        keys: Counter[str],
        first: Entry | None,
    ) -> None:
        bare = [key for key in keys if not is_day(key)]
        note = f"the day is not written, only {', '.join(bare)}" if bare else ""
        where = (
            f"{self.plan.sheets[first.sheet].file} survey {day}:{first.line}"
            if first
            else f"{self.plan.file} survey {day}"
        )
        for part in _covered(seen):
            self.tables["surveys"].append(
                {
                    "survey": f"workbook {day}",
                    "block": block,
                    "date": day,
                    "covered": part,
                    "purpose": "all",
                    "observer": observer,
                    "note": note,
                    "read_from": where,
                }
            )

    def _at_odds(self, vine: _Vine, kinds: AbstractSet[str], day: str) -> None:
        """Name words that cannot both be true of one vine on one day."""
        if len(vine.entries) < 2:
            return
        problem = ""
        if "no vine" in kinds and len(kinds - {"not scouted", "work"}) > 1:
            problem = "a vine is missing by one cell and there by another, on one day"
        by_column: dict[tuple[int, str], set[str]] = {}
        for entry, meaning in vine.entries:
            by_column.setdefault((entry.sheet, entry.column), set()).add(meaning.kind)
        if any(
            {"sound", "symptom"} <= own or {"sound", "not scouted"} <= own or {"symptom", "not scouted"} <= own
            for own in by_column.values()
        ):
            problem = problem or "a vine stands twice on one day, once sound and once not"
        twice = Counter((entry.sheet, entry.column) for entry, _ in vine.entries)
        if max(twice.values()) > 1 and not problem:
            again = vine.entries[-1][0]
            example = f"{self.plan.sheets[again.sheet].name} line {again.line}: row {again.row}, position {again.position}, {day}"
            self.causes.add(
                "a vine has several lines on one day", example, "nothing, if each says something of it", stops=False
            )
        by_sheet = [
            {meaning.kind for entry, meaning in vine.entries if entry.sheet == sheet}
            for sheet in {entry.sheet for entry, _ in vine.entries}
        ]
        sick = any("symptom" in own for own in by_sheet)
        if sick and any("sound" in own and "symptom" not in own for own in by_sheet):
            problem = problem or "a vine is sound on one sheet and sick on another, on one day"
        if problem:
            entry = vine.entries[-1][0]
            words = " and ".join(repr(text) for text in dict.fromkeys(one.word for one, _ in vine.entries))
            example = f"{self.plan.sheets[entry.sheet].name} line {entry.line}: block {entry.block}, row {entry.row}, position {entry.position}, {day}: {words}"
            self.causes.add(problem, example, "leave the one that is true")

    def _findings(self, vine: _Vine, day: str) -> None:
        """Write down what was seen on a vine, each symptom of each part once, with the words of all cells that say it."""
        own: dict[tuple[str, str, str], dict[str, Any]] = {}
        beside: list[tuple[Entry, str, str]] = []
        for entry, meaning in vine.entries:
            text = _note(entry)
            if meaning.kind == "symptom":
                for finding in meaning.findings:
                    record = self._finding(entry, finding, day, text)
                    key = (record["symptom"], record["trunk"], record["arm"])
                    if key in own:
                        texts = own[key]["note"].split("; ")
                        own[key]["note"] = "; ".join(dict.fromkeys([*texts, *text.split("; ")]))
                    else:
                        own[key] = record
            elif meaning.kind == "work":
                self.tables["work"].append(
                    {
                        **_at(entry),
                        "date": day,
                        "kind": meaning.work,
                        "status": "done",
                        "observer": entry.observer,
                        "note": text,
                        **self._from(entry),
                    }
                )
            elif meaning.kind in ("sound", "not scouted") and (entry.note or _says_more(entry.word)):
                beside.append((entry, "none" if meaning.kind == "sound" else "not_seen", text))
        if beside and not own:
            entry, code, _ = beside[0]
            code = "none" if any(kind == "none" for _, kind, _ in beside) else code
            kinds = {meaning.kind for _, meaning in vine.entries}
            if code == "none" or not kinds & {"sound", "replanted", "no vine"}:
                texts = "; ".join(dict.fromkeys(text for _, _, text in beside))
                self.tables["symptoms"].append(
                    {
                        **_at(entry),
                        "date": day,
                        "symptom": code,
                        "observer": entry.observer,
                        "note": texts,
                        **self._from(entry),
                    }
                )
        elif beside and own:
            record = next(iter(own.values()))
            record["note"] = "; ".join(dict.fromkeys([record["note"], *(text for _, _, text in beside)]))
        self.tables["symptoms"] += own.values()

    def _finding(self, entry: Entry, finding: Finding, day: str, text: str) -> dict[str, Any]:
        arm = finding.arm
        if not arm and finding.symptom not in ("dead", "dead_trunk", "collapse"):
            arm = self._arm(entry, finding.side)
        if entry.arm and not arm:
            text = f"{text}; {entry.arm}"
        trunk = finding.trunk or (entry.trunk if entry.trunk.isdecimal() and finding.symptom != "dead" else "")
        return {
            **_at(entry),
            "date": day,
            "symptom": finding.symptom,
            "trunk": trunk,
            "arm": arm,
            "percent": finding.percent,
            "observer": entry.observer,
            "note": text,
            **self._from(entry),
        }

    def _arm(self, entry: Entry, side: str) -> str:
        """Return the arm that is on a side, or that the column of arms names; in a row numbered from the far end the other."""
        own = entry.arm.casefold().strip(" .")
        if not side and own in ("start", "end"):
            return own
        arm = self.sides.get(side or side_of(entry.arm), "")
        if arm not in ("start", "end"):
            return ""
        facts = self.new.get(entry.block)
        turned = entry.row in facts.from_far_end if facts else (entry.block, entry.row) in self.turned
        return {"start": "end", "end": "start"}[arm] if turned else arm

    def _from(self, entry: Entry) -> dict[str, str]:
        return {"read_from": f"{self.plan.sheets[entry.sheet].file}:{entry.line}"}

    # -- plants ------------------------------------------------------------------------------------------------

    def _plants(self, by_day: Mapping[tuple[str, str, str], Mapping[Vine, _Vine]]) -> None:
        """Write down vines that went and came, from the first day to the last."""
        past: dict[Vine, list[tuple[str, str]]] = {}
        for (_, day, _), vines in sorted(by_day.items(), key=lambda pair: pair[0][1]):
            for place, vine in vines.items():
                for entry, meaning in vine.entries:
                    earlier = past.setdefault(place, [])
                    if meaning.kind in ("no vine", "replanted"):
                        self.tables["plants"] += self._changed(entry, meaning, day, earlier)
                    if meaning.kind not in ("not scouted", "work"):
                        earlier.append((meaning.kind, self._planted(entry, meaning, day)))

    @staticmethod
    def _planted(entry: Entry, meaning: Meaning, day: str) -> str:
        return meaning.year or (day if is_day(entry.day) else day[:4]) if meaning.kind == "replanted" else ""

    def _changed(
        self, entry: Entry, meaning: Meaning, day: str, earlier: Sequence[tuple[str, str]]
    ) -> list[dict[str, Any]]:
        at = {**_at(entry), "observer": entry.observer, "note": _note(entry), **self._from(entry)}
        last = earlier[-1] if earlier else ("", "")
        if meaning.kind == "no vine":
            if last[0] == "no vine":
                return []
            return [{**at, "removed": day}]
        planted = self._planted(entry, meaning, day)
        before = [year for kind, year in earlier if kind == "replanted"]
        if (last[0] == "replanted" and not meaning.year) or (before and before[-1][:4] == planted[:4]):
            return []
        replaced = bool(before) and last[0] != "no vine"
        gone = [{**at, "removed": planted, "reason": "replaced"}] if replaced else []
        return [*gone, {**at, "planted": planted}]


def _row_orders(facts: BlockFacts) -> dict[str, int]:
    """Return the place of each row, where it matters: rows between them have theirs, or parts of a row share one."""
    labels = [row for row, _, _ in facts.rows]
    halves = {label: number for number, own in halves_of(labels).items() for label in own}
    together = facts.divided_rows.value == "one line"
    if facts.rows_between.value == "there":
        if together or not halves:
            return {row: int(halves.get(row, row)) for row in labels}
        # Side by side each part takes a place, and pushes the rows behind it on by one.
        extra = 0
        orders: dict[str, int] = {}
        for before, row in zip(["", *labels], labels, strict=False):
            extra += row in halves and halves.get(before) == halves[row]
            orders[row] = int(halves.get(row, row)) + extra
        return orders
    if not together:
        return {}
    places = {number: place for place, number in enumerate(dict.fromkeys(halves.get(row, row) for row in labels), 1)}
    return {row: places[halves.get(row, row)] for row in labels}


def _at(entry: Entry) -> dict[str, str]:
    return {"block": entry.block, "row": entry.row, "position": str(entry.position)}


def _note(entry: Entry) -> str:
    """Return the words as they are written: with the heading where that says what they mean, and with the note beside."""
    word = f"{entry.context}: {entry.word}" if entry.context else entry.word
    return f"{word}; {entry.note}" if entry.note else word


def _says_more(word: str) -> bool:
    """Tell whether a word says more than that a vine is sound or was not looked at."""
    bare = plain(word)
    known = bare in CERTAIN or bare in PROPOSED or bare in MARKS or bare in NO_MARKS
    return not known and sum(map(str.isalpha, bare)) >= 3


def _covered(seen: Mapping[str, list[int]]) -> list[str]:
    """Write what a look covers, in as many pieces as can be read."""
    parts: list[str] = []
    for row, positions in seen.items():
        runs: list[list[int]] = []
        for position in sorted(set(positions)):
            if runs and position == runs[-1][1] + 1:
                runs[-1][1] = position
            else:
                runs.append([position, position])
        parts += [f"{row}:{low}..{high}" if high > low else f"{row}:{low}" for low, high in runs]
    pieces: list[list[str]] = []
    letters = 0
    for part in parts:
        if not pieces or letters + len(part) + 2 > _MOST_LETTERS or len(pieces[-1]) >= _MOST_STRETCHES:
            pieces.append([])
            letters = 0
        pieces[-1].append(part)
        letters += len(part) + 2
    return ["; ".join(piece) for piece in pieces]
