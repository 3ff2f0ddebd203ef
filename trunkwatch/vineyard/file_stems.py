"""Labels of blocks as parts of file names: each block has a name of its own."""

import unicodedata
from collections.abc import Iterable
from hashlib import sha256

__all__ = ["file_stems"]


def file_stems(labels: Iterable[str]) -> dict[str, str]:
    """Return a part of a file name for every block: letters and digits, no slash, and no two alike on any disk.

    A block that comes later changes nothing: of labels that would make the same name the first keeps it, the others
    get a few digits made from the label. Capital and small letters are the same to some disks.

    Parameters
    ----------
    labels : iterable of str
        All blocks of the vineyard, in the order they came.
    """
    stems: dict[str, str] = {}
    taken: set[str] = set()
    for label in dict.fromkeys(labels):
        plain = "".join(letter if letter.isalnum() else "_" for letter in label) or "block"
        mark = sha256(label.encode()).hexdigest()
        tries = [plain, *(f"{plain}_{mark[:digits]}" for digits in range(4, len(mark) + 1))]
        stem = next(name for name in tries if _on_disk(name) not in taken)
        taken.add(_on_disk(stem))
        stems[label] = stem
    return stems


def _on_disk(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold()
