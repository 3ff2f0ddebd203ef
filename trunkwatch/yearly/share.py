"""Of a hundred new cases, how many are explained by the cases beside them, with limits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.stats.chance import Rng
from trunkwatch.yearly.exposure import Exposure
from trunkwatch.yearly.fit import HazardFit
from trunkwatch.yearly.steps import Intervals

__all__ = ["ShareBeside", "shares_beside"]


@dataclass(frozen=True, slots=True)
class ShareBeside:
    """Share of new cases that cases beside them explain, given season, strata and smooth ground.

    Attributes
    ----------
    name : str
        "all", or the group of exposures.
    share, low, high : float
        Posterior median, and limits of the level asked for; nan where there was no new case.
    events : int
        New cases.
    """

    name: str
    share: float
    low: float
    high: float
    events: int

    def __str__(self) -> str:
        if not self.events:
            return f"{self.name}: no new case"
        return f"{self.name}: of 100 new cases about {100 * self.share:.0f} ({100 * self.low:.0f} to {100 * self.high:.0f})"


def shares_beside(
    fit: HazardFit,
    intervals: Intervals,
    exposure: Exposure,
    *,
    groups: Mapping[str, Sequence[str]] | None = None,
    against: Mapping[str, str] | None = None,
    level: float = 0.9,
    draws: int = 2000,
    rng: Rng = None,
) -> tuple[ShareBeside, ...]:
    """Sum, over the new cases, one less the hazard without the exposures over the hazard with them.

    Parameters
    ----------
    fit : HazardFit
        Fitted with these exposures, or with those of them that were not held at zero.
    intervals : Intervals
        Intervals whose new cases are to be explained.
    exposure : Exposure
        Their exposures.
    groups : dict of sequence of str, optional
        Names of exposures to take together, by group. "all" is always added. Each exposure by itself where left out.
    against : dict of str, optional
        For each exposure the one whose effect is taken off first, as {"along before": "along later"} with exposures of
        `before_and_later`; exposures that are only taken off explain nothing themselves.
    level : float
        Of the limits.
    draws : int
        Draws from the posterior. An effect that is drawn below zero counts as zero: old cases protect nobody.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    tuple of ShareBeside
        "all" first. Groups need not add up to it: a new case between two old ones is explained by either.

    Raises
    ------
    ValueError
        If the level is not between 0 and 1, the lines differ in number, or a name is not known.

    Notes
    -----
    The share says what goes with cases on record beside a vine, over and above smooth ground; foci and zones smaller than the
    surface can follow make such a share without any spread. Taken `against` neighbors noted only later, the share is what
    spread has at least: vines that were to pass it on stand among those noted only later.
    `trunkwatch.yearly.spread` tells whether spread is at work.
    """
    if not 0 < level < 1:
        raise ValueError(f"level is {level}: a number between 0 and 1 is needed")
    if len(exposure.values) != len(intervals):
        raise ValueError(
            f"exposures of {len(exposure.values)} lines for {len(intervals)} intervals: as many are needed"
        )
    named = dict(groups) if groups is not None else {name: (name,) for name in exposure.names}
    for name in (*(name for names in named.values() for name in names), *(against or {}), *(against or {}).values()):
        exposure.column(name)
    fitted = fit.recipe.exposures
    start = next((block.start for block in fit.blocks if block.name == "exposure"), 0)
    gamma = _beyond(fit.draws(draws, rng)[:, start : start + len(fitted)], fitted, dict(against or {}))
    seen = np.column_stack([np.empty((len(intervals), 0)), *(exposure.column(name) for name in fitted)])[
        intervals.event
    ]
    kinds, many = np.unique(seen, axis=0, return_counts=True)
    out = []
    for name, members in {"all": fitted, **named}.items():
        use = np.array([one in members for one in fitted], dtype=bool)
        explained = -np.expm1(-(gamma[:, use] @ kinds[:, use].T)) @ many
        events = int(many.sum())
        if not events:
            out.append(ShareBeside(name, float("nan"), float("nan"), float("nan"), 0))
            continue
        low, middle, high = np.quantile(explained / events, [(1 - level) / 2, 0.5, (1 + level) / 2]).tolist()
        out.append(ShareBeside(name, middle, low, high, events))
    return tuple(out)


def _beyond(gamma: NDArray[np.float64], names: tuple[str, ...], against: dict[str, str]) -> NDArray[np.float64]:
    """Take off what each exposure is set against; below zero counts as zero."""
    out = gamma.copy()
    for name, other in against.items():
        if name in names and other in names:
            out[:, names.index(name)] -= gamma[:, names.index(other)]
    out[:, [name in against.values() for name in names]] = 0.0
    return np.asarray(np.maximum(out, 0.0))
