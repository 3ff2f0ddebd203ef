"""How far the station of a weather file lies from the blocks that it is loaded for."""

import math
from collections.abc import Sequence

from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.manner import kilometers

__all__ = ["FAR_KM", "distance_km", "distance_note"]

_EARTH_KM = 6371.0
#: From here on a station says little of a block's nights (our own convention).
FAR_KM = 50.0


def distance_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return the way between two points, given as latitude and longitude, over the earth as a ball."""
    lat_1, lon_1, lat_2, lon_2 = map(math.radians, (*one, *other))
    half = math.sin((lat_2 - lat_1) / 2) ** 2 + math.cos(lat_1) * math.cos(lat_2) * math.sin((lon_2 - lon_1) / 2) ** 2
    return 2 * _EARTH_KM * math.asin(min(1.0, math.sqrt(half)))


def distance_note(
    station: tuple[float, float] | None, blocks: Sequence[tuple[str, float, float]], file: str
) -> list[Fault]:
    """Say how far a station lies from the nearest block and from the farthest; nothing where a place is not known.

    Parameters
    ----------
    station : (float, float) or None
        Latitude and longitude.
    blocks : sequence of (str, float, float)
        Label, latitude and longitude of each block that has them.
    file : str
    """
    if station is None or not blocks:
        return []
    ways = sorted((distance_km(station, (latitude, longitude)), label) for label, latitude, longitude in blocks)
    (near, first), (far, last) = ways[0], ways[-1]
    told = f"the station lies {kilometers(near)} from block {first}"
    told += f", {kilometers(far)} from block {last}" if last != first and far - near >= 1 else ""
    if far <= FAR_KM:
        return [Fault("note", told, file)]
    return [
        Fault(
            "note",
            f"{told}: too far for the nights of a block",
            file,
            value=kilometers(far),
            expected=f"a station within {kilometers(FAR_KM)}, at a like height",
        )
    ]
