"""How long until: Kaplan-Meier with late entry, life tables, competing ends, log-rank between groups."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, ndtri

from trunkwatch.stats.result import Result

__all__ = ["CumulativeIncidence", "LogRank", "Survival", "cumulative_incidence", "kaplan_meier", "log_rank"]


@dataclass(frozen=True, slots=True)
class Survival(Result):
    """Kaplan-Meier estimate at the times of events.

    Attributes
    ----------
    times : (k,) array
        Times at which something happened.
    survival, low, high : (k,) array
        Share surviving beyond each time with log-log limits.
    at_risk, events : (k,) int array
        Vines at risk just before each time, and events at it.
    standard_error : (k,) array
        Greenwood.
    level : float
        Of the limits.
    """

    level: float
    times: NDArray[np.float64] = field(repr=False)
    survival: NDArray[np.float64] = field(repr=False)
    low: NDArray[np.float64] = field(repr=False)
    high: NDArray[np.float64] = field(repr=False)
    standard_error: NDArray[np.float64] = field(repr=False)
    at_risk: NDArray[np.int64] = field(repr=False)
    events: NDArray[np.int64] = field(repr=False)

    @property
    def hazard(self) -> NDArray[np.float64]:
        """Events over vines at risk at each time: the discrete hazard of a yearly record."""
        return np.asarray(self.events / self.at_risk)

    def __str__(self) -> str:
        if not self.times.size:
            return "no event"
        return f"{self.survival[-1]:.3f} survive beyond {self.times[-1]:g} ({int(self.events.sum())} events)"


def _checked(time: ArrayLike, entry: ArrayLike | None) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    t = np.asarray(time, dtype=float)
    e = np.full(t.shape, -np.inf) if entry is None else np.asarray(entry, dtype=float)
    if t.ndim != 1 or t.shape != e.shape:
        raise ValueError(f"time is {t.shape}, entry {e.shape}: one value a vine is needed")
    if (e >= t).any():
        raise ValueError(f"{int((e >= t).sum())} vine(s) end before they enter")
    return t, e


def _of_each(values: NDArray[np.bool_] | NDArray[np.int64], t: NDArray[np.float64], name: str) -> None:
    if values.shape != t.shape:
        raise ValueError(f"{name} is {values.shape}, time {t.shape}: one value a vine is needed")


def kaplan_meier(time: ArrayLike, event: ArrayLike, *, entry: ArrayLike | None = None, level: float = 0.95) -> Survival:
    """Estimate survival with right-censoring and late entry.

    Parameters
    ----------
    time : (vines,) array_like
        Time of the event or of the last look.
    event : (vines,) bool array_like
        Whether the event took place at that time.
    entry : (vines,) array_like, optional
        Time from which the vine was watched: a record that starts late must not count the years before.
    level : float
        Of the log-log limits.

    Returns
    -------
    Survival
        At the times of events: share that stands, limits, vines at risk and events, all (k,) arrays.

    Raises
    ------
    ValueError
        If lengths differ or a vine ends before it enters.

    References
    ----------
    .. [1] Kaplan, E.L. and Meier, P. (1958) J. Am. Stat. Assoc. 53, 457-481.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> found = tw.stats.kaplan_meier([3, 5, 5, 8, 9], [1, 1, 0, 0, 1])
    >>> found.times.tolist(), found.survival.round(3).tolist()
    ([3.0, 5.0, 9.0], [0.8, 0.6, 0.0])
    """
    t, e = _checked(time, entry)
    happened = np.asarray(event, dtype=bool)
    _of_each(happened, t, "event")
    times = np.unique(t[happened])
    at_risk = ((t[None] >= times[:, None]) & (e[None] < times[:, None])).sum(axis=1)
    events = ((t[None] == times[:, None]) & happened[None]).sum(axis=1)
    survival = np.cumprod(1 - events / at_risk)
    left = at_risk - events
    with np.errstate(divide="ignore", invalid="ignore"):
        summed = np.cumsum(np.where(left > 0, events / (at_risk * left), np.inf))
        error = np.where(survival > 0, survival * np.sqrt(summed), 0.0)
        z = float(ndtri(0.5 + level / 2))
        inner = np.where((survival > 0) & (survival < 1), np.log(-np.log(survival)), 0.0)
        half = np.where((survival > 0) & (survival < 1), z * np.sqrt(summed) / np.abs(np.log(survival)), 0.0)
    low, high = np.exp(-np.exp(inner + half)), np.exp(-np.exp(inner - half))
    whole = (survival <= 0) | (survival >= 1)
    low, high = np.where(whole, survival, low), np.where(whole, survival, high)
    return Survival(level, times, survival, low, high, error, at_risk, events)


@dataclass(frozen=True, slots=True)
class CumulativeIncidence(Result):
    """Share that has ended by each cause, where the causes compete (Aalen-Johansen).

    Attributes
    ----------
    times : (k,) float array
        Times at which a vine ended.
    share : dict of int to (k,) float array
        For each cause, the share ended by it up to each time, 0 to 1.
    """

    times: NDArray[np.float64] = field(repr=False)
    share: dict[int, NDArray[np.float64]] = field(repr=False)

    def at(self, cause: int, time: float) -> float:
        """Return the share ended by a cause by a time."""
        before = np.flatnonzero(self.times <= time)
        return float(self.share[cause][before[-1]]) if before.size and cause in self.share else 0.0


def cumulative_incidence(time: ArrayLike, cause: ArrayLike, *, entry: ArrayLike | None = None) -> CumulativeIncidence:
    """Estimate the share ended by each of several causes (disease, cold, machinery).

    A Kaplan-Meier curve that takes the other causes as censored over-states each of them.

    Parameters
    ----------
    time : (vines,) array_like
        Time of the end or of the last look.
    cause : (vines,) int array_like
        0 where it was still there, else the number of the cause.
    entry : (vines,) array_like, optional
        As in `kaplan_meier`.

    Returns
    -------
    CumulativeIncidence
        Times of ends, (k,), and for each cause the share ended by then, (k,).

    Raises
    ------
    ValueError
        As in `kaplan_meier`.

    References
    ----------
    .. [1] Aalen, O.O. and Johansen, S. (1978) Scand. J. Stat. 5, 141-150. (content from memory)

    Examples
    --------
    >>> import trunkwatch as tw
    >>> found = tw.stats.cumulative_incidence([3, 5, 5, 8, 9], [1, 2, 1, 0, 1])
    >>> found.times.tolist(), found.share[1].round(3).tolist()
    ([3.0, 5.0, 9.0], [0.2, 0.4, 0.8])
    """
    t, e = _checked(time, entry)
    why = np.asarray(cause, dtype=np.int64)
    _of_each(why, t, "cause")
    times = np.unique(t[why > 0])
    at_risk = ((t[None] >= times[:, None]) & (e[None] < times[:, None])).sum(axis=1)
    ended = {int(c): ((t[None] == times[:, None]) & (why == c)[None]).sum(axis=1) for c in np.unique(why[why > 0])}
    total = np.sum(list(ended.values()), axis=0) if ended else np.zeros(times.size)
    before = np.concatenate([[1.0], np.cumprod(1 - total / at_risk)[:-1]]) if times.size else np.empty(0)
    return CumulativeIncidence(times, {c: np.cumsum(before * n / at_risk) for c, n in ended.items()})


@dataclass(frozen=True, slots=True)
class LogRank(Result):
    """Log-rank test between groups.

    Attributes
    ----------
    statistic, pvalue : float
        Chi-square with one degree of freedom less than groups, and its p-value.
    observed : tuple of int
        Events in each group.
    expected : tuple of float
        Events that groups without a difference would have.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: float
    pvalue: float
    observed: tuple[int, ...]
    expected: tuple[float, ...]
    reason: str = ""

    def __str__(self) -> str:
        return self.reason or f"chi-square {self.statistic:.2f}, p = {self.pvalue:.3g}"


def log_rank(time: ArrayLike, event: ArrayLike, group: ArrayLike, *, entry: ArrayLike | None = None) -> LogRank:
    """Compare the survival of groups of vines.

    Parameters
    ----------
    time, event
        As in `kaplan_meier`.
    group : (vines,) array_like
        Group of each vine (cultivar, rootstock), known when it enters: a vine that is renewed later lived until then, and
        counting those years for the renewed flatters renewal.
    entry : (vines,) array_like, optional
        As in `kaplan_meier`.

    Returns
    -------
    LogRank
        Chi-square, p-value, and events seen and expected in each group.

    Raises
    ------
    ValueError
        As in `kaplan_meier`.

    References
    ----------
    .. [1] Mantel, N. (1966) Cancer Chemother. Rep. 50, 163-170. (from memory)

    Examples
    --------
    >>> import trunkwatch as tw
    >>> print(tw.stats.log_rank([3, 5, 5, 8, 9, 9], [1, 1, 1, 0, 1, 0], [0, 0, 0, 1, 1, 1]))
    chi-square 4.74, p = 0.0295
    """
    t, e = _checked(time, entry)
    happened = np.asarray(event, dtype=bool)
    _of_each(happened, t, "event")
    names, code = np.unique(np.asarray(group), return_inverse=True)
    _of_each(code, t, "group")
    if len(names) < 2:
        return LogRank(math.nan, math.nan, (int(happened.sum()),), (float(happened.sum()),), "a single group")
    if not happened.any():
        return LogRank(math.nan, math.nan, (0,) * len(names), (0.0,) * len(names), "no event")
    k = len(names)
    seen, mean, spread = np.zeros(k), np.zeros(k), np.zeros((k, k))
    for when in np.unique(t[happened]):
        risk = np.bincount(code[(t >= when) & (e < when)], minlength=k).astype(float)
        ends = np.bincount(code[(t == when) & happened], minlength=k).astype(float)
        n, d = risk.sum(), ends.sum()
        share = risk / n
        seen, mean = seen + ends, mean + d * share
        if n > 1:
            spread += d * (n - d) / (n - 1) * (np.diag(share) - np.outer(share, share))
    if np.trace(spread) <= 1e-12:
        told = (tuple(seen.astype(int).tolist()), tuple(mean.tolist()))
        return LogRank(math.nan, math.nan, *told, "no two groups were at risk together when something happened")
    away = (seen - mean)[:-1]
    value = float(away @ np.linalg.pinv(spread[:-1, :-1]) @ away)
    return LogRank(value, float(chdtrc(k - 1, value)), tuple(seen.astype(int).tolist()), tuple(mean.tolist()))
