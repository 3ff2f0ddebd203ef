"""The photos of a vineyard: which belong to which record, and their bytes, from a file or a folder of notes."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from trunkwatch.block.opening import open_vineyard
from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.photo import MOST_KEPT, small_photo
from trunkwatch.spreadsheets.photo_folder import kept_in_folder
from trunkwatch.store import Store
from trunkwatch.vineyard.photo_links import PhotoLink, photo_links

__all__ = ["SMALL_SIDE", "SmallPhoto", "VinePhoto", "links_of", "photo_bytes", "photos_by_record", "small_photos"]

#: Pixels of the longest side of a small photo.
SMALL_SIDE = 240


@dataclass(frozen=True, slots=True)
class VinePhoto:
    """A photo as pages and commands tell it."""

    id: str
    sha256: str
    shows: str
    taken_at: str
    caption: str
    observer: str


@dataclass(frozen=True, slots=True)
class SmallPhoto:
    """A small picture of a photo, and the record that it belongs to."""

    link: PhotoLink
    data: bytes


def links_of(store: Store, block: str | None = None) -> list[PhotoLink]:
    """Return every photo that stands, of one block or of all."""
    photos = store.frame("photos", block, all_versions=True)
    if photos.empty:
        return []
    return photo_links(photos, {table: store.frame(table, block, all_versions=True) for table in ("symptoms", "work")})


def photos_by_record(store: Store, block: str, ids: Collection[str]) -> dict[str, list[VinePhoto]]:
    """Return the photos of some records, by the id of every version of these."""
    wanted = set(ids)
    found: dict[str, list[VinePhoto]] = {}
    for link in links_of(store, block):
        for name in wanted.intersection(link.versions):
            told = (str(link.photo[one]) for one in ("id", "sha256", "shows", "taken_at", "caption", "observer"))
            found.setdefault(name, []).append(VinePhoto(*told))
    return found


def photo_bytes(where: Path, store: Store, sha256: str) -> bytes | None:
    """Return the bytes of a photo; None where they are not kept in this vineyard, or are not what they were."""
    return kept_in_folder(where, sha256) if where.is_dir() else store.photo_file(sha256)


def small_photos(where: Path, links: Iterable[PhotoLink], side: int = SMALL_SIDE) -> list[SmallPhoto]:
    """Return small pictures of some photos, made in a process with limits; those that cannot be are left out."""
    wanted = {link.sha256: link for link in links}
    if not wanted:
        return []
    try:
        made: dict[str, bytes] = apart(_small, where, list(wanted), side, seconds=10 + len(wanted))
    except FileError:
        return []
    return [SmallPhoto(wanted[mark], data) for mark, data in made.items()]


def _small(where: Path, marks: list[str], side: int) -> dict[str, bytes]:
    found = {}
    with open_vineyard(where, keep_good=True) as store:
        for mark in marks:
            data = photo_bytes(where, store, mark)
            if data is None or len(data) > MOST_KEPT:
                continue
            try:
                found[mark] = small_photo(data, side)
            except FileError:
                continue
    return found
