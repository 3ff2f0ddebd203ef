"""How the people of a vineyard are spoken to, written down: spelling, units and paper."""

from collections.abc import Mapping
from pathlib import Path

from trunkwatch.block.opening import open_vineyard
from trunkwatch.errors import RecordError
from trunkwatch.intake.add import Added
from trunkwatch.intake.enter import enter_records

__all__ = ["set_manner"]


def set_manner(path: str | Path, wished: Mapping[str, str], *, vineyard: str | None = None, device: str = "") -> Added:
    """Write settings of a vineyard; one that was written before is corrected.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    wished : mapping
        Value by name, as in `trunkwatch.vineyard.manner.SETTINGS`.
    vineyard : str, optional
        Which one, where the file holds several.
    device : str
        What it is written down on.

    Raises
    ------
    RecordError
        If there are several vineyards and none is named.
    FaultyNotesError
        If a value is none of its name.
    """
    owner = _owner(path, vineyard)
    lines = [{"name": name, "value": value, "vineyard": owner, "device": device} for name, value in wished.items()]
    return enter_records(path, "settings", lines, take_changes=True)


def _owner(path: str | Path, vineyard: str | None) -> str:
    with open_vineyard(path) as store:
        names = store.names()
    if vineyard is not None:
        return vineyard
    if len(names.vineyards) > 1:
        listed = ", ".join(repr(one) for one in names.vineyards)
        raise RecordError(
            f"{path} has {len(names.vineyards)} vineyards: --vineyard says whose settings are meant: {listed}"
        )
    return names.vineyards[0] if names.vineyards else ""
