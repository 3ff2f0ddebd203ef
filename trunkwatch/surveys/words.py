"""What surveys and second looks say, in sentences for a grower."""

from collections.abc import Sequence

from trunkwatch.history.words import finding_words
from trunkwatch.stats.drift import FEWEST_EACH, ShareChange
from trunkwatch.surveys.oddities import Oddity, OddityKind
from trunkwatch.surveys.second_looks import LATE_DAYS, LookRecheck, PairDrift

__all__ = ["oddity_words", "recheck_sentences", "walker_words"]

#: What a case is at each kind of look.
_CASES = {"dormant": "dieback", "spring": "dieback", "summer": "leaf symptoms"}
#: So many vines are named one by one; the rest is counted.
NAMED = 12


def walker_words(observer: str, date: str, until: str) -> str:
    """Say who walked, and when."""
    return f"{observer or 'not said who'}, {date}" + (f" to {until}" if until != date else "")


def oddity_words(odd: Oddity) -> str:
    """Say what a second thought should be given to."""
    if odd.kind is OddityKind.ROWS_NOT_WALKED:
        rows = "row" if len(odd.rows) == 1 else "rows"
        return f"Not scouted at all: {rows} {', '.join(odd.rows)}. Their vines are not seen, not healthy."
    if odd.kind is OddityKind.ROW_NOT_WHOLE:
        return f"Row {odd.rows[0]}: {odd.left} not scouted."
    if odd.kind is OddityKind.FOUND_OUTSIDE:
        return f"Found where no row was marked as scouted, so in no rate: {_with_findings(odd)}."
    if odd.kind is OddityKind.NO_VINE_THERE:
        return f"Something was written where no vine stands: {_some([name for name, _ in odd.vines])}."
    if odd.kind is OddityKind.WALKED_TWICE:
        one, other = (name or "somebody unnamed" for name in odd.people)
        return f"{odd.many} vines were scouted by {one} and by {other}; at {odd.differ} of them only one of the two found something."
    if odd.kind is OddityKind.NOT_MENTIONED:
        return f"On record before, not mentioned this time, and carried on unless it was cut: {_with_findings(odd)}."
    return f"Row {odd.rows[0]}: nothing found; {odd.many} vines had a finding at the {odd.look} inspection of {odd.season}."


def _with_findings(odd: Oddity) -> str:
    return _some([f"{name} ({finding_words(finding)}, {finding.date})" for name, finding in odd.vines])


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return "; ".join(names[:NAMED]) + more


def recheck_sentences(found: Sequence[LookRecheck]) -> tuple[str, ...]:
    """Say it for a grower."""
    return tuple(sentence for one in found for sentence in (*_compared(one), *_missed(one), *_drifted(one)))


def _compared(one: LookRecheck) -> list[str]:
    result, n = one.result, one.result.agreement.vines
    told = []
    told.append(
        f"{one.look.capitalize()} inspection ({_CASES[one.look]}): {n} vines were scouted a second time without knowledge "
        f"of the first inspection; both inspections say the same of {result.agreement.cases} "
        f"({100 * result.agreement.low:.0f} to {100 * result.agreement.high:.0f} %)."
    )
    if result.kappa == result.kappa:
        told.append(
            f"Agreement beyond chance (kappa) is {result.kappa:.2f} ({result.kappa_low:.2f} to "
            f"{result.kappa_high:.2f}); it hangs on how many of the vines drawn were cases."
        )
    if one.carried:
        told.append(
            f"{_vines(one.carried)} left out: a dead arm or trunk, canker or dead spurs are on record from before, and "
            "the first inspection did not record them again, so nobody can say whether it saw them."
        )
    alone = sum(count for first, second, count in one.pairs if first and first == second)
    if alone:
        told.append(
            f"{_vines(alone)} scouted both times by the same person: what one person misses twice does not come out."
        )
    if one.late:
        changes = "symptoms come and go within a season" if one.look == "summer" else "wood may be cut in between"
        told.append(
            f"From the first inspection to the second it was {_span(one.days)}, for {one.late} of {n} vines more than "
            f"{LATE_DAYS} (a mark of our own): {changes}, so the difference is not of the people alone."
        )
    return told


def _missed(one: LookRecheck) -> list[str]:
    result, told = one.result, []
    if one.pooled:
        told.append(
            f"The rechecks of this season alone saw {result.both + result.second_only} cases, too few to correct "
            f"by. Those of {_listed(one.pooled)}, by the same people, are taken in: {result.pooled_cases} cases "
            "together. That holds only if these people judged alike in all these seasons."
        )
    if result.seen_again == result.seen_again:
        told.append(
            f"Weighed back to the block, the first inspection had seen {100 * result.seen_again:.0f} % "
            f"({100 * result.seen_again_low:.0f} to {100 * result.seen_again_high:.0f} %) of what the recheck saw."
        )
    if result.reason:
        told.append(f"No incidence corrected for missed cases is given: {result.reason}.")
    else:
        told.append(
            f"Corrected for missed cases, {100 * result.corrected:.1f} % of the vines had symptoms to be seen "
            f"({100 * result.corrected_low:.1f} to {100 * result.corrected_high:.1f} %). That is not the share infected."
        )
    return told


def _drifted(one: LookRecheck) -> list[str]:
    told = [sentence for pair in one.drift for sentence in _of_pair(pair)]
    if one.too_few:
        pairs = "; ".join(f"{first} and {second}" for first, second in one.too_few)
        told.append(
            f"Whether two people came to judge otherwise over the seasons is not said of {pairs}: two seasons with "
            f"{FEWEST_EACH} cases and {FEWEST_EACH} vines without, each scouted by both, are needed (our own convention)."
        )
    return told


def _of_pair(pair: PairDrift) -> list[str]:
    again, more = pair.drift.again, pair.drift.more
    before, now = pair.drift.before, pair.drift.now
    if again is None or more is None or before is None or now is None:
        return []
    first, second = pair.first, pair.second
    listed = "; ".join(
        f"{p.label}: of {first}'s cases {second} saw {p.again.cases} of {p.again.vines} again, and a case on "
        f"{p.more.cases} of {p.more.vines} others; they agree on {p.agreement.cases} of {p.agreement.vines}"
        for p in pair.periods
    )
    told = [f"{first} first and {second} second, by {pair.by}: {listed}."]
    told.append(
        f"Seen again: {100 * before.again.share:.0f} % in {before.label}, {100 * now.again.share:.0f} % in {now.label} "
        f"(change {100 * again.low:+.0f} to {100 * again.high:+.0f} points). Seen by {second} alone: "
        f"{100 * before.more.share:.0f} % and {100 * now.more.share:.0f} % (change {100 * more.low:+.0f} to "
        f"{100 * more.high:+.0f} points). Likely ranges are at 97.5 %, as two shares are compared."
    )
    if not again.shown and not more.shown:
        told.append("No change between the two people is shown; with so few vines a small one would not be.")
        return told
    told.append(
        f"{_way(first, second, again, more)} Which of the two changed nobody can tell from this; fainter symptoms or "
        "more days between the inspections do the same."
    )
    return told


def _way(first: str, second: str, again: ShareChange, more: ShareChange) -> str:
    """Say in which way two people came to differ: who writes down more is known only of one against the other."""
    shown = [one.value for one in (again, more) if one.shown]
    if min(shown) < 0 < max(shown):
        return f"{first} and {second} came to agree {'less' if again.value < 0 else 'more'}."
    more_now, less_now = (first, second) if shown[0] < 0 else (second, first)
    return f"{more_now} came to write down more, or {less_now} fewer, cases than before against the other."


def _vines(count: int) -> str:
    return "1 vine was" if count == 1 else f"{count} vines were"


def _span(days: tuple[int, int]) -> str:
    return f"{days[0]} days" if days[0] == days[1] else f"{days[0]} to {days[1]} days"


def _listed(seasons: Sequence[int]) -> str:
    *most, last = [str(one) for one in seasons]
    return f"{', '.join(most)} and {last}" if most else last
