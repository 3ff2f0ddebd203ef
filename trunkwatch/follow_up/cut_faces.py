"""Relapse by what was seen at the cut: stain left in the face, clean wood close below the last stain, or well below it."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.forecast.vine_years import SeasonStep
from trunkwatch.history.reading import VineReading
from trunkwatch.history.written import Finding
from trunkwatch.stats.shares import Incidence, incidence
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["CutFace", "Face", "cut_face", "relapse_by_cut"]

#: Clean wood below the last stain that counts as well below it; Sosnowski, Wicks and Scott 2011 cut all stained wood and
#: 10 cm more (Phytopathol. Mediterr. 50:277).
WELL_BELOW_CM = 10.0
#: Relapses of all cuts together count as so many vine-seasons for each kind of cut (our own convention).
POOLED = 20.0


class Face(Enum):
    """What was seen at the final cut."""

    STAINED = 1
    CLOSE = 2
    WELL_BELOW = 3
    CLEAN = 4
    UNKNOWN = 5


@dataclass(frozen=True, slots=True)
class CutFace:
    """Relapses of one kind of cut.

    Attributes
    ----------
    kind : Face
    found : Incidence
        Relapses over vine-seasons at risk, of this kind alone, with Wilson limits.
    chance : float
        Yearly chance of a relapse, drawn towards that of all cuts together; nan where no cut was followed.
    """

    kind: Face
    found: Incidence
    chance: float


def cut_face(faces: Sequence[Finding], cut_cm: float | None) -> Face:
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
    stained = [face for face in faces if not face.clean_face]
    heights = [face.cut_height_cm for face in stained if face.cut_height_cm is not None]
    last = faces[-1] if faces else None
    if cut_cm is None and last is not None:
        cut_cm = last.cut_height_cm
    if (
        last is not None
        and last in stained
        and (last.cut_height_cm is None or cut_cm is None or last.cut_height_cm <= cut_cm)
    ):
        return Face.STAINED
    if heights and cut_cm is not None:
        return Face.WELL_BELOW if min(heights) - cut_cm >= WELL_BELOW_CM else Face.CLOSE
    return Face.CLEAN if last is not None and last not in stained else Face.UNKNOWN


def relapse_by_cut(season: BlockSeason, steps: list[SeasonStep]) -> tuple[CutFace, ...]:
    """Count relapses by kind of cut, as far as the block was followed.

    Parameters
    ----------
    season : BlockSeason
        The block.
    steps : list of SeasonStep
        Its seasons.
    """
    counts = {kind: [0, 0] for kind in Face}
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


def _kind_of(vine: VineReading, season: int) -> Face:
    done = [work for work in vine.work if work.done and work.kind in CLEARING and work.season <= season]
    if not done:
        return Face.UNKNOWN
    last = max(done, key=lambda work: work.date)
    seen = [f for f in vine.findings if f.symptom == "wood_staining" and f.date <= last.date]
    return cut_face(seen, last.cut_height_cm)
