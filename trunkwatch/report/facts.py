"""All that a report says, worked out before a word of HTML is written."""

from dataclasses import dataclass

from trunkwatch.block import BlockSeason, Trend, TrendSeason, WinterVine, trend_of, winter_list
from trunkwatch.block.words import note_sentences, trend_note
from trunkwatch.charts import SeriesPoint, TrendLine, TrendPoint
from trunkwatch.history import DEFINITIONS, BlockHistory, RateName
from trunkwatch.maps.counts import outside_line
from trunkwatch.pattern import Pattern, pattern_of
from trunkwatch.pattern.findings import Word, has
from trunkwatch.pattern.place_words import observer_name
from trunkwatch.pattern.spread import Says
from trunkwatch.pattern.spread_words import series_sentence, spread_sentences
from trunkwatch.pattern.words import Part, caution_sentences, opening, pattern_sentences
from trunkwatch.pattern.years import years_verdict
from trunkwatch.pattern.years_words import explanation_lines, headline_sentence
from trunkwatch.report.words import cannot_say, changes, season_test_words
from trunkwatch.stats.shares import Incidence
from trunkwatch.surveys.second_looks import recheck_of
from trunkwatch.surveys.words import recheck_sentences

__all__ = ["Facts", "facts_of", "series_points", "trend_lines"]


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that stands in a report.

    Attributes
    ----------
    season : BlockSeason
        The block up to the season.
    pattern : Pattern
        Of the season; `without_winter` is its repeat, None where there are no winter records.
    trend : Trend
        All seasons.
    verdict : str
        One sentence on the pattern.
    vines : list of WinterVine
        Showing vines, the first to look at first.
    cannot_say : tuple of str
        For the owner's page.
    definition : str
        What makes a case, in words.
    last_record : str
        Last day in the records.
    changes : tuple of str
        What changed since the last counted season.
    rechecked : tuple of str
        What blind second looks say; empty where there were none.
    """

    season: BlockSeason
    pattern: Pattern
    without_winter: Pattern | None
    trend: Trend
    verdict: str
    vines: list[WinterVine]
    cannot_say: tuple[str, ...]
    definition: str
    last_record: str
    changes: tuple[str, ...]
    rechecked: tuple[str, ...] = ()

    @property
    def headline(self) -> str:
        """What all years say of the pattern; what this season's map says where there is one season."""
        years = years_verdict(self.pattern)
        return headline_sentence(years) if years is not None else self.verdict

    @property
    def explanations(self) -> tuple[tuple[str, str], ...]:
        """What could explain the pattern, and how well each fits; empty where there is one season."""
        years = years_verdict(self.pattern)
        return explanation_lines(years) if years is not None else ()

    @property
    def spread_sentences(self) -> tuple[str, ...]:
        """What is said about spread, where something is."""
        spread = self.pattern.spread
        if spread is None or (
            spread.says is Says.CANNOT_TELL and not has(self.pattern.findings, Word.CLUSTERED, Word.NEAR_OLD)
        ):
            return ()
        return spread_sentences(spread)

    @property
    def map_sentences(self) -> tuple[str, ...]:
        """What is said about the map itself; pairs stand in the table, spread, series and observers by themselves."""
        return pattern_sentences(self.pattern, without=(Part.PAIRS, Part.SPREAD, Part.SERIES, Part.OBSERVER_SHARES))

    @property
    def series_sentence(self) -> str:
        """What all seasons say together; empty where they say nothing."""
        return series_sentence(self.pattern.series) if self.pattern.series is not None else ""

    @property
    def few(self) -> bool:
        """Whether there are too few cases for a verdict."""
        return has(self.pattern.findings[:1], Word.TOO_FEW)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader should know before the numbers."""
        return note_sentences(self.season)

    @property
    def trend_note(self) -> str:
        """What the limits of the rates are of."""
        return trend_note(self.trend)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the verdict must not be taken for."""
        return caution_sentences(self.pattern)

    @property
    def without_winter_sentences(self) -> tuple[str, ...]:
        """The verdict without the records of suspected winter injury; empty where there are none."""
        return pattern_sentences(self.without_winter) if self.without_winter is not None else ()

    @property
    def observers(self) -> tuple[tuple[str, Incidence], ...]:
        """Each observer's cases and vines, where there were several."""
        found = self.pattern.observers
        if found is None or len(found.shares) < 2:
            return ()
        return tuple((observer_name(name), one) for name, one in found.shares)

    @property
    def outside(self) -> str:
        """On how many vines damage stands that this season's count leaves out; empty where on none."""
        return outside_line(self.season.history, self.season.season)

    @property
    def history(self) -> BlockHistory:
        """The block over its years."""
        return self.season.history

    @property
    def now(self) -> TrendSeason:
        """This season."""
        return next(one for one in self.trend.seasons if one.season == self.season.season)


def facts_of(season: BlockSeason, *, permutations: int = 9999, seed: int = 1) -> Facts:
    """Work out a report.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    permutations, seed : int
        As in `pattern_of`.
    """
    pattern = pattern_of(season, permutations=permutations, seed=seed)
    again = None
    if season.without_winter is not None:
        again = pattern_of(season, history=season.without_winter, permutations=permutations, seed=seed)
    trend = trend_of(season)
    now = next(one for one in trend.seasons if one.season == season.season)
    return Facts(
        season,
        pattern,
        again,
        trend,
        opening(pattern),
        winter_list(season),
        cannot_say(pattern, trend),
        DEFINITIONS[season.history.definition].meaning,
        season.reading.last_day,
        changes(trend, now),
        _rechecked(season),
    )


def _rechecked(season: BlockSeason) -> tuple[str, ...]:
    found = recheck_of(season)
    return recheck_sentences(found) if found is not None else ()


def trend_lines(trend: Trend) -> list[TrendLine]:
    """Return the lines of the trend chart: annual with limits, standing, ever, new."""
    names: tuple[RateName, ...] = ("annual", "standing", "ever", "new")
    return [
        TrendLine(name, tuple(_point(one, name) for one in trend.seasons), limits=name == "annual") for name in names
    ]


def _point(one: TrendSeason, name: RateName) -> TrendPoint:
    rate, limits = one.rates[name], one.limits[name]
    if rate.reason or one.look.aside:
        return TrendPoint(one.season, reason=one.look.aside or rate.reason)
    return TrendPoint(one.season, rate.cases, rate.vines, limits.share, limits.low, limits.high, at_least=rate.at_least)


def series_points(pattern: Pattern) -> list[SeriesPoint]:
    """Return the lines of the picture of all seasons; empty where there is one season only."""
    if pattern.series is None or len(pattern.series.seasons) < 2:
        return []
    last = pattern.series.seasons[-1].season
    return [
        SeriesPoint(
            one.season,
            one.seen,
            one.expected,
            one.deviation,
            season_test_words(one, pattern.primary.pvalue if one.season == last else None),
            primary=one.season == last,
        )
        for one in pattern.series.seasons
    ]
