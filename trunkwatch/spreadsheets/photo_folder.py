"""The bytes of photos beside a folder of notes: photos/SHA256.jpg, named by photos.csv."""

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.one_step import replace_file

__all__ = ["FOLDER", "drop_from_folder", "keep_in_folder", "kept_in_folder", "marks_in_folder"]

FOLDER = "photos"
_MARK = re.compile(r"[0-9a-f]{64}")


def _file(folder: Path, sha256: str) -> Path | None:
    return folder / FOLDER / f"{sha256}.jpg" if _MARK.fullmatch(sha256) else None


def kept_in_folder(folder: Path, sha256: str) -> bytes | None:
    """Return the bytes of a photo; None where they are not there, or are not what they were."""
    path = _file(folder, sha256)
    try:
        data = path.read_bytes() if path is not None else None
    except OSError:
        return None
    return data if data is not None and hashlib.sha256(data).hexdigest() == sha256 else None


def keep_in_folder(folder: Path, data: bytes) -> bool:
    """Keep the bytes of a photo; tell whether they are new.

    Raises
    ------
    FileError
        If the folder cannot be written to.
    """
    mark = hashlib.sha256(data).hexdigest()
    if kept_in_folder(folder, mark) is not None:
        return False
    try:
        (folder / FOLDER).mkdir(exist_ok=True)
    except OSError as error:
        raise FileError(
            f"{folder / FOLDER} cannot be made: {error.strerror}; change the permissions of {folder}"
        ) from error
    replace_file(folder / FOLDER / f"{mark}.jpg", data)
    return True


def marks_in_folder(folder: Path) -> Iterator[str]:
    """Return the marks by which the photos of a folder are named, whatever is in them."""
    place = folder / FOLDER
    for path in sorted(place.glob("*.jpg")) if place.is_dir() else ():
        if _MARK.fullmatch(path.stem):
            yield path.stem


def drop_from_folder(folder: Path, sha256: str) -> int:
    """Take the bytes of a photo out of a folder; return how many there were.

    Raises
    ------
    FileError
        If the folder cannot be written to.
    """
    path = _file(folder, sha256)
    if path is None or not path.is_file():
        return 0
    try:
        many = path.stat().st_size
        path.unlink()
    except OSError as error:
        raise FileError(
            f"{path} cannot be removed: {error.strerror}; change the permissions of {path.parent}"
        ) from error
    return many
