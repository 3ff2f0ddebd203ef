"""What stands on a vine now, for every list and page that names it: one account, shared by report, plan, desk and crew."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trunkwatch.block.opening import BlockSeason
from trunkwatch.history.damage import Damage, EndKind, first_cut
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import plant_after
from trunkwatch.history.reading import BlockReading
from trunkwatch.history.vine_part import wire_share
from trunkwatch.history.written import Finding
from trunkwatch.vineyard.codes import COME_AND_GO, LASTING, SHOOT_WAITS

__all__ = ["VineNow", "last_evidence", "share_dead", "vine_now", "vines_now"]

#: Symptoms of this season that call for a look in winter besides damage.
_THIS_SEASON = frozenset({"leaf_stripe", "collapse", "stunted_shoots"})
_EVIDENCE = frozenset({*LASTING, *COME_AND_GO, "collapse", "dead", "wood_staining"})
_DOUBTS = (EndKind.CONTRADICTED, EndKind.UNMENTIONED)
#: Shoots that a vine can be renewed from, whatever it stands on.
_AT_HAND = frozenset({"trunk", "above_union", "own_root"})


@dataclass(frozen=True, slots=True)
class VineNow:
    """One vine as the record leaves it on a day.

    Attributes
    ----------
    cell : (int, int)
    damages : tuple of Damage
        What lasts and stands, oldest first.
    symptoms : tuple of Finding
        Case symptoms of the season that come and go, and that no work took away since.
    doubted : tuple of Damage
        Damage on which the records disagree: a later look saw nothing, or does not mention it; and nothing since
        mentions it.
    last_seen : str
        Last day on which any of `damages` was seen; where there are none of `symptoms`, else of `doubted`; empty where
        there is nothing.
    shoot, shoot_seen : str
        Shoot to renew from as last noted (empty where none is), and the day of that note.
    shoot_quality : str
        Its quality, as written with that note; empty where nothing was said of it.
    shoot_placed : bool
        Whether it comes from where a vine can be renewed from: below the union of a grafted vine it is rootstock.
    shoot_usable : bool
        Whether the vine can be renewed from it this winter: it is placed so, and nobody wrote that it is not good.
    percent : float or None
        Largest share dead of a part with damage; None where none is written.
    share : float or None
        Percent of the whole vine that is dead; None where nothing says how much.
    trunks : int
        Trunks of the vine that are known.
    stain_cm : float or None
        Lowest height above ground at which stain was seen.
    untidy : bool
        Dried clusters or old wood noted this season.
    """

    cell: Cell
    damages: tuple[Damage, ...]
    symptoms: tuple[Finding, ...]
    doubted: tuple[Damage, ...]
    last_seen: str
    shoot: str
    shoot_seen: str
    shoot_quality: str
    shoot_placed: bool
    shoot_usable: bool
    percent: float | None
    share: float | None
    trunks: int
    stain_cm: float | None
    untidy: bool

    @property
    def open(self) -> tuple[Finding, ...]:
        """Findings that speak for work: damage that stands and symptoms of this season, oldest first."""
        return tuple(sorted((*(d.finding for d in self.damages), *self.symptoms), key=lambda f: f.date))


def vines_now(season: BlockSeason) -> dict[Cell, VineNow]:
    """Return every vine of which something is on record, as of the day of the season; empty places left out."""
    return {cell: vine_now(season, cell) for cell in season.reading.vines if season.reading.stands(cell, season.as_of)}


def vine_now(season: BlockSeason, cell: Cell) -> VineNow:
    """Return one vine as of the day of the season (`BlockSeason.as_of`)."""
    reading, day = season.reading, season.as_of
    vine = reading.vine(cell)
    plant = plant_after(vine.plants, day)
    # A finding on an empty place is of no plant either: on the day of a removal nothing is carried over from a gap before.
    findings = [f for f in vine.findings if f.date <= day and f.plant == plant] if plant >= 0 else []
    work = [w for w in vine.work if w.done and w.date <= season.known_until]
    # What is cut is gone, whatever else ended it first: a cut is known as soon as it is written.
    uncut = {f.id for f in findings if not first_cut(work, vine.plants[plant], f)}
    damages = tuple(d for d in reading.damages.standing(cell, day) if d.finding.id in uncut)
    symptoms = tuple(f for f in findings if f.id in uncut and f.symptom in _THIS_SEASON and f.season >= season.season)
    doubted = tuple(d for d in _doubted(reading, cell, day) if d.finding.id in uncut and not _mentioned(d, damages))
    many = str(season.block.get("training") or "") == "multi_trunk"
    trunks = max([2 if many else 1, *(f.part.trunk for f in findings), *(w.trunk for w in work)])
    days = [d.last_seen(day) for d in damages] or [f.date for f in symptoms]
    noted = [(f.date, f.shoot, f.shoot_quality) for f in findings if f.shoot]
    shoot_seen, shoot, quality = noted[-1] if noted else ("", "", "")
    placed = shoot in _AT_HAND or (shoot == "below_union" and not season.grafted)
    shares = [share for d in damages if (share := d.finding.percent_dead) is not None]
    return VineNow(
        cell,
        damages,
        symptoms,
        doubted,
        max(days or [d.last_seen(day) for d in doubted], default=""),
        "" if shoot == "none" else shoot,
        shoot_seen,
        "" if shoot == "none" else quality,
        placed,
        placed and quality not in SHOOT_WAITS,
        max(shares, default=None),
        share_dead([d.finding for d in damages], str(season.block.get("training") or ""), trunks),
        trunks,
        _stain(findings),
        any(f.symptom in ("mummies", "old_wood_left") and f.season >= season.season for f in findings),
    )


def _doubted(reading: BlockReading, cell: Cell, day: str) -> list[Damage]:
    return [d for d in reading.damages.of(cell) if any(d.ended(kind, day) for kind in _DOUBTS)]


def _mentioned(damage: Damage, standing: Sequence[Damage]) -> bool:
    """Tell whether what stands is the same damage, noted anew."""
    return any(
        d.finding.symptom == damage.finding.symptom and d.finding.part.may_be(damage.finding.part) for d in standing
    )


def last_evidence(reading: BlockReading, cell: Cell, day: str = "9999-99-99") -> str:
    """Return when symptoms, damage or death were last seen on the vine that stands in a cell; empty where they never were."""
    vine = reading.vine(cell)
    plant = plant_after(vine.plants, day)
    if plant < 0:
        return ""  # a finding on an empty place is of no plant either, and calls for nothing
    return max(
        (
            f.date
            for f in vine.findings
            if f.plant == plant and f.date <= day and f.symptom in _EVIDENCE and not f.clean_face
        ),
        default="",
    )


def share_dead(findings: Sequence[Finding], training: str, trunks: int) -> float | None:
    """Return the percent of the vine that is dead: that of each part by the part's share of the vine.

    Parameters
    ----------
    findings : sequence of Finding
        Damage that stands, oldest first.
    training : str
        Of the block; it says how many arms share the wire.
    trunks : int
        Trunks of the vine.

    Returns
    -------
    float or None
        0 to 100; the last `empty_percent` where one is written; None where nothing says how much.
    """
    empty = [f.empty_percent for f in findings if f.empty_percent is not None]
    if empty:
        return empty[-1]
    parts: dict[tuple[int, str], float] = {}
    for f in findings:
        if f.percent_dead is not None:
            share = f.percent_dead * wire_share(f.part, training, trunks)
            key = f.part.trunk, f.part.arm
            parts[key] = max(parts.get(key, 0.0), share)
    return min(100.0, math.fsum(parts.values())) if parts else None


def _stain(findings: Sequence[Finding]) -> float | None:
    heights = [
        max(0.0, f.cut_height_cm - (f.stain_cm or 0.0))
        for f in findings
        if f.symptom == "wood_staining" and not f.clean_face and f.cut_height_cm is not None
    ]
    return min(heights, default=None)
