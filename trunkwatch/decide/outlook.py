"""The forecast of one block: next season, the back-test beside it, and how much the priors matter."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason, load
from trunkwatch.errors import RecordError
from trunkwatch.forecast.back_test import BackTest, back_test
from trunkwatch.forecast.estimate import Estimates, draw, estimate
from trunkwatch.forecast.next_season import Band, NextSeason, next_season
from trunkwatch.forecast.vine_years import SeasonStep, before_season, steps_of
from trunkwatch.history import BlockHistory
from trunkwatch.store import Store

__all__ = ["Outlook", "VineyardSteps", "outlook", "outlook_details", "outlook_sentences", "steps_of_vineyard"]

DRAWS = 4000


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is expected of the season after the last one.

    Attributes
    ----------
    season : int
        The season foretold.
    forecast : NextSeason
        Counts with limits, and every vine's chance.
    half, double : NextSeason
        The same with priors of half and of double spread.
    estimates : Estimates
        Chances learnt.
    tested : BackTest
        How good forecasts of earlier seasons would have been.
    steps : list of SeasonStep
        The seasons that it was learnt from.
    """

    block: str
    season: int
    forecast: NextSeason
    half: NextSeason
    double: NextSeason
    estimates: Estimates
    tested: BackTest
    steps: list[SeasonStep]
    seed: int


class VineyardSteps:
    """The seasons of a vineyard's blocks, each block read once however many lean on it."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._read: dict[tuple[str, str], list[SeasonStep]] = {}

    def others(self, block: str, definition: str) -> list[list[SeasonStep]]:
        """Return the seasons of all other blocks that count under the same definition."""
        listed = [self._of(label, definition) for label in self._store.blocks() if label != block]
        return [steps for steps in listed if steps]

    def _of(self, label: str, definition: str) -> list[SeasonStep]:
        key = label, definition
        if key not in self._read:
            try:
                self._read[key] = steps_of(load(self._store, label, definition=definition).history)
            except RecordError:
                self._read[key] = []
        return self._read[key]


def steps_of_vineyard(store: Store, block: str, definition: str) -> list[list[SeasonStep]]:
    """Return the seasons of all other blocks of a vineyard that count under the same definition."""
    return VineyardSteps(store).others(block, definition)


def outlook(season: BlockSeason, others: list[list[SeasonStep]], *, seed: int = 1) -> Outlook:
    """Forecast the season after the last one of a block.

    Parameters
    ----------
    season : BlockSeason
        The block up to its last season.
    others : list of lists of SeasonStep
        Of the vineyard's other blocks, which a short record leans on.
    seed : int
        Of all draws.

    Raises
    ------
    RecordError
        If fewer than two seasons count: there is nothing to learn from.
    """
    history = season.history
    steps = steps_of(history, season.season)
    if not steps:
        raise RecordError(
            f"block {history.block!r} has {len(history.compared_seasons)} counted season(s): a forecast needs two, to see what followed on what"
        )
    earlier = [[one for one in listed if one.season <= season.season] for listed in others]
    found = {
        weight: estimate(steps, earlier, prior_weight=weight, ahead=season.season + 1) for weight in (1.0, 4.0, 0.25)
    }
    told = {weight: _ahead(history, one, seed) for weight, one in found.items()}
    return Outlook(
        history.block, season.season + 1, told[1.0], told[4.0], told[0.25], found[1.0],
        back_test(steps, earlier, seed=seed), steps, seed,
    )  # fmt: skip


def _ahead(history: BlockHistory, found: Estimates, seed: int) -> NextSeason:
    rng = np.random.Generator(np.random.SFC64([seed, 60]))
    return next_season(before_season(history, len(history.seasons)), draw(found, DRAWS, rng), rng)


def _band(one: Band) -> str:
    return f"{one.middle} (nine times in ten {one.low90} to {one.high90})"


def outlook_sentences(found: Outlook) -> tuple[str, ...]:
    """Say it for a grower: what to expect, and how far such forecasts held before."""
    one, tested = found.forecast, found.tested
    told = [
        (
            f"If {found.season} is a season like the others and nothing is cut, of {one.vines} vines about {_band(one.seen)} will be seen "
            f"with symptoms, about {_band(one.new)} of them for the first time.{_carried(one)}"
        ),
        _trend(found),
        f"Vines with earlier cases beside them {_ring(found)}come next more often than others; the forecast uses it. That holds for foci from the planting stock "
        "too: it is no proof of spread."
        if found.estimates.near.kept
        else "Having an earlier case beside it does not tell which vine comes next, as far as this record shows; the forecast does not use it.",
    ]
    if tested.reason:
        return (*told, f"How good such forecasts are here cannot be tested yet: {tested.reason}.")
    inside, many = sum(season.inside90 for season in tested.seasons), len(tested.seasons)
    told.append(
        f"Tested on the record: of {many} season{'s' if many != 1 else ''}, each foretold from those before it, {inside} fell inside the nine-in-ten limits."
    )
    told.append(_skill(tested.auc_new))
    return tuple(told)


def _carried(one: NextSeason) -> str:
    """Say how many vines carry damage on record that nobody is expected to write down again."""
    if not one.carried.high90:
        return ""
    return f" About {_band(one.carried)} more have damage on record that has not been cut out and will not be written down again."


def outlook_details(found: Outlook) -> tuple[str, ...]:
    """Say what lies behind it: half limits, priors, scores."""
    one, tested, near = found.forecast, found.tested, found.estimates.near
    low, high = sorted([found.half.seen.middle, found.double.seen.middle])
    told = [
        (
            f"Half of the time {one.seen.low50} to {one.seen.high50} vines, {one.new.low50} to {one.new.high50} for the first time. With priors of half and of "
            f"double spread the middle figure would be {f'{low} to {high}' if low != high else f'{low} as well'}."
        ),
        f"Earlier cases beside a vine: gain of the log score out of sample {near.gain:.1f} a season over a constant rate (standard error {near.gain_error:.1f}); those farther off "
        f"add {near.ring_gain:.1f} ({near.ring_gain_error:.1f}). What gains no more than its standard error is left out."
        if near.exposure
        else f"Earlier cases beside a vine were not tried: {near.reason}.",
    ]
    if tested.reason:
        return tuple(told)
    better = 100 * (1 - tested.brier / tested.brier_last) if tested.brier_last else float("nan")
    told.append(
        f"Mean squared error vine by vine: this forecast {tested.brier:.4f}, one rate for all {tested.brier_constant:.4f}, "
        f"two rates by last season's status {tested.brier_last:.4f} ({better:+.0f} % better than that)."
    )
    return tuple(told)


def _ring(found: Outlook) -> str:
    return "or within two rows and two positions " if found.estimates.near.ring > 0 else ""


def _trend(found: Outlook) -> str:
    """Say how first symptoms changed; age and calendar are one in a block planted at once."""
    middle, low, high = found.estimates.trend_of_odds()
    limits = f"{100 * (low - 1):+.0f} to {100 * (high - 1):+.0f} % a season, nine times in ten"
    if low > 1 or high < 1:
        return (
            f"First symptoms become {'more' if low > 1 else 'less'} frequent: {100 * (middle - 1):+.0f} % a season ({limits}). "
            "The vines grow older by the year too: age and calendar cannot be told apart here."
        )
    return f"No clear trend of first symptoms ({limits})."


def _skill(auc: float) -> str:
    if auc != auc:
        return "Which sound vine falls ill next could not be tested: there was no new case."
    words = "hardly better than a coin" if auc < 0.6 else "a little" if auc < 0.75 else "fairly well"
    return f"Which sound vine falls ill next is told {words}: of a new case and a vine that stayed sound, the case had been given the higher chance {100 * auc:.0f} times in 100 (a coin: 50)."
