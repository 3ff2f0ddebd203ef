"""Import of files: a preview first, with every faulty line; nothing is taken until it is confirmed."""

import atexit
import os
import secrets
import shutil
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from flask import Blueprint, abort, current_app, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.access.audit import Done
from trunkwatch.access.phones import phones_of
from trunkwatch.errors import FaultyNotesError, FileError, TrunkwatchError
from trunkwatch.intake.add import Added
from trunkwatch.intake.bring import bring_files, bring_sheet, bring_table
from trunkwatch.intake.bring_book import is_book
from trunkwatch.intake.preview import shown_sheets, try_files, try_sheet, try_weather, weather_map, words_of_sheet
from trunkwatch.spreadsheets.cells import DayOrder
from trunkwatch.spreadsheets.folder import table_of_file
from trunkwatch.spreadsheets.mapping import ColumnMap
from trunkwatch.spreadsheets.meanings import MEANINGS, Meaning, StatusWord
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.store import Changed, copy_whole
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.faults import Fault, folded
from trunkwatch.vineyard.tables import TABLES
from trunkwatch.web.allowed import done, visitor
from trunkwatch.web.vineyard import Vineyard

__all__ = [
    "Upload",
    "can_be_book",
    "drop_upload",
    "has_columns",
    "imports",
    "sweep_old_uploads",
    "turn_to_read",
    "waiting_upload",
]

imports = Blueprint("imports", __name__)

#: Files wait here so long for their confirmation.
WAIT_S = 3600.0
#: Uploads of a program that was killed go after a day, whatever process has its number now.
DAY_S = 86_400.0
ENDINGS = (".csv", ".xlsx", ".xlsm", ".ods", ".json", ".txt", ".gpkg")


@dataclass(slots=True)
class Upload:
    """A file that was handed in and not taken yet; of a workbook also what was said of it, and what was understood by that."""

    path: Path
    name: str
    at: float = field(default_factory=time.monotonic)
    unsigned: bool = False  # whether it is taken though no paired phone signed it
    answers: dict[str, Any] = field(default_factory=dict)  # what was said of a workbook, as a mapping file has it
    seen: Any = None  # what was understood of a workbook by these answers
    seen_at: str = ""  # the version of the vineyard that it was set against
    weather: bool = False  # whether it is a station's file
    units: str = ""  # of its figures, where its headings name none
    is_tried: bool = False  # whether it was taken into a copy, in a process with limits, and went in


_WAITING: dict[str, Upload] = {}


def _vineyard() -> Vineyard:
    found: Vineyard = current_app.extensions["vineyard"]
    return found


@imports.get("/import")
def choose() -> str:
    """Ask for a file."""
    return render_template("import.html", stage="choose", paired=bool(phones_of(_vineyard().path)))


@imports.post("/import")
def hand_in() -> BaseResponse:
    """Take a file into a folder of our own, under a name of our own."""
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        abort(400, "no file was sent.")
    name = Path(sent.filename.replace("\\", "/")).name
    if Path(name).suffix.casefold() not in ENDINGS:
        raise FileError(f"{name[:60]!r}: a file that ends in {', '.join(ENDINGS)} is needed")
    _forget()
    stem = table_of_file(Path(name).stem)
    folder = Path(tempfile.mkdtemp(prefix="upload-", dir=_room()))
    # Only what the name says of the table is kept of it: no path from a browser reaches the disk.
    path = folder / f"{stem or 'sheet'}{Path(name).suffix.casefold()}"
    sent.save(path)
    sent.close()
    token = secrets.token_urlsafe(16)
    _WAITING[token] = Upload(
        path,
        name[:80],
        unsigned=request.form.get("unsigned") == "yes",
        weather=request.form.get("weather") == "yes",
        units=request.form.get("units", "")[:40],
    )
    return redirect(url_for("imports.look", token=token))


def _forget() -> None:
    for token, one in list(_WAITING.items()):
        if time.monotonic() - one.at > WAIT_S:
            drop_upload(token)


def drop_upload(token: str) -> None:
    """Delete a file that was handed in, and all that was made of it."""
    one = _WAITING.pop(token, None)
    if one is not None:
        shutil.rmtree(one.path.parent, ignore_errors=True)


_ROOM = "trunkwatch-import-"
_room_of_ours: list[Path] = []
_opening = threading.Lock()


def _room() -> Path:
    """Return the folder of all uploads of this program; it goes when the program ends, and what others left behind goes now."""
    with _opening:
        if not _room_of_ours:
            sweep_old_uploads()
            folder = Path(tempfile.mkdtemp(prefix=f"{_ROOM}{os.getpid()}-"))
            _room_of_ours.append(folder)
            atexit.register(shutil.rmtree, folder, ignore_errors=True)
        return _room_of_ours[0]


def sweep_old_uploads() -> None:
    """Delete the uploads of programs that were killed: those of a process that is no more, or a day old."""
    for folder in Path(tempfile.gettempdir()).glob(f"{_ROOM}*"):
        try:
            old = time.time() - folder.stat().st_mtime > DAY_S
        except OSError:
            continue
        if old or not _lives(folder.name.removeprefix(_ROOM).partition("-")[0]):
            shutil.rmtree(folder, ignore_errors=True)


def _lives(pid: str) -> bool:
    if not pid.isdecimal() or os.name == "nt":  # elsewhere asking a process would end it
        return True
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


#: So many files are read at a time: whoever hands in more waits, and the desk answers all others.
READERS = 2
_reading = threading.BoundedSemaphore(READERS)


@contextmanager
def turn_to_read() -> Iterator[None]:
    """Wait for a turn to read a file, and keep it.

    Raises
    ------
    FileError
        If others are reading for longer.
    """
    if not _reading.acquire(timeout=1.0):
        raise FileError(f"{READERS} files are being read already: try again in some seconds")
    try:
        yield
    finally:
        _reading.release()


def waiting_upload(token: str) -> Upload:
    """Return a file that was handed in and waits; 404 where there is none."""
    if token not in _WAITING:
        abort(404)
    return _WAITING[token]


@imports.get("/import/<token>")
def look(token: str) -> BaseResponse | str:
    """Show what is in the file, and what would be taken of it; a workbook that is no table of ours has a page of its own."""
    one = waiting_upload(token)
    with its_own_name(one):
        book = not one.weather and is_book(one.path)
    if book:
        if not request.args or not has_columns(one):
            return redirect(url_for("books.show", token=token))
        told = {key: value[:200] for key, value in request.args.items()}
        return _ask_columns(token, one, told, None, [])
    return render_template(
        "import.html",
        stage="preview",
        token=token,
        name=one.name,
        tried=_try(one, None),
        told={},
        book=can_be_book(one),
    )


@contextmanager
def its_own_name(one: Upload) -> Iterator[None]:
    """Let what is wrong with a file call it by the name that its owner knows.

    Raises
    ------
    FileError
        What is raised inside.
    """
    try:
        yield
    except FileError as error:
        raise FileError(str(error).replace(one.path.name, one.name)) from error


def can_be_book(one: Upload) -> bool:
    """Tell whether a file can be read whole, as a workbook of a grower's own."""
    return one.path.suffix in (".csv", ".xlsx", ".xlsm", ".ods")


def has_columns(one: Upload) -> bool:
    """Tell whether the columns of a sheet can be named one by one: whether it is a kind of file that is read so."""
    return one.path.suffix in (".csv", ".xlsx")


_ORDERS: dict[str, DayOrder] = {"day": "day", "month": "month"}
#: So many lines of a sheet are shown.
SHOWN_LINES, SHOWN_COLUMNS = 12, 40


#: So many words of a status column are listed; of more, those without a meaning come first.
SHOWN_WORDS = 300


def _ask_columns(token: str, one: Upload, told: dict[str, str], tried: "_Tried | None", words: list[StatusWord]) -> str:
    """Show the sheet and ask which column is what, which line holds the headings, and what each status means."""
    with turn_to_read():
        raw = shown_sheets(one.path, SHOWN_LINES)
    names = [sheet.name for sheet, _ in raw]
    if not names:
        raise FileError(f"{one.name}: every sheet is empty")
    name = told.get("sheet", "") if told.get("sheet") in names else names[0]
    same = told.get("shown", name) == name  # another sheet has its headings elsewhere
    wanted = _heading(told) if told.get("heading") and same else _likely_heading(raw, name)
    sheet, many = _sheet(one.path, name, wanted)
    return render_template(
        "import.html",
        stage="map",
        token=token,
        name=one.name,
        sheets=names,
        sheet=name,
        heading=wanted,
        heads=list(dict.fromkeys(head for head in sheet.headings if head)),
        all_heads=sheet.headings[:SHOWN_COLUMNS],
        lines=[(number, [_shown(cell) for cell in line[:SHOWN_COLUMNS]]) for number, line in sheet.lines[:SHOWN_LINES]],
        many=many,
        looks=codes.LOOKS,
        symptoms=codes.SYMPTOMS,
        blocks=_vineyard().labels(),
        tried=tried,
        told=told,
        words=sorted(words, key=lambda word: word.meaning is not None)[:SHOWN_WORDS],
        many_words=len(words),
        meanings=MEANINGS,
        chosen=_chosen(told),
        hemispheres=codes.HEMISPHERES,
    )


def _shown(cell: object) -> str:
    if cell is None:
        return ""
    day, midnight, _ = str(cell).partition(" 00:00:00")
    return day if midnight else str(cell)


def _heading(told: dict[str, str]) -> int:
    text = told.get("heading", "")
    return min(max(int(text), 1), 1000) if text.isdecimal() and len(text) < 5 else 1


def _sheet(path: Path, name: str, heading: int) -> tuple[Worksheet, int]:
    with turn_to_read():
        found = [pair for pair in shown_sheets(path, SHOWN_LINES, heading=heading) if pair[0].name == name]
    if not found:
        raise FileError(f"{name}: nothing stands in line {heading} or below")
    return found[0]


def _likely_heading(sheets: list[tuple[Worksheet, int]], name: str) -> int:
    """Return the line that looks like headings: the one found by its words, or else the first that fills most columns."""
    found = next((sheet for sheet, _ in sheets if sheet.name == name), None)
    if found is None or found.heading_at > 1:
        return found.heading_at if found is not None else 1
    filled = {found.heading_at: sum(1 for head in found.headings if head)}
    filled |= {line: sum(cell not in (None, "") for cell in cells) for line, cells in found.lines[:8]}
    return next(line for line, many in filled.items() if many >= 0.8 * max(filled.values()))


def _map_of(form: dict[str, str]) -> ColumnMap:
    def metres(name: str) -> float | None:
        text = form.get(name, "").strip().replace(",", ".")
        return float(text) if text.replace(".", "", 1).isdecimal() else None

    return ColumnMap(
        row=form.get("row", ""),
        position=form.get("position", ""),
        block=form.get("block", ""),
        block_label=form.get("block_label", "") or "imported",
        date=form.get("date", ""),
        status=form.get("status", ""),
        case_when=form.get("case_when", "") or "1",
        missing_when=form.get("missing_when", ""),
        meanings=_chosen(form),
        hemisphere=form.get("hemisphere", "") if form.get("hemisphere") in codes.HEMISPHERES else "",
        day_order=_ORDERS.get(form.get("day_order", ""), ""),
        symptom=form.get("symptom", "other") if form.get("symptom") in codes.SYMPTOMS else "other",
        look=form.get("look", "") if form.get("look") in codes.LOOKS else "",
        day=form.get("day", ""),
        row_spacing_m=metres("row_spacing_m"),
        vine_spacing_m=metres("vine_spacing_m"),
    )


def _chosen(form: dict[str, str]) -> dict[str, Meaning]:
    """Return the meanings that were chosen word by word, for the sheet and column that they were shown for."""
    if (form.get("words_of"), form.get("words_in")) != (form.get("status"), form.get("sheet")):
        return {}
    known = {str(meaning): meaning for meaning in MEANINGS}
    return {
        form[f"word_{number}"]: known[choice]
        for name, choice in form.items()
        if name.startswith("meaning_")
        and choice in known
        and f"word_{(number := name.removeprefix('meaning_'))}" in form
    }


def _words(one: Upload, form: dict[str, str]) -> list[StatusWord]:
    """List the words of the status column; none where there is none, or the columns cannot be read."""
    if not form.get("status"):
        return []
    try:
        with turn_to_read():
            return words_of_sheet(
                one.path, _vineyard().path, _map_of(form), sheet=form.get("sheet", ""), heading=_heading(form)
            )
    except TrunkwatchError:
        return []  # trying it tells what is wrong


@dataclass(frozen=True, slots=True)
class _Tried:
    """What an import gave, on a copy of the vineyard."""

    new: dict[str, int]
    same: dict[str, int]
    changed: int
    account: list[str]
    faults: list[Fault]
    notes: list[str]
    left_out: list[Fault] = field(default_factory=list)
    merged: bool = False  # whether records known with other values were kept beside each other


def _without_meaning(words: list[StatusWord], form: dict[str, str]) -> _Tried | None:
    """Return what an import gives where words have no meaning: nothing; None where each has one."""
    unknown = [word for word in words if word.meaning is None]
    if not unknown:
        return None
    listed = ", ".join(f"{word.word[:30]} ({word.count:,})" for word in unknown[:20])
    fault = Fault(
        "fault",
        f"no meaning for {len(unknown):,} of its words: {listed}",
        column=form["status"],
        expected="a meaning for each, chosen above: a word that nobody explained makes no vine healthy",
    )
    return _Tried({}, {}, 0, [], [fault], [])


def _try(one: Upload, form: dict[str, str] | None, *, keep_good: bool = False, really: bool = False) -> _Tried:
    """Import into a copy, or really."""
    source = _vineyard().path
    target = source if really else one.path.parent / "copy.gpkg"
    if not really:
        copy_whole(source, target)
    faults: list[Fault] = []
    try:
        if one.weather:
            added, faults = _weather(one, target, keep_good=keep_good, really=really)
            account = [str(fault) for fault in faults if fault.weight == "note"]
        elif form is None:
            added, faults = _own_files(one, source, target, keep_good=keep_good, really=really)
            account = [str(fault) for fault in faults if fault.weight == "note"]
        else:
            mapped, name, line = _map_of(form), form.get("sheet", ""), _heading(form)
            if really:
                added, account = bring_sheet(
                    target, one.path, mapped, sheet=name, heading=line, keep_good=keep_good, device=visitor().who
                )
            else:
                with turn_to_read():
                    added, account = try_sheet(one.path, target, mapped, sheet=name, heading=line, keep_good=keep_good)
    except FaultyNotesError as error:
        return _Tried({}, {}, 0, [], folded(error.faults), [])
    except TrunkwatchError as error:
        if form is None:
            raise
        return _Tried({}, {}, 0, [], [Fault("fault", str(error))], [])
    finally:
        if not really:
            target.unlink(missing_ok=True)
    return _Tried(
        {t: n for t, n in added.new.items() if n},
        {t: n for t, n in added.same.items() if n},
        len(added.changed),
        account,
        [],
        [*(str(note) for note in added.notes), *_since(added.superseded)],
        folded([*(fault for fault in faults if fault.weight == "fault"), *added.left_out]),
        merged=any(change.stands is not None for change in added.changed),
    )


def _weather(one: Upload, target: Path, *, keep_good: bool, really: bool) -> tuple[Added, list[Fault]]:
    if really:
        return bring_table(target, one.path, weather_map(), units=one.units, keep_good=keep_good)
    with turn_to_read():
        return try_weather(one.path, target, one.units, keep_good=keep_good)


def _own_files(one: Upload, source: Path, target: Path, *, keep_good: bool, really: bool) -> tuple[Added, list[Fault]]:
    if really:
        if one.path.suffix == ".gpkg" and not one.is_tried:  # what it takes to check it is not known yet
            with its_own_name(one):
                _try(one, None)
        return bring_files(target, one.path, keep_good=keep_good, unsigned=one.unsigned, device=visitor().who)
    with turn_to_read():
        tried = try_files(one.path, target, keep_good=keep_good, unsigned=one.unsigned, desk=source)
    one.is_tried = True
    return tried


def _since(superseded: Sequence[Changed]) -> list[str]:
    """Say of records that are known and do not stand any more what stands now."""
    told = [
        f"{one.table}, {one.about}: corrected since; what stands now: "
        + ", ".join(f"{name} {_shown(now) or 'empty'}" for name, now in one.stands.items())
        if one.stands
        else f"{one.table}, {one.about}: taken back since, and not brought back"
        for one in superseded[:SHOWN_LINES]
    ]
    more = len(superseded) - len(told)
    return [*told, f"and {more:,} more that were corrected or taken back since"] if more else told


@imports.post("/import/<token>/leave")
def leave(token: str) -> BaseResponse:
    """Leave a file that was handed in: it is deleted."""
    drop_upload(token)
    return redirect(url_for("imports.choose"))


@imports.post("/import/<token>/try")
def try_map(token: str) -> str:
    """Show what a column map would give."""
    one = waiting_upload(token)
    form = {key: value[:200] for key, value in request.form.items()}
    words = _words(one, form)
    tried = _without_meaning(words, form) or _try(one, form)
    return _ask_columns(token, one, form, tried, words)


@imports.post("/import/<token>/take")
def take(token: str) -> str:
    """Take the file, as it was shown."""
    one = waiting_upload(token)
    form = {key: value[:200] for key, value in request.form.items()}
    mapped = bool(form.get("mapped"))
    words = _words(one, form) if mapped else []
    taken = _without_meaning(words, form) or _try(
        one, form if mapped else None, keep_good=bool(form.get("keep_good")), really=True
    )
    if taken.faults and mapped:
        return _ask_columns(token, one, form, taken, words)
    if taken.faults:
        return render_template(
            "import.html", stage="preview", token=token, name=one.name, tried=taken, told=form, book=can_be_book(one)
        )
    drop_upload(token)
    done(Done.IMPORTED, file=one.name, new=sum(taken.new.values()))
    return render_template("import.html", stage="done", name=one.name, tried=taken, tables=TABLES)
