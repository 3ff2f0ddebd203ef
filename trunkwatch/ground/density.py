"""How many positions stand on a hectare and on an acre."""

__all__ = ["vines_per_acre", "vines_per_hectare"]

#: The international acre in square metres: 43,560 square feet of 0.3048 m.
ACRE_M2 = 43_560 * 0.3048**2


def vines_per_hectare(row_spacing_m: float, vine_spacing_m: float) -> float:
    """Return positions per hectare.

    Raises
    ------
    ValueError
        If a spacing is not above 0.
    """
    if not (row_spacing_m > 0 and vine_spacing_m > 0):
        raise ValueError(f"spacings are {row_spacing_m} m and {vine_spacing_m} m: both must be above 0")
    return 10_000 / (row_spacing_m * vine_spacing_m)


def vines_per_acre(row_spacing_m: float, vine_spacing_m: float) -> float:
    """Return positions per international acre; spacings in metres, as everywhere.

    Raises
    ------
    ValueError
        If a spacing is not above 0.
    """
    return vines_per_hectare(row_spacing_m, vine_spacing_m) * ACRE_M2 / 10_000
