"""Whether the work of the last years held, in sentences for a grower."""

import math
from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.follow_up.cut_faces import WELL_BELOW_CM, CutFace, Face
from trunkwatch.follow_up.outcomes import HALF, MORE, Outcome
from trunkwatch.follow_up.without_work import BACK, WithoutWork
from trunkwatch.follow_up.without_work import FEWEST as FEWEST_SEASONS
from trunkwatch.follow_up.worked import FEWEST, KNOWN, Cannot, Comparison, Worked
from trunkwatch.vineyard.codes import WORK_KINDS
from trunkwatch.vineyard.manner import centimeters

__all__ = ["comparison_sentences", "cut_face_sentences", "without_work_sentence", "worked_sentences"]

_FACES: Mapping[Face, str] = MappingProxyType({
    Face.STAINED: "stain left in the face",
    Face.CLOSE: "clean, less than {near} below the last stain",
    Face.WELL_BELOW: "clean, {near} or more below the last stain",
    Face.CLEAN: "clean, how far below the stain not recorded",
    Face.UNKNOWN: "nothing recorded about the face",
})  # fmt: skip
_NAMES: Mapping[Outcome, str] = MappingProxyType({
    Outcome.LEAVES: "Leaf symptoms", Outcome.WORSE: "Dead wood, getting worse", Outcome.HALF_DEAD: "Dead wood, what still bears",
})  # fmt: skip
_BAD: Mapping[Outcome, str] = MappingProxyType({
    Outcome.LEAVES: "showed again", Outcome.WORSE: "got worse", Outcome.HALF_DEAD: "were half dead or worse",
})  # fmt: skip
#: What these words mean, for renewed and left vines alike.
_MEANS: Mapping[Outcome, str] = MappingProxyType({
    Outcome.LEAVES: "To show again is to be seen with leaf symptoms at an inspection, or to die or be pulled; the same for both.",
    Outcome.WORSE: f"To get worse is to have {MORE:.0f} % of the vine or more dead beyond what was dead before the winter, or to die or be pulled; the same for both. "
    "A dead arm that still hangs in a vine that was left does not count, nor does the cut itself.",
    Outcome.HALF_DEAD: f"Half dead or worse: {HALF:.0f} % of the vine or more dead at an inspection, or dead or pulled; the same for both. "
    "Part of this is the cut itself: dead wood that is cut off is gone at once, whether or not the new arm comes to bear.",
})  # fmt: skip
#: What no comparison can say: of vines that people chose, and of vines that lots chose.
_LAST = (
    (
        "What cannot be said: people chose which vines to retrain; season, past and severity are allowed for, but a strong shoot, vigor or an eye for "
        "the vine are not on record and may make a difference. Only lots settle that: `trunkwatch plan --compare`."
    ),
    "What cannot be said: whether it will be so on other blocks and in other years.",
)
NOTHING_WRITTEN = (
    "Whether a cut well below the last stain held better is not known: nothing is on record about the cut faces. "
    "Write height and stain at each cut, and a clean face as stained wood of {none}."
)


def worked_sentences(found: Worked) -> tuple[str, ...]:
    """Say it for a grower: the answer first, what cannot be said last."""
    told: list[str] = []
    for comparison in found.comparisons:
        if comparison.cannot is not Cannot.NOBODY_RENEWED:
            told += [*comparison_sentences(comparison)]
    if not told:
        told.append("Too early to tell whether retraining worked: no vine on record was retrained after an inspection.")
    if any(comparison.cannot is None for comparison in found.comparisons):
        told.append(_LAST[all(c.lots.compared for c in found.comparisons if c.cannot is None)])
    for kind, (planned, hours_planned, done, hours_done) in found.hours.items():
        if planned or hours_done:
            told.append(
                f"{WORK_KINDS[kind].capitalize()}: {done} done ({hours_done:.1f} h written){f', {planned} planned ({hours_planned:.1f} h)' if planned else ''}."
            )
    return tuple(told)


def comparison_sentences(comparison: Comparison) -> tuple[str, ...]:
    """Say one comparison: the answer, what would have come without work, who was compared, and who was left out."""
    name, bad = _NAMES[comparison.outcome], _BAD[comparison.outcome]
    if comparison.cannot is not None:
        return (
            f"{name}: too early to tell whether retraining worked. {_why_not(comparison)}",
            *_lots_so_far(comparison),
        )
    shares = comparison.difference
    years = f"within {comparison.years} year{'s' if comparison.years != 1 else ''}"
    vines = "vines that the lots had left" if comparison.lots.compared else "comparable vines that were left"
    sentences = [
        (
            f"{name}: of 100 retrained vines {_fewer(shares.middle)} {bad} {years} than of 100 {vines} "
            f"(likely range {_between(shares.low, shares.high)}): {100 * shares.renewed:.0f} against {100 * shares.left:.0f}."
        ),
    ]
    if shares.low <= 0 <= shares.high:
        sentences.append("The range takes in no difference at all: chance alone could do that.")
    elif shares.low > 0:
        sentences.append("The retrained vines did worse than those that were left.")
    return (
        *sentences,
        *_without(comparison, years),
        _who(comparison),
        _MEANS[comparison.outcome],
        *_lots_so_far(comparison),
    )


def _fewer(share: float) -> str:
    """Say a difference of shares as vines of 100."""
    return f"{abs(100 * share):.0f} {'more' if share > 0 else 'fewer'}"


def _between(low: float, high: float) -> str:
    if (low > 0) == (high > 0):
        small, large = sorted((abs(low), abs(high)))
        return f"{100 * small:.0f} to {100 * large:.0f} {'more' if low > 0 else 'fewer'}"
    return f"{_fewer(low)} to {_fewer(high)}"


def _without(comparison: Comparison, years: str) -> tuple[str, ...]:
    """Say what the same choice of vines does without any work."""
    past = comparison.fallback
    if past is None or not past.left:
        return ()
    without = f"Without any work: of 100 vines with such a past {100 * past.within:.0f} {_BAD[comparison.outcome]} {years} ({past.left} looks back at vines that were left, all years)"
    if comparison.outcome is not Outcome.LEAVES:
        return (f"{without}.",)
    return (
        (
            f"{without}; {100 * past.last:.0f} of 100 of the retrained had shown at the last inspection before, and at the next inspection {100 * past.next_look:.0f} of 100 show "
            "again by themselves. Vines that are chosen when they show fall back without help."
        ),
    )


def _who(comparison: Comparison) -> str:
    renewed = int(comparison.pairs.renewed.sum())
    left = len({trial.cell for trial in comparison.pairs.trials if not trial.renewed})
    how = (
        f"Lots decided: {renewed} vines that were to be retrained, {left} that were to be left, compared as the lots fell, whatever was done."
        if comparison.lots.compared
        else f"Compared: {renewed} retrained vines with {left} left ones of the same winter, seasons on record, times they showed, last inspection{'' if comparison.outcome is Outcome.LEAVES else ', share dead'} and inspections since."
    )
    out = [
        f"{many} {why}"
        for many, why in (
            (comparison.pairs.without, "without a comparable left vine"),
            (comparison.renewed_before, "retrained before"),
            (comparison.too_far, "so far gone that they could hardly get worse"),
            (comparison.not_yet, f"not followed for {comparison.years} year{'s' if comparison.years != 1 else ''} yet"),
        )
        if many
    ]
    later = (
        f" {comparison.pairs.cut_later} of the left were cut later; from then on they count as the other left ones went."
        if comparison.pairs.cut_later
        else ""
    )
    return (
        how + (f" Left out of the retrained: {', '.join(out)}." if out and not comparison.lots.compared else "") + later
    )


def _why_not(comparison: Comparison) -> str:
    if comparison.cannot is Cannot.NOT_FOLLOWED:
        gone = (
            f" {comparison.too_far} more were so far gone that they could hardly get worse."
            if comparison.too_far
            else ""
        )
        return f"{comparison.renewed} retrained vines were followed; {FEWEST} are needed.{gone}"
    if comparison.cannot is Cannot.NO_PARTNERS:
        matched = int(comparison.pairs.renewed.sum())
        return (
            f"Of {comparison.renewed} retrained vines {matched} had a comparable vine that was left in the same winter; {FEWEST} are needed: "
            "where all vines of a kind are cut nothing is left to compare with. `trunkwatch plan --compare` draws lots among equal vines."
        )
    return (
        f"The comparable vines that were left were soon cut as well: {100 * comparison.pairs.left_known:.0f} % of their time was seen, "
        f"{100 * KNOWN:.0f} % are needed. `trunkwatch plan --compare` draws lots, and says which vines to leave."
    )


def _lots_so_far(comparison: Comparison) -> tuple[str, ...]:
    drawn = comparison.lots
    if drawn.compared:
        return (
            (
                f"Beside {drawn.beside_renew} of {drawn.renew} vines to be retrained and {drawn.beside_leave} of {drawn.leave} to be left a vine in the row was retrained or "
                "protected as well: what comes from there is not in the comparison if the two shares differ much."
            ),
        )
    if not drawn.renew + drawn.leave:
        return ()
    return (
        f"Lots: {drawn.renew} vines to be retrained and {drawn.leave} to be left were drawn; too few of them have been followed to compare by lot.",
    )


def without_work_sentence(found: WithoutWork) -> str:
    """Say it for a grower."""
    if math.isnan(found.middle):
        return f"Too early to tell what the block would look like without the work: {found.counted} counted seasons: {FEWEST_SEASONS + BACK + 1} are needed."
    told = (
        f"From the record up to {found.since}, {100 * found.middle:.0f} % of the vines ({100 * found.low:.0f} to {100 * found.high:.0f} %, "
        f"90% range) were to show in {found.season} had nothing been cut; {found.came.cases} of {found.came.vines} did, "
        f"{100 * found.came.share:.0f} %, with {found.cut} vines retrained in between."
    )
    if found.low <= found.came.share <= found.high:
        return f"{told} That is within what chance and showy or quiet seasons would do without the work."
    side = "less" if found.came.share < found.low else "more"
    return f"{told} That is {side} than was to be expected without the work; whether the work did it, one block cannot tell."


def cut_face_sentences(found: tuple[CutFace, ...]) -> tuple[str, ...]:
    """Say it for a grower; nothing where no cut vine was followed."""
    known = [one for one in found if one.found.vines]
    if not known:
        return ()
    if [one.kind for one in known] == [Face.UNKNOWN]:
        return (NOTHING_WRITTEN.format(none=centimeters(0)),)
    parts = [
        f"{_FACES[one.kind].format(near=centimeters(WELL_BELOW_CM))}: {one.found.cases} of {one.found.vines} vine-seasons ({100 * one.found.low:.0f} to {100 * one.found.high:.0f} %)"
        for one in known
    ]
    return (
        "Relapses of retrained vines by what was recorded at the cut: " + "; ".join(parts) + ".",
        f"Who cut lower may have cut other vines: the kinds were not drawn by lot. Record a clean face as stained wood of {centimeters(0)}.",
    )
