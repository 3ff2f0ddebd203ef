"""Parts of a vine as people point at them: by compass where the row's bearing is known, else by vine 1."""

__all__ = ["arm_name", "arm_pieces", "part_name"]

_POINTS = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")
_PLACES = {"upper": "upper ", "lower": "lower ", "near": "near-side ", "far": "far-side "}


def arm_name(arm: str, bearing_deg: float | None) -> str:
    """Name an arm.

    Parameters
    ----------
    arm : str
        Its code, such as "end" or "upper_start"; empty where none was named.
    bearing_deg : float or None
        Bearing in which positions grow; None where it is not known.

    Returns
    -------
    str
        "north arm", "arm toward vine 1", "upper arm away from vine 1", "head"; "arm" where none was named.
    """
    if not arm:
        return "arm"
    if arm == "head":
        return "head"
    place, side, point = arm_pieces(arm, bearing_deg)
    where = _PLACES.get(place, f"{place.replace('_', ' ')} " if place else "")
    if point is None:
        return f"{where}arm {'away from' if side == 'end' else 'toward'} vine 1"
    return f"{where}{_POINTS[point]} arm"


def arm_pieces(arm: str, bearing_deg: float | None) -> tuple[str, str, int | None]:
    """Take the code of an arm that is not the head apart: its wire or curtain, its side, and where that points.

    Returns
    -------
    place, side : str
        Such as "upper" and "end"; the place is empty where there is one only.
    point : int or None
        Of the compass: 0 north, 1 northeast and so on; None where the bearing is not known.
    """
    place, _, side = arm.rpartition("_")
    if bearing_deg is None:
        return place, side, None
    turned = bearing_deg if side == "end" else bearing_deg + 180
    return place, side, round(turned / 45) % 8


def part_name(trunk: int, arm: str, bearing_deg: float | None) -> str:
    """Name trunk and arm; empty where neither was named."""
    parts = [f"trunk {trunk}"] if trunk else []
    if arm:
        parts.append(arm_name(arm, bearing_deg))
    return ", ".join(parts)
