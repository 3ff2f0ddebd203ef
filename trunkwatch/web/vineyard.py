"""What the pages ask of the vineyard file: blocks, grids, vines; read anew when the file has changed."""

import datetime as dt
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from trunkwatch.answer.five_words import seen_sentence
from trunkwatch.block import BlockSeason, load, trend_of
from trunkwatch.block.opening import block_line
from trunkwatch.block.photo_words import photo_words
from trunkwatch.block.photos import VinePhoto, photos_by_record
from trunkwatch.block.spoken_to import manner_of
from trunkwatch.block.vine_records import vine_records
from trunkwatch.errors import FileError, NothingWrittenError, RecordError, UnknownVineError
from trunkwatch.history import build_history, hemisphere_of
from trunkwatch.maps.map_data import map_data
from trunkwatch.report import report_html
from trunkwatch.report.answer_html import answer_html
from trunkwatch.report.block_page import map_html
from trunkwatch.report.deciding import Decided, decided_if_priced
from trunkwatch.report.shown_photos import photos_of_map, photos_of_report
from trunkwatch.sheets.paper import SHORT
from trunkwatch.store import Store
from trunkwatch.surveys.progress import SurveyProgress, surveys_of
from trunkwatch.surveys.to_walk import ToWalk, to_walk
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import look_of, season_of
from trunkwatch.vineyard.manner import Manner, in_force
from trunkwatch.web.correctable import correctable
from trunkwatch.web.drawn import add_written, bare, ends_of_rows, frame_for, rows_by_label
from trunkwatch.web.said import said_of, units_of

__all__ = ["Vineyard", "today"]

T = TypeVar("T")
#: Answers that are kept until the records of their block change.
KEPT = 400
#: Seconds that the list of blocks takes for reading; what takes longer is read after it is shown.
AT_ONCE_S = 0.1


@dataclass(slots=True)
class Vineyard:
    """One file, and answers that hold as long as the records of their block do not change."""

    path: Path
    awaited: bool = False  # whether its file is still to be made
    _kept: dict[tuple[str, ...], tuple[str, Any]] = field(default_factory=dict)
    _version: str = ""
    _marks: dict[str, str] = field(default_factory=dict)
    _slow: dict[str, float] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def version(self) -> str:
        """Return a mark of the file that changes with every write."""
        try:
            told = self.path.stat()
        except OSError as error:
            raise FileError(
                f"{self.path} is not there any more ({error.strerror}): is its drive or folder away?"
            ) from error
        return f"{told.st_ino:x}-{told.st_mtime_ns:x}-{told.st_size:x}"

    def is_to_be_made(self) -> bool:
        """Tell whether there has been no file yet; one that is gone again is none to be made anew."""
        if self.awaited and self.path.exists():
            self.awaited = False
        return self.awaited

    def _mark(self, block: str) -> str:
        """Return a mark of the records that an answer about a block rests on; of all records for none."""
        with self._lock:
            now = self.version()
            if now != self._version:
                self._marks, self._version = self._read_marks(), now
            return self._marks.get(block, self._marks[""])

    def _read_marks(self) -> dict[str, str]:
        with Store.open(self.path) as store:
            marks, names = store.stamps(), store.names()
        told = {"": " ".join(f"{name}{mark}" for name, mark in sorted(marks.items()))}
        for block in names.blocks:
            # Weather and costs are of a vineyard; what the block is called hangs on all blocks.
            own = sorted(
                {*block.names, *((owner, "") for owner in {"", block.vineyard, *(one for one, _ in block.names)})}
            )
            told[names.outside(block)] = " ".join(marks.get(name, "") for name in own)
        return told

    def _remember(self, key: tuple[str, ...], make: Callable[[], T]) -> T:
        mark = self._mark(key[1] if len(key) > 1 else "")
        with self._lock:
            kept = self._kept.get(key)
        if kept is not None and kept[0] == mark:
            found: T = kept[1]
            return found
        made = make()
        if self._mark(key[1] if len(key) > 1 else "") == mark:
            with self._lock:
                while len(self._kept) >= KEPT:
                    self._kept.pop(next(iter(self._kept)))
                self._kept[key] = mark, made
        return made

    def title(self) -> str:
        """Return the name of the vineyard; that of the file where it holds several, or none with a name."""

        def make() -> str:
            with Store.open(self.path) as store:
                names = store.names().vineyards
            name = names[0] if len(names) == 1 else "" if names else said_of(self.path).get("name", "")
            return name or self.path.stem

        return self._remember(("title",), make)

    def manner(self, block: str | None = None) -> Manner:
        """Return how people are spoken to: those of the vineyard of a block, or of all where they agree."""

        def make() -> Manner:
            with Store.open(self.path) as store:
                return manner_of(store, block)

        return self._remember(("manner", block or ""), make)

    def labels(self) -> tuple[str, ...]:
        """Return the labels of all blocks."""

        def make() -> tuple[str, ...]:
            with Store.open(self.path) as store:
                return store.blocks()

        return self._remember(("labels",), make)

    def season(self, block: str, season: int | None = None) -> BlockSeason:
        """Load a block up to a season.

        Raises
        ------
        TrunkwatchError
            If there is no such block or season, or nothing on record yet.
        """

        def make() -> BlockSeason:
            with Store.open(self.path) as store:
                return load(store, block, season)

        return self._remember(("season", block, str(season)), make)

    def decided(self, block: str, season: int | None = None) -> Decided | None:
        """Return the plan of a block with prices; None where none are written. It leans on all blocks."""

        def make() -> Decided | None:
            found = self.season(block, season)
            with Store.open(self.path) as store:
                return decided_if_priced(store, found)

        return self._remember(("decided", "", block, str(season)), make)

    def report(self, block: str, season: int | None = None) -> str:
        """Return the report of a block."""

        def make() -> str:
            found = self.season(block, season)
            with Store.open(self.path) as store:
                shown = photos_of_report(store, found)
            return report_html(found, permutations=999, decided=self.decided(block, season), shown=shown)

        return self._remember(("report", "", block, str(season)), make)

    def map(self, block: str, season: int | None = None) -> str:
        """Return the map page of a block."""
        found = self.season(block, season)
        with Store.open(self.path) as store:
            return map_html(found, photos=photos_of_map(store, found))

    def answer(self, block: str, behind: str) -> str:
        """Return the five lines of the answer on a block; their links lead to the page `behind`."""

        def make() -> str:
            return answer_html(self.season(block), self.decided(block), behind=behind)

        return self._remember(("answer", "", block, behind), make)

    def walk(self, block: str, season: int | None = None) -> ToWalk:
        """Return a block that is about to be walked."""

        def make() -> ToWalk:
            with Store.open(self.path) as store:
                return to_walk(store, block, season)

        return self._remember(("walk", block, str(season)), make)

    def line(self, block: str) -> dict[str, Any]:
        """Return the line of a block in the list of blocks."""

        def make() -> dict[str, Any]:
            try:
                found = self.season(block)
            except RecordError as error:
                return {"block": block, "reason": _nothing_yet(error), "planned": 0}
            trend = trend_of(found)
            last = trend.counted[-1] if trend.counted else None
            return {
                "block": block,
                "reason": "" if last else "no season counts yet",
                "season": last.season if last else None,
                "seen": seen_sentence(last) if last else "",
                "last_look": max((look.date for look in (*found.reading.looks, *found.reading.rechecks)), default=""),
                "trend": [
                    (one.season, one.rates["annual"].share if not one.rates["annual"].reason else None)
                    for one in trend.seasons
                ],
                "planned": sum(work.status == "planned" for work in found.reading.work),
            }

        began = time.perf_counter()
        line = self._remember(("line", block), make) | {"due": self.due(block)}
        if (spent := time.perf_counter() - began) > AT_ONCE_S / 20:  # it was read, and not only remembered
            self._slow[block] = spent
        return line

    def lines_at_hand(self) -> list[tuple[dict[str, Any], bool]]:
        """Return the lines of all blocks as far as they are at hand or soon read, and whether each is to be asked for again.

        Of a block that takes longer, the line of before its last change is given, or its name alone.
        """
        out, until = [], time.perf_counter() + AT_ONCE_S
        for block in self.labels():
            with self._lock:
                kept = self._kept.get(("line", block))
            # A block that was never read is taken to be as slow as the slowest.
            likely = self._slow.get(block, max(self._slow.values(), default=0.0))
            is_known = kept is not None and kept[0] == self._mark(block)
            if is_known or time.perf_counter() + likely < until:
                out.append((self.line(block), False))
            else:
                out.append(({"block": block} if kept is None else kept[1], True))
        return out

    def grid(self, block: str) -> dict[str, Any]:
        """Return all that the page draws of a block: places, conditions of every season, events."""

        def make() -> dict[str, Any]:
            walk = self.walk(block, None if self.has_seasons(block) else self.now(block)[0])
            history, records = walk.history, walk.reading.records
            frame = frame_for(history.grid, records.block)
            data = map_data(history, frame, None, history.seasons[-1]) if history.seasons else bare(history.grid, frame)
            for number, season in _one_look_only(walk, frame).items():
                data["seasons"][number] = season
            if "runs" in data:  # the drawing asks for the row of each vine
                data |= rows_by_label(data, history.grid, frame)
            add_written(data, walk.reading, history.grid)
            training = str(records.block.get("training") or "bilateral")
            return data | {
                **ends_of_rows(history.grid),
                "arms": list(codes.ARMS.get(training, codes.ARMS["bilateral"])),
                "symptoms": dict(codes.SYMPTOMS),
                "short": {short: code for code, short in SHORT.items()},
                "hemisphere": walk.reading.hemisphere,
            }

        version = self.version()
        return self._remember(("grid", block), make) | {
            "version": version,
            "unit": "ft" if in_force().is_us else units_of(self.path),
        }

    def now(self, block: str) -> tuple[int, str]:
        """Return the season and the look that today belongs to where the block lies."""

        def make() -> str:
            with Store.open(self.path) as store:
                return hemisphere_of(block_line(store, block))

        side = self._remember(("hemisphere", block), make)
        return season_of(today(), side), look_of(today(), side)

    def surveys(self, block: str, season: int | None = None) -> list[SurveyProgress]:
        """Return the surveys of a block, the one walked last first."""

        def make() -> list[SurveyProgress]:
            with Store.open(self.path) as store:
                return surveys_of(store, block, season)

        return self._remember(("surveys", block, str(season)), make)

    def open_survey(self, block: str) -> SurveyProgress | None:
        """Return the survey of this season that is being walked, if there is one."""
        return next((one for one in self.surveys(block, self.now(block)[0]) if one.is_open), None)

    def due(self, block: str) -> list[str]:
        """Say what is to be walked in this block: the survey that is open, and the look of these days."""
        season, look = self.now(block)
        there = self.surveys(block, season)
        told = [
            f"{one.name or one.look}: {one.rows_to_go} row{'s' if one.rows_to_go != 1 else ''} to go"
            for one in there
            if one.is_open
        ]
        if not any(one.look == look and one.purpose != "recheck" for one in there):
            told.append(f"the {look} inspection of {season}")
        return told

    def has_seasons(self, block: str) -> bool:
        """Tell whether anything is on record of a block."""
        try:
            self.walk(block)
        except RecordError:
            return False
        return True

    def vine(self, block: str, row: str, position: str) -> list[dict[str, Any]]:
        """Return every record of a vine, for the page; what stands, with the fields that can be corrected."""
        try:
            with Store.open(self.path) as store:
                found = vine_records(store, block, row, position)
                photos = photos_by_record(store, block, {one.id for one in found})
        except UnknownVineError:
            return []
        return [
            {
                "id": one.id,
                "table": one.table,
                "date": one.date,
                "text": one.text,
                "fate": one.fate,
                "observer": one.observer,
                "recorded_at": one.recorded_at,
                "corrects": one.corrects,
                "photos": [_told_photo(photo) for photo in photos.get(one.id, ())] if one.fate == "stands" else [],
                "fields": correctable(one.record) if one.fate == "stands" else None,
            }
            for one in found
        ]


def _told_photo(photo: VinePhoto) -> dict[str, str]:
    return {"id": photo.id, "sha256": photo.sha256, "text": photo_words(photo)}


def _nothing_yet(error: RecordError) -> str:
    """Say what stands in the way of numbers, in the words of a page: it has no command line."""
    if isinstance(error, NothingWrittenError):
        return "nothing is on record yet: record the rows scouted, and what was seen"
    return str(error)


def today() -> str:
    """Return the day on this machine."""
    return dt.datetime.now().astimezone().date().isoformat()


#: What the cases of the narrower definitions are, for a season in which only one of the looks took place.
_NARROWER = {"dieback": "dead wood only", "leaf": "leaves only"}


def _one_look_only(walk: ToWalk, frame: Any) -> dict[int, dict[str, Any]]:
    """Draw a season that does not count for all symptoms by those that its one look can tell.

    Vines that were walked this winter would else be drawn as not seen until the summer.
    """
    history = walk.history
    open_ones = [number for number, look in enumerate(history.looks) if not look.counted]
    found: dict[int, dict[str, Any]] = {}
    for name, word in _NARROWER.items() if open_ones else ():
        other = build_history(walk.reading, name)
        drawn: list[dict[str, Any]] = (
            map_data(other, frame, None, other.seasons[-1])["seasons"] if other.seasons else []
        )
        for number in open_ones:
            season = history.seasons[number]
            if number not in found and season in other.counted_seasons:
                told = drawn[other.index_of(season)]
                reason = history.looks[number].reason
                found[number] = told | {"counted": False, "line": f"{told['line']} ({word}: {reason})"}
    return found
