"""Did one of two people who look at the same vines come to judge otherwise than the other?"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from trunkwatch.stats.result import Result
from trunkwatch.stats.shares import Incidence, incidence, wilson

__all__ = ["FEWEST_EACH", "ObserverDrift", "Period", "ShareChange", "observer_drift"]

#: Cases, and vines without, of the first look that a period needs before it is compared (our own convention).
FEWEST_EACH = 10
#: Two shares are compared, so each change has limits at this level: at most 1 claim in 20 where nothing changed.
LEVEL = 0.975


@dataclass(frozen=True, slots=True)
class Period(Result):
    """Vines that the same two people looked at in a season or a month.

    Attributes
    ----------
    label : str
        The season or the month.
    both, first_only, second_only, neither : int
        Vines by the person who saw a case.
    """

    label: str
    both: int
    first_only: int
    second_only: int
    neither: int

    def __str__(self) -> str:
        return (
            f"{self.label}: both {self.both}, the first only {self.first_only}, the second only {self.second_only}, "
            f"neither {self.neither}"
        )

    @property
    def agreement(self) -> Incidence:
        """Vines of which both say the same; it hangs on how many of the vines drawn were cases."""
        return incidence(self.both + self.neither, self.both + self.first_only + self.second_only + self.neither)

    @property
    def again(self) -> Incidence:
        """Of the first one's cases, those that the second saw."""
        return incidence(self.both, self.both + self.first_only)

    @property
    def more(self) -> Incidence:
        """Of the vines on which the first saw nothing, those on which the second saw a case."""
        return incidence(self.second_only, self.second_only + self.neither)

    @property
    def enough(self) -> bool:
        """Whether there are enough vines of both kinds to compare."""
        return min(self.again.vines, self.more.vines) >= FEWEST_EACH


@dataclass(frozen=True, slots=True)
class ShareChange(Result):
    """A share now less the share before.

    Attributes
    ----------
    value, low, high : float
        The difference and its limits, between -1 and 1.
    """

    value: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{100 * self.value:+.0f} points ({100 * self.low:+.0f} to {100 * self.high:+.0f})"

    @property
    def shown(self) -> bool:
        """Whether the limits leave out no change."""
        return not self.low <= 0 <= self.high


@dataclass(frozen=True, slots=True)
class ObserverDrift(Result):
    """The latest period of two people against the earlier ones taken together.

    Attributes
    ----------
    before, now : Period or None
        None where too few vines were looked at twice.
    again, more : ShareChange or None
        Change of the two shares of `Period`.
    reason : str
        Why nothing is compared; empty where something is.
    """

    before: Period | None
    now: Period | None
    again: ShareChange | None
    more: ShareChange | None
    reason: str = ""

    def __str__(self) -> str:
        if self.again is None or self.more is None:
            return f"not compared: {self.reason}"
        return f"seen again {self.again}, seen in addition {self.more}"


def observer_drift(periods: Iterable[Period]) -> ObserverDrift:
    """Compare the latest period that has enough vines with the earlier ones.

    Parameters
    ----------
    periods : iterable of Period
        Of the same two people in the same order of looking, earliest first. Periods with fewer than `FEWEST_EACH`
        vines of one kind are left out.

    Returns
    -------
    ObserverDrift
        Changes of both shares with limits; None and a reason where periods hold too few vines.

    Notes
    -----
    Both shares are taken among vines that the first look had called alike, so they do not depend on how many cases
    were drawn. The difference of two shares has Newcombe's limits. The two people are compared with each other: which
    of them changed cannot be told, and fainter symptoms or more days between the looks change the shares as well.

    References
    ----------
    .. [1] Newcombe, R.G. (1998) Stat. Med. 17, 873-890, method 10. (content from memory)

    Examples
    --------
    >>> from trunkwatch.stats import Period, observer_drift
    >>> periods = [Period("2024", 28, 2, 1, 29), Period("2025", 18, 12, 2, 28)]
    >>> print(observer_drift(periods))
    seen again -33 points (-54 to -9), seen in addition +3 points (-14 to +21)
    """
    kept = [one for one in periods if one.enough]
    if len(kept) < 2:
        return ObserverDrift(
            None,
            None,
            None,
            None,
            f"two seasons or months with {FEWEST_EACH} cases and {FEWEST_EACH} vines without, each scouted twice by "
            "the same two people, are needed",
        )
    *earlier, now = kept
    span = earlier[0].label if len(earlier) == 1 else f"{earlier[0].label} to {earlier[-1].label}"
    before = Period(
        span,
        sum(p.both for p in earlier),
        sum(p.first_only for p in earlier),
        sum(p.second_only for p in earlier),
        sum(p.neither for p in earlier),
    )
    return ObserverDrift(before, now, _change(before.again, now.again), _change(before.more, now.more))


def _change(before: Incidence, now: Incidence) -> ShareChange:
    (low0, high0), (low1, high1) = (wilson(one.cases, one.vines, LEVEL) for one in (before, now))
    value = now.share - before.share
    return ShareChange(
        value,
        value - math.hypot(now.share - low1, high0 - before.share),
        value + math.hypot(high1 - now.share, before.share - low0),
    )
