"""How far the cold of a winter came to what the buds stood, beside the other winters: the sign of cold where a model of hardiness serves.

A bare minimum says nothing of when it came and to what vine; the margin to the buds of that night does. Where buds were counted that
winter the count speaks in its place.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from trunkwatch.pattern.winters import FEWEST_WINTERS, far_below

__all__ = ["AS_CLOSE_C", "CountedBuds", "MarginNight", "SeasonMargin", "margin_night"]

#: A winter within this of another came as close; and shares of buds dead, by the limits of a count, from which a winter is called a
#: killing one and below which it is not (our own conventions).
AS_CLOSE_C = 1.0
KILLING, HARMLESS = 0.2, 0.15


@dataclass(frozen=True, slots=True)
class CountedBuds:
    """Primary buds counted in a winter, and the limits of the share dead."""

    dead: int
    buds: int
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class SeasonMargin:
    """The night of a winter that came closest to the buds.

    Attributes
    ----------
    season : int
    day : str
    lowest_c, margin_c : float
        The night, and by how much it lay above what kills half of the buds as they stood then: below 0 it was colder.
    killed : (float, float)
        Limits of the share of primary buds killed by the model.
    counted : CountedBuds or None
    """

    season: int
    day: str
    lowest_c: float
    margin_c: float
    killed: tuple[float, float]
    counted: CountedBuds | None = None


@dataclass(frozen=True, slots=True)
class MarginNight:
    """A winter's margin beside those of the other winters that the model serves.

    Attributes
    ----------
    own : SeasonMargin
    cultivar : str
    winters, rank : int
        Winters with a margin, this one among them; 1 came closest.
    far_out : bool
        Closer than the swing between the others would bring once in a hundred winters.
    as_close, quiet : int
        Other winters that came as close, and those of them whose season brought no jump in new cases.
    """

    own: SeasonMargin
    cultivar: str
    winters: int
    rank: int
    far_out: bool
    as_close: int
    quiet: int

    @property
    def enough(self) -> bool:
        """Whether a count, or winters enough, say what is ordinary."""
        counted = self.own.counted
        if counted is not None and (counted.low >= KILLING or counted.high < HARMLESS):
            return True
        return self.winters >= FEWEST_WINTERS

    @property
    def unusual(self) -> bool:
        """Whether buds were killed: by a count, or by a night that came closest of all and reached what kills half of them."""
        counted = self.own.counted
        if counted is not None and counted.high < HARMLESS:
            return False
        killing = counted is not None and counted.low >= KILLING
        closest = self.winters >= FEWEST_WINTERS and self.rank == 1 and self.own.margin_c <= 0
        return (killing or closest) and not self.quiet

    @property
    def spared(self) -> bool:
        """Whether the buds were spared beyond doubt: by a count, or because hardly any died even at the hopeless end of the model's error.

        A winter that is neither unusual nor this says nothing: of winters that killed, more than half were not told apart
        (`tests/calibration/winter_margins.py`).
        """
        counted = self.own.counted
        if counted is not None and (counted.high < HARMLESS or counted.low >= KILLING):
            return counted.high < HARMLESS
        return self.own.killed[1] < HARMLESS


def margin_night(
    margins: Mapping[int, SeasonMargin], cultivar: str, season: int, jumped: Callable[[int], bool | None]
) -> MarginNight | None:
    """Set the margin of a season beside the others; None where it has none.

    Parameters
    ----------
    margins : mapping of season to SeasonMargin
    cultivar : str
    season : int
    jumped : callable
        Whether the new cases of a season jumped; None where they are not known.
    """
    own = margins.get(season)
    if own is None:
        return None
    others = [one for year, one in margins.items() if year != season]
    values = np.array([one.margin_c for one in others])
    close = [one for one in others if one.margin_c <= own.margin_c + AS_CLOSE_C]
    quiet = sum(jumped(one.season) is False for one in close)
    return MarginNight(
        own,
        cultivar,
        len(others) + 1,
        1 + int((values < own.margin_c).sum()),
        far_below(own.margin_c, values),
        len(close),
        quiet,
    )
