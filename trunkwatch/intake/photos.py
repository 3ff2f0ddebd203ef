"""Photos into a vineyard: what belongs to a record is a record too, its bytes are kept beside."""

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.photos import links_of, photo_bytes
from trunkwatch.errors import FileError, RecordError
from trunkwatch.intake.add import add_records
from trunkwatch.intake.enter import settle
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.jpeg_parts import without_metadata
from trunkwatch.spreadsheets.photo import MOST_KEPT, Photo
from trunkwatch.spreadsheets.photo_folder import keep_in_folder
from trunkwatch.store import Store, is_shared
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import family_of, now_text, record_id, roots_of, standing
from trunkwatch.vineyard.tables import frame_of, records_of

__all__ = ["NewPhoto", "PhotosAdded", "add_photos", "bring_photo_files"]

#: So many photos of a file are read at once, and so many readings may fail.
_AT_ONCE, _MOST_FAILED = 20, 4


@dataclass(frozen=True, slots=True)
class NewPhoto:
    """A photo, and what is to be written of it."""

    photo: Photo
    shows: str = ""
    caption: str = ""
    observer: str = ""
    taken_at: str = ""


@dataclass(frozen=True, slots=True)
class PhotosAdded:
    """How many photos are new and how many were there; the ids of all of them, in order."""

    new: int
    same: int
    ids: tuple[str, ...]


def add_photos(path: str | Path, record: str, photos: Sequence[NewPhoto], *, device: str = "") -> PhotosAdded:
    """Add photos to a finding or work that stands; all of them or none.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    record : str
        Id of any version of the finding or work.
    photos : sequence of NewPhoto
        As `spreadsheets.photo.read_photo` reads them.
    device : str
        Who adds them, and on what.

    Raises
    ------
    RecordError
        If there is no such record, or it was taken back.
    FileError
        If the vineyard cannot be written to.
    """
    where = Path(path)
    if where.is_dir():
        with open_vineyard(where) as store:
            entries = _entries(store, record, photos, device)
            ids = tuple(str(one["id"]) for one in entries)
        for one in photos:
            keep_in_folder(where, one.photo.data)
        added = add_records(where, "photos", entries)
        return PhotosAdded(added.new.get("photos", 0), added.same.get("photos", 0), ids)
    with Store.writing(where) as store, store.transaction():
        entries = _entries(store, record, photos, device)
        store.keep_photo_files(one.photo.data for one in photos)
        outcome = store.append({"photos": frame_of("photos", entries)})
    return PhotosAdded(
        outcome.new.get("photos", 0),
        len(entries) - outcome.new.get("photos", 0),
        tuple(str(one["id"]) for one in entries),
    )


def _entries(store: Store, record: str, photos: Sequence[NewPhoto], device: str) -> list[dict[str, Any]]:
    """Return the records of new photos; one that was taken back and comes again is a record of its own."""
    shown, root = _shown(store, record)
    now = now_text()
    entries = [
        {
            "block": shown["block"],
            "vineyard": shown["vineyard"],
            "record": root,
            "sha256": hashlib.sha256(one.photo.data).hexdigest(),
            "shows": one.shows,
            "caption": one.caption,
            "observer": one.observer,
            "taken_at": one.taken_at or one.photo.taken_at,
            "width": one.photo.width,
            "height": one.photo.height,
            "recorded_at": now,
            "device": device,
        }
        for one in photos
    ]
    named = [{**one, "id": record_id("photos", one)} for one in entries]
    once = list({one["id"]: one for one in named}.values())
    known = store.stored("photos")
    return records_of(settle("photos", frame_of("photos", once), known, now=now).frame)


def _shown(store: Store, record: str) -> tuple[dict[str, Any], str]:
    """Return the standing version of a finding or work, as it is kept, and the id of its first version."""
    for table in ("symptoms", "work"):
        family = store.family(table, [record])
        if family.empty:
            continue
        _, versions = family_of(family, record)
        stands = records_of(standing(versions))
        if not stands:
            raise RecordError(f"record {record!r} was taken back: log it again, then add the photo")
        return stands[-1], roots_of(family).get(record, record)
    raise RecordError(f"no finding or work has the id {record!r}: `trunkwatch history` shows the ids of a vine")


def bring_photo_files(to: Path, source: Path) -> list[Fault]:
    """Take the bytes of photos that one vineyard has records of, and another the bytes; what is missing is told.

    Parameters
    ----------
    to : Path
        Folder or file that the records were taken into.
    source : Path
        Folder or file that these came from.
    """
    with ExitStack() as open_ones:
        here = open_ones.enter_context(open_vineyard(to, keep_good=True))
        wanted = dict.fromkeys(link.sha256 for link in links_of(here))
        if not wanted:
            return []
        has = set(here.photo_marks()) if to.is_file() or is_shared(to) else set()
        missing = [mark for mark in wanted if mark not in has and photo_bytes(to, here, mark) is None]
    if not missing:
        return []
    without: list[str] = []
    found = _sound(source, missing, without)
    if to.is_dir():
        for data in found:
            keep_in_folder(to, data)
    elif (first := next(found, None)) is not None:
        with Store.writing(to) as store, store.transaction():
            store.keep_photo_files([first])
            store.keep_photo_files(found)
    if not without:
        return []
    many = f"{len(without)} photos have" if len(without) > 1 else "1 photo has"
    return [
        Fault(
            "note",
            f"{many} a record and no picture in {source.name}: it was not kept there, or is damaged",
            source.name,
            value=without[0][:12],
            expected="take it from the vineyard in which it was added",
            lines=0,
        )
    ]


def _sound(source: Path, marks: Sequence[str], without: list[str]) -> Iterator[bytes]:
    """Hand out the bytes of photos that are what they were, read in a process of its own; note the others.

    Those of a file are read some at a time. Where that fails, each is read by itself: a picture may be made to take all
    memory. Where that fails too often, the rest is not looked at.
    """
    parts = [list(marks[at : at + _AT_ONCE]) for at in range(0, len(marks), _AT_ONCE)]
    failed = 0
    while parts:
        some = parts.pop(0)
        if failed >= _MOST_FAILED:
            without += some
            continue
        try:
            read = apart(_read_sound, source, some)
        except FileError:
            failed += 1
            if len(some) > 1:
                parts = [[mark] for mark in some] + parts
            else:
                without += some
            continue
        without += [mark for mark, data in zip(some, read, strict=True) if data is None]
        yield from (data for data in read if data is not None)


def _read_sound(source: Path, marks: Sequence[str]) -> list[bytes | None]:
    with Store.open(source) if source.is_file() else Store.in_memory() as there:
        return [_one_sound(source, there, mark) for mark in marks]


def _one_sound(source: Path, there: Store, mark: str) -> bytes | None:
    try:
        data = photo_bytes(source, there, mark)
    except FileError:  # its pages are damaged; those of the others may be sound
        return None
    return data if data is not None and len(data) <= MOST_KEPT and _is_jpeg(data) else None


def _is_jpeg(data: bytes) -> bool:
    try:
        return bool(without_metadata(data))
    except ValueError:
        return False
