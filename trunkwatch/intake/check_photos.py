"""Checks of photos: every one has its picture, as it was, and a record that it belongs to."""

from pathlib import Path

from trunkwatch.block.photos import links_of, photo_bytes
from trunkwatch.errors import FileError
from trunkwatch.intake.clear_photos import pictures_taken_back
from trunkwatch.store import Store
from trunkwatch.vineyard.faults import Fault

__all__ = ["check_photos"]


def check_photos(where: Path, store: Store) -> list[Fault]:
    """Find photos whose bytes are gone or damaged, those that belong to no record, and pictures that nothing shows any more."""
    links = links_of(store)
    out = []
    if gone := pictures_taken_back(where, store):
        what = "1 picture is of a photo" if len(gone) == 1 else f"{len(gone)} pictures are of photos"
        out.append(
            Fault(
                "note",
                f"{what} taken back, by itself or with its record: shown nowhere, and kept",
                where.name,
                0,
                "sha256",
                gone[0][:12],
                "`trunkwatch check VINEYARD --clear-photos` removes what is kept so, for good",
                lines=0,
            )
        )
    seen: dict[str, bool] = {}
    for link in links:
        about = f"photo {link.sha256[:12]} of block {link.photo['block']}"
        if not link.table:
            out.append(
                Fault(
                    "note",
                    f"{about} belongs to no finding or work that is kept here",
                    where.name,
                    0,
                    "record",
                    str(link.photo["record"]),
                    "the record that it was taken for; or take the photo back with `trunkwatch log FILE correct --table photos --void`",
                    lines=0,
                )
            )
        if link.sha256 not in seen:
            seen[link.sha256] = _can_be_read(where, store, link.sha256)
        if not seen[link.sha256]:
            out.append(
                Fault(
                    "fault",
                    f"{about}: its picture is gone or damaged, its record stands",
                    where.name,
                    0,
                    "sha256",
                    link.sha256,
                    "take it from a copy of the vineyard (`trunkwatch load FILE COPY`), or take the photo back with `trunkwatch log FILE correct --table photos --void`",
                    lines=0,
                )
            )
    return out


def _can_be_read(where: Path, store: Store, sha256: str) -> bool:
    try:
        return photo_bytes(where, store, sha256) is not None
    except FileError:  # its pages are damaged; those of the others may be sound
        return False
