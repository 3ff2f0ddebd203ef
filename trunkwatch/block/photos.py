"""The photos of a vineyard: which belong to which record, and their bytes, from a file or a folder of notes."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.photo import MOST_KEPT, small_photo
from trunkwatch.spreadsheets.photo_folder import kept_in_folder
from trunkwatch.store import Store
from trunkwatch.vineyard.photo_links import PhotoLink, photo_links

__all__ = [
    "SMALL_SIDE", "PlacedPhoto", "VinePhoto", "links_of", "marks_taken_back", "photo_bytes", "photos_by_record", "placed_photos",
    "small_photos",
]  # fmt: skip

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

    @classmethod
    def of(cls, link: PhotoLink) -> "VinePhoto":
        """Return what is told of a photo."""
        return cls(*(str(link.photo[name]) for name in ("id", "sha256", "shows", "taken_at", "caption", "observer")))


@dataclass(frozen=True, slots=True)
class PlacedPhoto:
    """A photo and where its record stands today; `record` is the id of the version that stands."""

    link: PhotoLink
    record: str
    block: str
    row: str
    position: str
    date: str


def links_of(store: Store, block: str | None = None) -> list[PhotoLink]:
    """Return every photo that stands with its record, of one block or of all."""
    photos = store.frame("photos", block, all_versions=True)
    if photos.empty:
        return []
    return photo_links(photos, {table: store.frame(table, block, all_versions=True) for table in ("symptoms", "work")})


def marks_taken_back(store: Store) -> set[str]:
    """Return the marks of pictures all of whose photos were taken back, or their records were."""
    photos = store.stored("photos")
    return set(photos["sha256"].tolist()) - {link.sha256 for link in links_of(store)} if len(photos) else set()


def photos_by_record(store: Store, block: str, ids: Collection[str]) -> dict[str, list[VinePhoto]]:
    """Return the photos of some records, by the id of every version of these."""
    wanted = set(ids)
    found: dict[str, list[VinePhoto]] = {}
    for link in links_of(store, block):
        for name in wanted.intersection(link.versions):
            found.setdefault(name, []).append(VinePhoto.of(link))
    return found


def placed_photos(store: Store, block: str | None = None) -> list[PlacedPhoto]:
    """Return the photos of records that stand, with block, row, position and day of these."""
    links = links_of(store, block)
    if not links:
        return []
    names = store.names()
    found: dict[str, tuple[str, ...]] = {}
    for table in ("symptoms", "work"):
        stands = names.outwards(table, store.frame(table, block))
        columns = (stands[name].tolist() for name in ("id", "block", "row", "position", "date"))
        found |= {cells[0]: cells for cells in zip(*columns, strict=True)}
    return [
        PlacedPhoto(link, *found[version])
        for link in links
        if (version := next((one for one in link.versions if one in found), None)) is not None
    ]


def photo_bytes(where: Path, store: Store, sha256: str) -> bytes | None:
    """Return the bytes of a photo; None where they are not kept in this vineyard, or are not what they were."""
    return kept_in_folder(where, sha256) if where.is_dir() else store.photo_file(sha256)


def small_photos(store: Store, links: Iterable[PhotoLink], side: int = SMALL_SIDE) -> dict[str, bytes]:
    """Return small pictures by the marks of photos, made in a process with limits; those that cannot be are left out."""
    wanted = list(dict.fromkeys(link.sha256 for link in links))
    where = store.folder or store.path
    if not wanted or where is None:
        return {}
    try:
        return apart(_small, where, wanted, side, seconds=10 + len(wanted))
    except FileError:
        return {}


def _small(where: Path, marks: list[str], side: int) -> dict[str, bytes]:
    found = {}
    with Store.in_memory() if where.is_dir() else Store.open(where) as store:
        for mark in marks:
            data = photo_bytes(where, store, mark)
            if data is None or len(data) > MOST_KEPT:
                continue
            try:
                found[mark] = small_photo(data, side)
            except FileError:
                continue
    return found
