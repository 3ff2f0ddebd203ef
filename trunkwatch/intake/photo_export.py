"""Photos out of a vineyard as files: named by block, row, position and day, or all of them beside its folder of notes."""

import re
from pathlib import Path

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.photos import PlacedPhoto, links_of, photo_bytes, placed_photos
from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.jpeg_parts import without_metadata
from trunkwatch.spreadsheets.one_step import replace_file
from trunkwatch.spreadsheets.photo_folder import keep_in_folder
from trunkwatch.vineyard.photo_links import PhotoLink

__all__ = ["export_photos", "photos_beside"]

_STRANGE = re.compile(r"[^\w.-]+")


def export_photos(
    where: Path, out: Path, block: str | None = None, *, keep_place: bool = False
) -> tuple[list[Path], int]:
    """Write photos as files: BLOCK_row_ROW_POSITION_DAY.jpg, with -2, -3 where several have one name.

    Parameters
    ----------
    where : Path
        Folder or file.
    out : Path
        Folder; made if it is not there.
    block : str, optional
        Only those of this block.
    keep_place : bool
        Leave in the files what tells the place, where it was kept.

    Returns
    -------
    written : list of Path
        The files.
    missing : int
        How many photos have no picture.

    Raises
    ------
    FileError
        If the folder cannot be made or written to, or has a file of such a name with something else in it.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"{out} cannot be made: {error.strerror}; name another folder") from error
    written: list[Path] = []
    missing = 0
    taken: dict[str, int] = {}
    with open_vineyard(where) as store:
        links = links_of(store, block)
        placed = {one.link.photo["id"]: one for one in placed_photos(store, block)} if links else {}
        for link in links:
            data = photo_bytes(where, store, link.sha256)
            if data is None:
                missing += 1
                continue
            name = _name(link, placed.get(link.photo["id"]))
            taken[name] = again = taken.get(name, 0) + 1
            path = out / (f"{name}.jpg" if again == 1 else f"{name}-{again}.jpg")
            told = data if keep_place else without_metadata(data)
            if path.exists() and path.read_bytes() != told:
                raise FileError(f"{path} is there already with another picture: name a new folder")
            replace_file(path, told)
            written.append(path)
    return written, missing


def photos_beside(where: Path, out: Path) -> int:
    """Write the bytes of all photos that stand beside the records of a folder that was exported, as they are; return how many."""
    many = 0
    with open_vineyard(where) as store:
        for mark in dict.fromkeys(link.sha256 for link in links_of(store)):
            data = photo_bytes(where, store, mark)
            many += data is not None and keep_in_folder(out, data)
    return many


def _name(link: PhotoLink, placed: PlacedPhoto | None) -> str:
    if placed is None:  # the record is not kept here
        parts = [str(link.photo["block"]), link.sha256[:12]]
    else:
        where = [f"row_{placed.row}"] if placed.row else []
        parts = [placed.block, *where, placed.position, placed.date]
    return _STRANGE.sub("-", "_".join(part for part in parts if part)).strip(".-") or link.sha256[:12]
