"""A whole vineyard, as it is kept, into a new vineyard file."""

from pathlib import Path

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.photos import marks_taken_back
from trunkwatch.errors import FileError
from trunkwatch.intake.layers import refresh_layers
from trunkwatch.intake.photos import bring_photo_files
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import TABLES

__all__ = ["write_file"]


def write_file(vineyard: str | Path, out: str | Path) -> int:
    """Write all versions of all records of a vineyard, and its photos that stand, into a new vineyard file; all of it or nothing.

    Parameters
    ----------
    vineyard : str or Path
        Folder, file or shared store.
    out : str or Path
        The new file.

    Returns
    -------
    int
        How many photos are in it.

    Raises
    ------
    FileError
        If there is a file of that name, or either cannot be read or written.
    """
    where, new = Path(vineyard), Path(out)
    if new.exists():
        raise FileError(
            f"{new} is there already: name a new file; `trunkwatch load {new} VINEYARD` adds records to one"
        )
    with open_vineyard(where) as store:
        frames = {table: store.stored(table) for table in TABLES}
        gone = marks_taken_back(store)
        marks = [] if where.is_dir() else [mark for mark in store.photo_marks() if mark not in gone]
        Store.create(new)
        try:
            with Store.writing(new) as to:
                to.put(frames)
                to.keep_photo_files(data for mark in marks if (data := store.photo_file(mark)) is not None)
                refresh_layers(to, to.names().blocks)
            if where.is_dir():
                bring_photo_files(new, where)
            with Store.open(new) as made:
                return len(made.photo_marks())
        except BaseException:
            new.unlink(missing_ok=True)  # nothing of it could be taken
            raise
