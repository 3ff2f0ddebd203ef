"""What a decision needs to know of each vine, gathered from its records."""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.history import Condition, hemisphere_of
from trunkwatch.history.block_reader import BlockReader
from trunkwatch.history.places import Cell
from trunkwatch.history.vine import Clearing, Finding
from trunkwatch.renewal.plan import VineFacts
from trunkwatch.vineyard.calendar import season_bounds, season_of
from trunkwatch.vineyard.codes import CLEARING, LASTING
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["facts_of_vines", "share_dead"]

#: Arms that share the wire of a vine; two where the training is not written.
_ARMS_ON_THE_WIRE = {"unilateral": 1, "cane_1": 1, "double_wire": 4, "divided": 4, "cane_4": 4}
_ON_ARMS = frozenset({"dead_arm", "dead_spurs", "stunted_shoots"})
_ON_TRUNK = frozenset({"dead_trunk", "canker"})
_CASES = frozenset({*LASTING, "leaf_stripe", "collapse", "stunted_shoots"})


def facts_of_vines(season: BlockSeason, states: NDArray[np.uint8]) -> list[VineFacts]:
    """Gather the facts of every vine that is not simply sound.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season that has just been looked at.
    states : (rows, stations) uint8 array
        As `trunkwatch.renewal.states.initial_states` gives them.
    """
    reader = BlockReader(season.records, season.history.grid)
    end = season_bounds(season.season, reader.hemisphere)[1]
    findings: defaultdict[Cell, list[dict[str, Any]]] = defaultdict(list)
    work: defaultdict[Cell, list[dict[str, Any]]] = defaultdict(list)
    for cell, line in reader.findings:
        if str(line["date"]) <= end:
            findings[cell].append(line)
    for cell, line in reader.work:
        work[cell].append(line)
    exists = season.history.grid.exists
    grafted = str(season.records.block.get("grafted") or "") != "no"
    many_trunks = str(season.records.block.get("training") or "") == "multi_trunk"
    out = []
    for row, station in np.argwhere(exists & (states != 1) | _noted(findings, exists.shape)).tolist():
        cell = (int(row), int(station))
        out.append(
            _facts(
                season, cell, int(states[cell]), findings[cell], work[cell], grafted=grafted, many_trunks=many_trunks
            )
        )
    return out


def _noted(findings: dict[Cell, list[dict[str, Any]]], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    out = np.zeros(shape, dtype=bool)
    for cell, lines in findings.items():
        out[cell] = any(line["symptom"] in ("mummies", "old_wood_left") for line in lines)
    return out


def _facts(
    season: BlockSeason, cell: Cell, state: int, lines: list[dict[str, Any]], work: list[dict[str, Any]], *, grafted: bool,
    many_trunks: bool,
) -> VineFacts:  # fmt: skip
    hemisphere = hemisphere_of(season.records.block)
    open_lines = [line for line in lines if line["symptom"] in _CASES and not _cut(line, work)]
    now = [
        line
        for line in open_lines
        if line["symptom"] in LASTING or season_of(str(line["date"]), hemisphere) == season.season
    ]
    arms = frozenset(str(line["arm"]) for line in now if line["symptom"] in _ON_ARMS)
    trunks = frozenset(int(number_or_none(line["trunk"]) or 0) for line in now if line["symptom"] in _ON_TRUNK)
    dead = [line for line in now if line["symptom"] in LASTING]
    many = max([2 if many_trunks else 1, *(int(number_or_none(line["trunk"]) or 0) for line in (*lines, *work))])
    shares = [share for line in dead if not math.isnan(share := _percent(line))]
    noted = sorted(lines, key=lambda line: str(line["date"]))
    shoots = [str(line["renewal_shoot"]) for line in noted if line["renewal_shoot"]]
    this = [line for line in lines if season_of(str(line["date"]), hemisphere) == season.season]
    history = season.history
    before = history.had_case[season.index - 1][cell] if season.index else False
    return VineFacts(
        cell, state, arms, trunks, many, max(shares, default=math.nan),
        "" if not shoots or shoots[-1] == "none" else shoots[-1], grafted, _stain(lines), _trained(season, cell),
        any(line["symptom"] in ("mummies", "old_wood_left") for line in this), bool(history.had_case[season.index][cell] and not before),
        share_dead(dead, training=str(season.records.block.get("training") or ""), trunks=many),
    )  # fmt: skip


def _percent(line: Mapping[str, Any]) -> float:
    """Return the percent of its part that a finding calls dead: as written, of its spurs, or all of a dead part; nan unknown."""
    written, dead, total = (number_or_none(line.get(name)) for name in ("percent", "dead", "total"))
    if written is not None:
        return written
    if dead is not None and total:
        return 100 * dead / total
    return 100.0 if line["symptom"] in ("dead_arm", "dead_trunk") else math.nan


def share_dead(lines: Sequence[Mapping[str, Any]], *, training: str, trunks: int) -> float:
    """Return the percent of the vine that is dead: that of each part by the part's share of the vine.

    Parameters
    ----------
    lines : sequence of mappings
        Lasting findings that no work cleared, oldest first, as records of the `symptoms` table.
    training : str
        Of the block; it says how many arms share the wire.
    trunks : int
        Trunks of the vine.

    Returns
    -------
    float
        0 to 100; the last `empty_percent` where one is written; nan where nothing says how much.
    """
    empty = [told for line in lines if (told := number_or_none(line.get("empty_percent"))) is not None]
    if empty:
        return empty[-1]
    parts: dict[tuple[int, str], float] = {}
    for line in lines:
        trunk, arm = int(number_or_none(line["trunk"]) or 0), str(line["arm"] or "")
        part = 1.0 if arm in ("", "head") else 1 / _ARMS_ON_THE_WIRE.get(training, 2)
        part /= trunks if trunk else 1
        if not math.isnan(told := _percent(line)):
            parts[trunk, arm] = max(parts.get((trunk, arm), 0.0), told * part)
    return min(100.0, sum(parts.values())) if parts else math.nan


def _cut(line: dict[str, Any], work: list[dict[str, Any]]) -> bool:
    finding = Finding(
        str(line["date"]),
        0,
        str(line["symptom"]),
        int(number_or_none(line["trunk"]) or 0),
        str(line["arm"]),
        case=True,
        lasting=False,
        counted=True,
    )
    return any(
        one["kind"] in CLEARING and str(one["date"]) >= finding.date
        and Clearing(str(one["date"]), CLEARING[str(one["kind"])], int(number_or_none(one["trunk"]) or 0), str(one["arm"])).clears(finding)
        for one in work
    )  # fmt: skip


def _stain(lines: list[dict[str, Any]]) -> float:
    """Lowest height above ground at which stain was seen; nan where none was."""
    heights = []
    for line in lines:
        cut = number_or_none(line["cut_height_cm"])
        if line["symptom"] == "wood_staining" and cut is not None:
            heights.append(max(0.0, cut - (number_or_none(line["stain_cm"]) or 0.0)))
    return min(heights, default=math.nan)


def _trained(season: BlockSeason, cell: Cell) -> int:
    """Count the winters since a renewal or replant that still is in training; 0 for none."""
    condition = season.history.condition[: season.index + 1, cell[0], cell[1]]
    run = 0
    for one in condition[::-1]:
        if one not in (Condition.RENEWED, Condition.YOUNG):
            break
        run += 1
    return run
