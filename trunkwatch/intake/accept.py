"""Taking a file as another program has left it, once nothing in it is at fault any more."""

from pathlib import Path

from trunkwatch.errors import FaultyNotesError
from trunkwatch.intake.check_file import check_file, with_path
from trunkwatch.intake.check_layers import check_layers
from trunkwatch.intake.layers import refresh_layers
from trunkwatch.store import Store
from trunkwatch.vineyard.faults import Fault

__all__ = ["accept_file"]


def accept_file(path: Path) -> list[Fault]:
    """Take the records of a file as they are: seal them, make again what is missing, draw the layers anew.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    list of Fault
        What was settled.

    Raises
    ------
    FaultyNotesError
        If anything in it must be mended first; nothing was changed.
    FileError
        If it cannot be read or written.
    """
    found = check_file(path)
    must = [fault for fault in found.faults if fault.weight == "fault"]
    if must:
        raise FaultyNotesError(must)
    settled = list(found.settled)
    if not any(fault.problem.startswith("layers") for fault in settled):
        with Store.open(path) as store:
            settled += with_path(check_layers(store, path), path)
    with Store.writing(path) as store:
        store.accept()
        refresh_layers(store, store.names().blocks)
    return settled
