"""Whether the work of the last years held, in sentences for a grower."""

import math
from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.follow_up.cut_faces import CutFace, Face
from trunkwatch.follow_up.without_work import BACK, WithoutWork
from trunkwatch.follow_up.without_work import FEWEST as FEWEST_SEASONS
from trunkwatch.follow_up.worked import FEWEST, HORIZON, Worked
from trunkwatch.vineyard.codes import WORK_KINDS

__all__ = ["cut_face_sentences", "without_work_sentence", "worked_sentences"]

_FACES: Mapping[Face, str] = MappingProxyType({
    Face.STAINED: "stain left in the face",
    Face.CLOSE: "clean, less than 10 cm below the last stain",
    Face.WELL_BELOW: "clean, 10 cm or more below the last stain",
    Face.CLEAN: "clean, how far below the stain not written",
    Face.UNKNOWN: "nothing written about the face",
})  # fmt: skip
NOTHING_WRITTEN = (
    "Whether a cut well below the last stain held better cannot be told: nothing is written about the cut faces. "
    "Write height and stain at each cut, and a clean face as stained wood of 0 cm."
)


def worked_sentences(found: Worked) -> tuple[str, ...]:
    """Say it for a grower."""
    told = [
        f"{group.vines} times a vine that had shown was {name}: {group.showed} showed again, {group.died} died or were pulled, as far as they were "
        f"followed; within {HORIZON} counted seasons {100 * group.share:.0f} % did either ({100 * group.low:.0f} to {100 * group.high:.0f} %)."
        for name, group in (("renewed", found.renewed), ("left", found.left))
        if group.vines
    ]
    if not found.compared:
        told.append(
            f"Whether renewing worked cannot be said yet: {found.renewed.vines} renewed vines that had shown, {found.left.vines} comparable vines left: "
            f"{FEWEST} of each are needed."
        )
    elif not math.isnan(found.difference):
        word = "fewer" if found.difference < 0 else "more"
        told.append(
            f"Of the renewed vines {abs(100 * found.difference):.0f} points {word} showed again or died within three counted seasons after the cut than of vines that were left "
            f"({100 * found.low:+.0f} to {100 * found.high:+.0f} points)."
        )
        told.append(
            "The vines to be renewed were chosen, often the worst and those with a shoot: season and condition are allowed for, the rest is not. "
            "A dead arm that is left stays a dead arm, so part of the difference is the cut itself. A renewal shoot that failed counts against renewing."
        )
    for kind, (planned, hours_planned, done, hours_done) in found.hours.items():
        if planned or hours_done:
            told.append(
                f"{WORK_KINDS[kind].capitalize()}: {done} done ({hours_done:.1f} h written){f', {planned} planned ({hours_planned:.1f} h)' if planned else ''}."
            )
    return tuple(told)


def without_work_sentence(found: WithoutWork) -> str:
    """Say it for a grower."""
    if math.isnan(found.middle):
        return f"What the block would look like without the work cannot be told yet: {found.counted} counted seasons: {FEWEST_SEASONS + BACK + 1} are needed."
    told = (
        f"From the record up to {found.since}, {100 * found.middle:.0f} % of the vines ({100 * found.low:.0f} to {100 * found.high:.0f} %, "
        f"nine futures in ten) were to show in {found.season} had nothing been cut; {found.came.cases} of {found.came.vines} did, "
        f"{100 * found.came.share:.0f} %, with {found.cut} vines renewed in between."
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
        return (NOTHING_WRITTEN,)
    parts = [
        f"{_FACES[one.kind]}: {one.found.cases} of {one.found.vines} vine-seasons ({100 * one.found.low:.0f} to {100 * one.found.high:.0f} %)"
        for one in known
    ]
    return (
        "Relapses of renewed vines by what was written at the cut: " + "; ".join(parts) + ".",
        "Who cut lower may have cut other vines: the kinds were not drawn by lot. Write a look at a clean face as stained wood of 0 cm.",
    )
