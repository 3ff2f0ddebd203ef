"""The yearly chances of a vine: what a forecast draws from and what the futures run on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Rates"]


@dataclass(frozen=True, slots=True)
class Rates:
    """Draws of the yearly chances; every array has the draws on its first axis.

    Attributes
    ----------
    first : (draws,) array
        Chance of first symptoms of a sound mature vine away from earlier cases, in a middling season such as the next.
    season_sd, again_sd : (draws,) array
        Standard deviation of the seasons (showy and quiet years) on the log-odds of first symptoms, and of showing
        again; both move the same way.
    again : (draws, 4) array
        Chance that a vine that has been a case shows again, by the seasons since it last showed: 1, 2, 3, 4 or more.
    death : (draws, 2) array
        Yearly chance of death of a sound vine and of one that has been a case and was not renewed.
    relapse : (draws, 4) array
        Yearly chance that a renewed vine shows again, by seasons since the cut: 1, 2, 3, 4 or more.
    rewritten : (draws, 4) array
        Chance that damage on record is written down at the looks of a season, by the counted seasons since it last was: 1, 2,
        3, 4 or more.
    written_sd : (draws,) array
        Standard deviation of the seasons on the log-odds of writing it down: a season's own, whatever the leaves do.
    renewal_fails : (draws,) array
        Chance that a renewed trunk gives no bearing vine and its place is empty in the end.
    replant_fails : (draws, 2) array
        Chance that a young plant dies: in its first season, and yearly in the second and third.
    near_row, near_across, near_ring : (draws,) array
        Added log-odds of first symptoms for each next vine (along the row, across the rows) and for each other vine
        within two rows and two positions that has been a case by the season before; zero where the data do not
        support it.
    """

    first: NDArray[np.float64]
    season_sd: NDArray[np.float64]
    again_sd: NDArray[np.float64]
    again: NDArray[np.float64]
    death: NDArray[np.float64]
    relapse: NDArray[np.float64]
    rewritten: NDArray[np.float64]
    written_sd: NDArray[np.float64]
    renewal_fails: NDArray[np.float64]
    replant_fails: NDArray[np.float64]
    near_row: NDArray[np.float64]
    near_across: NDArray[np.float64]
    near_ring: NDArray[np.float64]

    @property
    def near(self) -> NDArray[np.float64]:
        """The three added log-odds, (draws, 3)."""
        return np.column_stack([self.near_row, self.near_across, self.near_ring])

    @property
    def draws(self) -> int:
        """Number of draws."""
        return len(self.first)
