"""Pictures of photos that were taken back, or whose records were: out of the vineyard."""

from pathlib import Path

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.photos import marks_taken_back
from trunkwatch.spreadsheets.photo_folder import drop_from_folder, marks_in_folder
from trunkwatch.store import Store, refuse_shared

__all__ = ["clear_photos", "pictures_taken_back"]


def pictures_taken_back(where: Path, store: Store) -> list[str]:
    """Return the marks of pictures that are kept though nothing that stands has them; those that no record speaks of stay out."""
    gone = marks_taken_back(store)
    if not gone:
        return []
    return [mark for mark in (marks_in_folder(where) if where.is_dir() else store.photo_marks()) if mark in gone]


def clear_photos(where: Path) -> tuple[int, int]:
    """Take the pictures of photos that were taken back, or whose records were, out of a vineyard; their records stay.

    Parameters
    ----------
    where : Path
        Folder or file.

    Returns
    -------
    many : int
        How many pictures went.
    size : int
        Their bytes.

    Raises
    ------
    FileError
        If the vineyard cannot be written to, or is a shared store.
    """
    refuse_shared(where, "--clear-photos", "a picture stays in it, and is shown nowhere")
    with open_vineyard(where) as store:
        gone = pictures_taken_back(where, store)
        if where.is_dir():
            return len(gone), sum(drop_from_folder(where, mark) for mark in gone)
    if not gone:
        return 0, 0
    with Store.writing(where) as store:
        gone = pictures_taken_back(where, store)  # somebody may have written since
        size = store.photo_bytes_of(gone)
        store.drop_photo_files(gone)
    return len(gone), size
