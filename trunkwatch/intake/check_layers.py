"""Whether the map layers of a file show what its records say: another program may have moved or deleted what they hold."""

import struct
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from trunkwatch.block.opening import load
from trunkwatch.errors import FileError, RecordError
from trunkwatch.intake.layers import layers_of
from trunkwatch.store import Store
from trunkwatch.store.geopackage import on_layers, read_conditions, read_layer
from trunkwatch.store.whole import told_errors
from trunkwatch.vineyard.faults import Fault

__all__ = ["check_layers"]

#: Degrees by which a point may be off: a centimeter. Other machines calculate the last digits otherwise.
_OFF = 1e-7
_ENVELOPES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
_WGS84 = 4326
_WAY = "`trunkwatch check FILE --accept` draws the layers anew"
#: Of each layer the columns that name a feature.
_NAMED_BY = {"map_blocks": (), "map_rows": ("row",), "map_vines": ("row", "position")}


def check_layers(store: Store, path: Path) -> list[Fault]:
    """Compare the layers of each block with its records; those that wait to be drawn anew are left out.

    Parameters
    ----------
    store : Store
        Open to read.
    path : Path
        The file, for the messages.
    """
    try:
        with told_errors(path):
            return _differences(store, path.name)
    except FileError as error:
        return [Fault("fault", f"layers cannot be read: {error.__cause__ or error}", path.name, expected=_WAY, lines=0)]


def _differences(store: Store, file: str) -> list[Fault]:
    names = store.names()
    waits = {names.outside(block) for name in store.undrawn() if (block := names.of_name(*name)) is not None}
    out = []
    for name in names.labels:
        if name not in waits:
            out += [
                Fault("fault", f"layers of block {name}: {what}", file, expected=_WAY, lines=0)
                for what in _of_block(store, name)
            ]
    strange = [name for name in on_layers(store.connection) if name not in names.labels]
    if not waits:
        out += [
            Fault("fault", "layers show a block that is not on record", file, 0, "block", str(name), _WAY, lines=0)
            for name in strange
        ]
    return out


def _of_block(store: Store, name: str) -> list[str]:
    layers: dict[str, list[dict[Any, Any]]] = {}
    told: list[tuple[str, int, int, str, int]] = []
    try:
        season = load(store, name)
    except RecordError:
        season = None
    if season is not None and season.placed:
        drawn, told, _ = layers_of(season)
        layers = {layer: frame.to_dict("records") for layer, frame in drawn.items()}
    out = []
    for layer, named_by in _NAMED_BY.items():
        out += _features(layer, named_by, read_layer(store.connection, layer, name), layers.get(layer, []))
    shown = read_conditions(store.connection, name)
    if sorted(map(str, shown)) != sorted(map(str, told)):
        different = len({*map(str, shown)} ^ {*map(str, told)})
        out.append(f"map_condition differs from the records in {different or abs(len(shown) - len(told))} places")
    return out


def _features(
    layer: str, named_by: Sequence[str], there: Sequence[Mapping[Any, Any]], should: Sequence[Mapping[Any, Any]]
) -> list[str]:
    """Say what differs between the features of a layer that are there and that should be."""
    kept = {_key(named_by, one): one for one in there}
    wanted = {_key(named_by, one): one for one in should}
    gone, strange = [key for key in wanted if key not in kept], [key for key in kept if key not in wanted]
    both = [key for key in wanted if key in kept]
    places = _geometries([kept[key]["geom"] for key in both])
    right = np.array([shapely.from_wkb(wanted[key]["geom"]) for key in both], dtype=object)
    same: Any = (
        shapely.equals_exact(shapely.normalize(places), shapely.normalize(right), tolerance=_OFF) if both else []
    )
    moved = [key for key, is_same in zip(both, same, strict=True) if not is_same]
    other = [
        key for key in both if any(kept[key].get(name) != cell for name, cell in wanted[key].items() if name != "geom")
    ]
    told = (
        (gone, "missing"),
        (strange, "on no record"),
        (moved, "at another place, or of a geometry that cannot be read"),
        (other, "with other values"),
    )
    out = [f"{layer}: {len(keys)} {what}{_first(named_by, keys)}" for keys, what in told if keys]
    if len(kept) < len(there):
        out.append(f"{layer}: {len(there) - len(kept)} doubled")
    return out


def _key(named_by: Sequence[str], one: Mapping[Any, Any]) -> tuple[str, ...]:
    return tuple(str(one.get(name)) for name in named_by)


def _first(named_by: Sequence[str], keys: Sequence[tuple[str, ...]]) -> str:
    if not named_by:
        return ""
    shown = ", ".join(f"{name} {cell}" for name, cell in zip(named_by, keys[0], strict=True))
    return f" ({'first ' if len(keys) > 1 else ''}{shown})"


def _geometries(blobs: Sequence[Any]) -> Any:
    """Return geometries as shapely has them; None for one that is broken, or that is not in degrees (WGS 84)."""
    return shapely.from_wkb(np.array([_wkb(blob) for blob in blobs], dtype=object), on_invalid="ignore")


def _wkb(blob: Any) -> bytes | None:
    if not isinstance(blob, bytes) or len(blob) < 8 or blob[:2] != b"GP":
        return None
    flags = blob[3]
    (srs,) = struct.unpack("<i" if flags & 1 else ">i", blob[4:8])
    envelope = _ENVELOPES.get(flags >> 1 & 7)
    return None if envelope is None or srs != _WGS84 else blob[8 + envelope :]
