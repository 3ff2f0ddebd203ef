"""The assumptions in money and yield: what must be written by the user, and what has a published or remembered value."""

import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.resources import files
from types import MappingProxyType

import pandas as pd

from trunkwatch.errors import RecordError
from trunkwatch.forecast.priors import PRIORS, Prior
from trunkwatch.renewal.measures import METRIC, Measures, to_metric
from trunkwatch.vineyard.manner import in_force
from trunkwatch.vineyard.tables import records_of

__all__ = ["ASSUMPTIONS", "LOUD_NOTE", "Assumption", "Costs", "costs_of", "example_costs", "priors_of"]

LOUD_NOTE = "THESE FIGURES ARE EXAMPLES FROM PAPERS, TRADE PRESS AND MEMORY. Replace every one by your own before you decide anything."


#: No price, yield or time is higher: what is, was mistyped, or is written in too small a coin.
MOST = 1e9


@dataclass(frozen=True, slots=True)
class Assumption:
    """One assumption: unit, the value used where none is written (None: it must be written), and its source."""

    meaning: str
    unit: str
    value: float | None
    source: str
    low: float = 0.0
    high: float = MOST


def _believed(prior: Prior) -> Assumption:
    meaning = f"{prior.what}: chance a year before the record speaks, weighed as {prior.weight:g} vines"
    return Assumption(meaning, "%", 100 * prior.mean, prior.source, high=100.0)


def _need(meaning: str, unit: str, **more: float) -> Assumption:
    return Assumption(meaning, unit, None, "yours", **more)


_MUNKVOLD = "a vine with a share d of its spurs dead yields 101.0 - 90.26 d (1991), 100.1 - 98.81 d (1992) percent: Munkvold, Duthie and Marois 1994, Phytopathology 84:186"
_REPLANT = "single replants among mature vines: full yield after about nine years (Burgundy, read in summary); the steps from memory"
_BLOCK = "third leaf about half a crop (trade press); the others from memory"
_RETRUNK = "one season missed, full in two to three (trade press, New Zealand)"

_DOUBLE = "33 to 75 % on E. lata, final cut in February instead of one cut in December (Weber, Trouillas and Gubler 2007, Am. J. Enol. Vitic. 58:61, in a table of Kaplan et al. 2016; table read)"

#: Every assumption by name. Yields are percent of a healthy mature vine.
ASSUMPTIONS: Mapping[str, Assumption] = MappingProxyType(
    {
        "price_per_t": _need("price of the grapes", "money/t"),
        "yield_t_ha": _need("yield of the block when healthy and full", "t/ha", high=100.0),
        "crew_hour": _need("an hour of crew, everything in it", "money/h"),
        "replant_vine": _need("plant, stake and guard for one replant", "money/vine"),
        "block_replant_ha": Assumption("pulling and replanting the block, trellis kept or not as you do it", "money/ha", None, "yours; needed only for the strategy that replants the block"),
        "harvest_t": Assumption("harvest and haulage that is saved with a metric ton not grown", "money/t", 0.0, "0 where not written: losses then look too large"),
        "protect_vine": Assumption("protecting the pruning wounds of a vine, or pruning late or twice, each year", "money/vine", None, "yours; needed only for the strategies that prevent"),
        "protect_low_pct": Assumption("share of new infections that this prevents, low", "%", 25.0, "field efficacy 25 or 28 to 100 % (Kaplan et al. 2016, Wine Econ. Policy 5:127, and Baumgartner et al. 2014; read in abstract); labels and local law decide what may be used", high=100.0),
        "protect_high_pct": Assumption("the same, high", "%", 75.0, "as above: 25, 50 and 75 % are the cases of the published model", high=100.0),
        "protect_lag_years": Assumption("years from infection to first symptoms, in which protection shows no effect", "years", 4.0, "from memory, low confidence", high=30.0),
        "protect_minutes": Assumption("time to protect the wounds of a vine", "min/vine", None, "yours; needed only where cold weighs wound protection"),
        "protect_material": Assumption("material to protect the wounds of a vine", "money/vine", None, "yours; needed only where cold weighs wound protection"),
        "first_cut_minutes": Assumption("time of a long first cut of a vine, on top of its final cut", "min/vine", None, "yours; needed only where cold weighs double pruning: time your own crew"),
        "double_low_pct": Assumption("share of new infections that double pruning prevents against one early cut, low", "%", 33.0, _DOUBLE, high=100.0),
        "double_high_pct": Assumption("the same, high", "%", 75.0, _DOUBLE, high=100.0),
        "renew_hours": Assumption("cutting and taking out an arm or a trunk", "h/vine", 0.25, "common practice, no source: time your own crew"),
        "train_hours": Assumption("training a retrained or young vine, in each of two years", "h/vine", 0.15, "common practice, no source"),
        "replant_hours": Assumption("taking out a vine and planting another", "h/vine", 0.5, "common practice, no source"),
        "crew_day_hours": Assumption("hours of a crew-day", "h", 8.0, "convention", low=1.0, high=24.0),
        "discount_pct": Assumption("discount rate above inflation", "%", 5.0, "5 % in a published vineyard model (Atallah et al. 2015, Land Economics); 3 and 7 % are shown beside it", high=50.0),
        "horizon_years": Assumption("years that are looked ahead", "years", 20.0, "convention: 10 to 30", low=2.0, high=60.0),
        "decline_pct": Assumption("yearly chance that lasting damage grows by a class (a quarter, half, five sixths dead), before the record speaks: percents written at successive inspections of a vine soon outweigh it", "%", 15.0, "from memory, low confidence; stain moves on by 20 to 50 mm a year (Sosnowski et al. 2007, Plant Disease 91:924)", high=100.0),
        "showing_pct": Assumption("yield of a vine that shows on its leaves, without dead arms", "%", 75.0, "up to half lost on a vine with leaf symptoms of esca (Dewasme et al. 2022, Plant Disease 106:3076); 75 is the middle of none and that", high=100.0),
        "hidden_pct": Assumption("yield of a vine that showed before and does not now", "%", 90.0, "from memory, low confidence", high=100.0),
        "renewed_1_pct": Assumption("yield of a retrained trunk in the first season after the cut", "%", 0.0, _RETRUNK, high=100.0),
        "renewed_2_pct": Assumption("the same, second season", "%", 50.0, _RETRUNK, high=100.0),
        "renewed_3_pct": Assumption("the same, third season", "%", 95.0, _RETRUNK, high=100.0),
        "renewed_4_pct": Assumption("the same, later", "%", 100.0, _RETRUNK, high=100.0),
        "shoot_first_1_pct": Assumption("yield in the first season of a trunk retrained from a shoot trained before the cut", "%", 80.0, "a grower of the Jura reports no loss (trade press); 80 from memory", high=100.0),
        "new_arm_1_pct": Assumption("yield of a vine in the first season after an arm, or one trunk of several, was retrained: the rest bears", "%", 55.9, "half of its spurs gone, 101.0 - 90.26 / 2 (" + _MUNKVOLD + ")", high=100.0),
        "new_arm_2_pct": Assumption("the same, second season", "%", 78.0, "the middle of the first season and a whole vine; no source", high=100.0),
        **{
            f"replant_{year}_pct": Assumption(f"yield of a single replant, year {year}", "%", value, _REPLANT, high=100.0)
            for year, value in enumerate((0.0, 0.0, 10.0, 25.0, 45.0, 60.0, 75.0, 85.0, 95.0), start=1)
        },
        **{
            f"block_{year}_pct": Assumption(f"yield of a replanted block, year {year}", "%", value, _BLOCK, high=100.0)
            for year, value in enumerate((0.0, 0.0, 50.0, 75.0, 100.0), start=1)
        },
        "cut_below_stain_cm": Assumption("cut so far below the last stain", "cm", 20.0, "10 cm of clean wood at least (Sosnowski, Wicks and Scott 2011, Phytopathol. Mediterr. 50:277); a buffer of 10 to 20 cm (extension advice)", low=10.0, high=100.0),
        "lowest_cut_cm": Assumption("no cut below this height: stain lower than that means replanting", "cm", 10.0, "common practice, no source"),
        "most_loss_pct": Assumption("largest loss of yield in any one year that the plan may cause", "%", 10.0, "yours; 10 where not written", high=100.0),
        **{f"{name}_pct": _believed(prior) for name, prior in PRIORS.items()},
    }
)  # fmt: skip


#: How the source of a figure begins that was taken from the examples.
EXAMPLE = "EXAMPLE"
#: Prices that only single strategies need.
OPTIONAL = frozenset({"block_replant_ha", "protect_vine", "protect_minutes", "protect_material", "first_cut_minutes"})
#: Assumptions of the winter (`trunkwatch cold`) that no plan rests on.
WINTER_ONLY = frozenset(
    {"protect_minutes", "protect_material", "first_cut_minutes", "double_low_pct", "double_high_pct"}
)


@dataclass(frozen=True, slots=True)
class Costs:
    """Values of all assumptions in metric units, for each where it came from, and the measures they were written in."""

    values: Mapping[str, float]
    sources: Mapping[str, str]
    missing: tuple[str, ...]
    measures: Measures = METRIC

    def __getitem__(self, name: str) -> float:
        """Return a value.

        Raises
        ------
        RecordError
            If it must be written and is not.
        """
        if name in self.missing:
            told = ASSUMPTIONS[name]
            raise RecordError(
                f"costs has no {name!r} ({told.meaning}, {told.unit}); expected: a line in costs.csv, name,value,unit,source"
            )
        return self.values[name]

    def share(self, name: str) -> float:
        """Return a percentage as a share."""
        return self[name] / 100

    @property
    def examples(self) -> bool:
        """Whether a figure still stands as the examples have it."""
        return any(source.startswith(EXAMPLE) for source in self.sources.values())

    @property
    def enough(self) -> bool:
        """Whether all is written that any strategy needs, but for replanting the block and preventing."""
        return not [name for name in self.missing if name not in OPTIONAL]


def costs_of(table: pd.DataFrame) -> Costs:
    """Read the `costs` table; what has a published or remembered value is filled in and says so.

    Raises
    ------
    RecordError
        If a name is no assumption's, or a value is out of its range, written twice, or in another unit than the
        assumption's.
    """
    values = {name: told.value for name, told in ASSUMPTIONS.items()}
    sources = {name: told.source for name, told in ASSUMPTIONS.items()}
    read: dict[str, float] = {}
    acre = short_ton = False
    for record in records_of(table):
        name, value = str(record["name"]), float(record["value"])
        if name not in ASSUMPTIONS:
            near = difflib.get_close_matches(name, ASSUMPTIONS, n=1, cutoff=0.5)
            way = (
                f"{near[0]} perhaps" if near else "one of those that `trunkwatch plan --example-costs california` shows"
            )
            raise RecordError(f"costs: no assumption is called {name!r}; expected: {way}")
        told = ASSUMPTIONS[name]
        if not math.isfinite(value):
            raise RecordError(
                f"costs: {name} is {value:g}; expected: a number from {told.low:g} to {told.high:g} {told.unit}"
            )
        value, unit = to_metric(name, value, str(record["unit"]), told.unit)
        acre, short_ton = acre or unit.acre, short_ton or unit.short_ton
        if not told.low <= value <= told.high:
            coin = "; count in thousands of your money, in every line, if it is so small" if value > MOST else ""
            raise RecordError(f"costs: {name} is {value:g}; expected: {told.low:g} to {told.high:g} {told.unit}{coin}")
        if name in read:
            raise RecordError(f"costs: {name} is written twice, {read[name]:g} and {value:g}; expected: one line")
        read[name] = value
        values[name], sources[name] = value, str(record["source"]) or "yours"
    missing = tuple(name for name, value in values.items() if value is None)
    us = in_force().is_us  # pages speak as the prices do, and in US units where the vineyard is spoken to so
    return Costs(
        {k: v for k, v in values.items() if v is not None}, sources, missing, Measures(acre or us, short_ton or us)
    )


def priors_of(costs: Costs) -> dict[str, Prior]:
    """Return what is believed of a vine's chances before the record speaks, as the costs have it.

    A chance of none or of all is taken as one in a thousand from it: what is believed can be wrong.
    """
    means = {name: min(max(costs.share(f"{name}_pct"), 0.001), 0.999) for name in PRIORS}
    return {name: replace(prior, mean=means[name]) for name, prior in PRIORS.items()}


def example_costs() -> dict[str, str]:
    """Return the shipped examples as text of a costs.csv, by region."""
    folder = files("trunkwatch.renewal").joinpath("example_costs")
    return {
        one.name.removesuffix(".csv"): one.read_text("utf-8")
        for one in sorted(folder.iterdir(), key=lambda p: p.name)
        if one.name.endswith(".csv")
    }
