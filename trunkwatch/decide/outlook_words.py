"""The forecast of one block, in sentences for a grower."""

from trunkwatch.decide.outlook import LeansOn, Outlook
from trunkwatch.errors import RecordError
from trunkwatch.forecast.back_test import FIRST, BackTest, NoBackTest
from trunkwatch.forecast.neighbours import FEWEST_NEW, FEWEST_SEASONS, NeighbourTerm
from trunkwatch.forecast.next_season import Band, NextSeason

__all__ = [
    "leans_on_sentence",
    "no_back_test_words",
    "no_forecast_sentence",
    "not_kept_words",
    "outlook_details",
    "outlook_sentences",
]


def no_forecast_sentence(error: RecordError) -> str:
    """Say why there is no forecast."""
    return f"No forecast: {error}."


def leans_on_sentence(found: LeansOn) -> str:
    """Say whose blocks the chances lean on beside the block's own record."""
    parts = []
    if found.own:
        parts.append(f"{found.own} other block{'s' if found.own != 1 else ''} of the same vineyard")
    if found.lent:
        of = f"{found.growers} other grower{'s' if found.growers != 1 else ''}"
        parts.append(f"{found.lent} card{'s' if found.lent != 1 else ''} of {of}, who agreed to it")
    if not parts:
        return "The forecast uses this block's own record and no other block's."
    return f"Beside the block's own record the forecast uses {' and '.join(parts)}."


def _band(one: Band) -> str:
    return f"{one.middle} (90% range {one.low90} to {one.high90})"


def outlook_sentences(found: Outlook) -> tuple[str, ...]:
    """Say it for a grower: what to expect, and how far such forecasts held before."""
    one, tested = found.forecast, found.tested
    told = [
        (
            f"If {found.season} is a season like the others and nothing is cut, of {one.vines} vines about {_band(one.seen)} will be seen "
            f"with symptoms, about {_band(one.new)} of them for the first time.{_carried(one)}"
        ),
        _trend(found),
        *_left_out(found),
        f"Vines with earlier cases beside them {_ring(found)}come next more often than others; the forecast uses it. That holds for foci from the planting stock "
        "too: it is no proof of spread."
        if found.estimates.near.kept
        else "Having an earlier case beside it does not tell which vine comes next, as far as this record shows; the forecast does not use it.",
    ]
    if tested.why_not is not None:
        return (*told, f"How good such forecasts are here cannot be tested yet: {no_back_test_words(tested)}.")
    told = [*_against_last(tested), *told]
    inside, many = sum(season.inside90 for season in tested.seasons), len(tested.seasons)
    told.append(
        f"Tested on the record: of {many} season{'s' if many != 1 else ''}, each predicted from those before it, {inside} fell inside the 90% range."
    )
    told.append(_skill(tested.auc_new))
    return tuple(told)


def _left_out(found: Outlook) -> tuple[str, ...]:
    """Say which season was taken out of what usual seasons bring."""
    year = found.estimates.left_out
    if not year:
        return ()
    return (
        f"{year} brought far more new cases than other seasons and is left out: another winter or summer like that can come, and is not in the range.",
    )


def _against_last(tested: BackTest) -> tuple[str, ...]:
    """Say first where the plain rule by last season's status foretold as well or better, with that rule's figure."""
    if tested.log_score < tested.log_last:
        return ()
    last, other = tested.last_rates
    told = (
        f"On this record the forecast is no better than last season's status alone: of the vines that showed, {100 * last:.0f} % showed again, of "
        f"all others {100 * other:.1f} %. That rule would have {tested.by_last} vines seen with symptoms next season."
    )
    return (told,)


def _carried(one: NextSeason) -> str:
    """Say how many vines carry damage on record that nobody is expected to write down again."""
    if not one.carried.high90:
        return ""
    return f" About {_band(one.carried)} more have damage on record that has not been cut out and will not be recorded again."


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
        else f"Earlier cases beside a vine were not tried: {not_kept_words(near)}.",
    ]
    if tested.why_not is not None:
        return tuple(told)
    better = 100 * (1 - tested.brier / tested.brier_last) if tested.brier_last else float("nan")
    told.append(
        f"Mean squared error vine by vine: this forecast {tested.brier:.4f}, one rate for all {tested.brier_constant:.4f}, "
        f"two rates by last season's status {tested.brier_last:.4f} ({better:+.0f} % better than that)."
    )
    return tuple(told)


def no_back_test_words(found: BackTest) -> str:
    """Say why there is no back-test; empty where there is one."""
    if found.why_not is NoBackTest.TOO_FEW_SEASONS:
        return (
            f"{found.steps} seasons after the first counted one: {FIRST + 1} are needed to foretell one from the others"
        )
    if found.why_not is NoBackTest.NO_VINE_AGAIN:
        return "no vine that could be predicted was scouted again"
    return ""


def not_kept_words(near: NeighbourTerm) -> str:
    """Say why earlier cases beside a vine are not taken in; empty where they are."""
    if near.kept:
        return ""
    if near.exposure:
        return "its gain out of sample is within one standard error: a constant rate is used"
    return f"{near.new} new cases in {near.seasons} seasons: {FEWEST_NEW} in {FEWEST_SEASONS} are needed to fit it"


def _ring(found: Outlook) -> str:
    return "or within two rows and two positions " if found.estimates.near.ring > 0 else ""


def _trend(found: Outlook) -> str:
    """Say how first symptoms changed; age and calendar are one in a block planted at once."""
    middle, low, high = found.estimates.trend_of_odds()
    limits = f"{100 * (low - 1):+.0f} to {100 * (high - 1):+.0f} % a season, 90% range"
    if low > 1 or high < 1:
        return (
            f"First symptoms become {'more' if low > 1 else 'less'} frequent: {100 * (middle - 1):+.0f} % a season ({limits}). "
            "The vines grow older by the year too: age and calendar cannot be separated here."
        )
    return f"No clear trend of first symptoms ({limits})."


def _skill(auc: float) -> str:
    if auc != auc:
        return "Which sound vine falls ill next could not be tested: there was no new case."
    words = "hardly better than a coin" if auc < 0.6 else "a little" if auc < 0.75 else "fairly well"
    return f"Which sound vine falls ill next is told {words}: of a new case and a vine that stayed sound, the case had been given the higher chance {100 * auc:.0f} times in 100 (a coin: 50)."
