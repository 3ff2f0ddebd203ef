"""How the people of a vineyard are spoken to, written down: spelling, units and paper."""

from collections.abc import Mapping
from pathlib import Path

from trunkwatch.block.opening import open_vineyard
from trunkwatch.errors import RecordError
from trunkwatch.intake.correct import correct_record
from trunkwatch.intake.enter import enter_records

__all__ = ["set_manner"]


def set_manner(path: str | Path, wished: Mapping[str, str], *, vineyard: str | None = None, device: str = "") -> None:
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
    owner, stands = _standing(path, vineyard)
    for name, value in wished.items():
        if name in stands:
            correct_record(path, "settings", stands[name], {"value": value}, device=device)
    lines = [
        {"name": name, "value": value, "vineyard": owner, "device": device}
        for name, value in wished.items()
        if name not in stands
    ]
    if lines:
        enter_records(path, "settings", lines)


def _standing(path: str | Path, vineyard: str | None) -> tuple[str, dict[str, str]]:
    """Return the vineyard that is meant, and the ids of its settings that stand, by name."""
    with open_vineyard(path) as store:
        names, frame = store.names(), store.frame("settings")
    if vineyard is None and len(names.vineyards) > 1:
        listed = ", ".join(repr(one) for one in names.vineyards)
        raise RecordError(
            f"{path} has {len(names.vineyards)} vineyards: --vineyard says whose settings are meant: {listed}"
        )
    owner = vineyard if vineyard is not None else names.vineyards[0] if names.vineyards else ""
    own = {owner, ""} if len(names.vineyards) <= 1 else {owner}
    lines = zip(frame["vineyard"].tolist(), frame["name"].tolist(), frame["id"].tolist(), strict=True)
    return owner, {name: one for holder, name, one in sorted(lines) if holder in own}
