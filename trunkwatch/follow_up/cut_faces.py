"""Relapse by what was seen at the cut: stain left in the face, clean wood close below the last stain, or well below it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.forecast.vine_years import SeasonStep
from trunkwatch.history.reading import VineReading
from trunkwatch.history.written import Finding
from trunkwatch.stats.incidence import Incidence, incidence
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["CutFace", "cut_face", "cut_face_sentences", "relapse_by_cut"]

#: Clean wood below the last stain that counts as well below it; Sosnowski, Wicks and Scott 2011 cut all stained wood and
#: 10 cm more (Phytopathol. Mediterr. 50:277).
WELL_BELOW_CM = 10.0
LEFT, CLOSE, WELL, CLEAN, UNKNOWN = (
    "stain left in the face",
    "clean, less than 10 cm below the last stain",
    "clean, 10 cm or more below the last stain",
    "clean, how far below the stain not written",
    "nothing written about the face",
)
KINDS = (LEFT, CLOSE, WELL, CLEAN, UNKNOWN)
NOTHING_WRITTEN = (
    "Whether a cut well below the last stain held better cannot be told: nothing is written about the cut faces. "
    "Write height and stain at each cut, and a clean face as stained wood of 0 cm."
)
#: Relapses of all cuts together count as so many vine-seasons for each kind of cut (our own convention).
POOLED = 20.0


@dataclass(frozen=True, slots=True)
class CutFace:
    """Relapses of one kind of cut.

    Attributes
    ----------
    kind : str
    found : Incidence
        Relapses over vine-seasons at risk, of this kind alone, with Wilson limits.
    chance : float
        Yearly chance of a relapse, drawn towards that of all cuts together; nan where no cut was followed.
    """

    kind: str
    found: Incidence
    chance: float


def cut_face(faces: Sequence[Finding], cut_cm: float | None) -> str:
    """Sort one cut.

    Parameters
    ----------
    faces : sequence of Finding
        Findings of stained wood on the vine up to the day of the cut, in order of date. A look at a clean face is written
        with a stain of 0 cm.
    cut_cm : float or None
        Height of the final cut above the ground.

    Notes
    -----
    Of several faces at the height of the final cut, or of a last face without a height, the last one tells.
    """
    stained = [face for face in faces if face.pattern or (face.stain_cm or 0.0) > 0]
    heights = [face.cut_height_cm for face in stained if face.cut_height_cm is not None]
    last = faces[-1] if faces else None
    if cut_cm is None and last is not None:
        cut_cm = last.cut_height_cm
    if last is not None and last in stained and (
        last.cut_height_cm is None or cut_cm is None or last.cut_height_cm <= cut_cm
    ):  # fmt: skip
        return LEFT
    if heights and cut_cm is not None:
        return WELL if min(heights) - cut_cm >= WELL_BELOW_CM else CLOSE
    return CLEAN if last is not None and last not in stained else UNKNOWN


def relapse_by_cut(season: BlockSeason, steps: list[SeasonStep]) -> tuple[CutFace, ...]:
    """Count relapses by kind of cut, as far as the block was followed.

    Parameters
    ----------
    season : BlockSeason
        The block.
    steps : list of SeasonStep
        Its seasons.
    """
    counts = {kind: [0, 0] for kind in KINDS}
    for step in steps:
        for row, station in np.argwhere(step.relapse > 0).tolist():
            kind = _kind_of(season.reading.vine((row, station)), step.season)
            counts[kind][0] += int(step.relapsed[row, station])
            counts[kind][1] += 1
    relapses, risk = (sum(one[k] for one in counts.values()) for k in (0, 1))
    return tuple(
        CutFace(kind, incidence(k, n), (k + POOLED * relapses / risk) / (n + POOLED) if risk else float("nan"))
        for kind, (k, n) in counts.items()
    )


def _kind_of(vine: VineReading, season: int) -> str:
    done = [work for work in vine.work if work.done and work.kind in CLEARING and work.season <= season]
    if not done:
        return UNKNOWN
    last = max(done, key=lambda work: work.date)
    seen = [f for f in vine.findings if f.symptom == "wood_staining" and f.date <= last.date]
    return cut_face(seen, last.cut_height_cm)


def cut_face_sentences(found: tuple[CutFace, ...]) -> tuple[str, ...]:
    """Say it for a grower; nothing where no cut vine was followed."""
    known = [one for one in found if one.found.vines]
    if not known:
        return ()
    if [one.kind for one in known] == [UNKNOWN]:
        return (NOTHING_WRITTEN,)
    parts = [
        f"{one.kind}: {one.found.cases} of {one.found.vines} vine-seasons ({100 * one.found.low:.0f} to {100 * one.found.high:.0f} %)"
        for one in known
    ]
    return (
        "Relapses of renewed vines by what was written at the cut: " + "; ".join(parts) + ".",
        "Who cut lower may have cut other vines: the kinds were not drawn by lot. Write a look at a clean face as stained wood of 0 cm.",
    )
