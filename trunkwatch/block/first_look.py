"""Which vines to look at first this winter: those that show, the worst first."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.history import hemisphere_of
from trunkwatch.history.vine import Clearing, Finding
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import season_bounds
from trunkwatch.vineyard.codes import CLEARING
from trunkwatch.vineyard.tables import number_or_none, records_of

__all__ = ["WinterVine", "winter_list"]

#: Rank of a symptom where no share was written, and order among equal shares (common practice, no source).
_WEIGHT = {
    "dead_trunk": 6, "collapse": 5, "dead_arm": 4, "canker": 3, "leaf_stripe": 2, "stunted_shoots": 2, "dead_spurs": 1,
}  # fmt: skip
_GUESS = {"dead_trunk": 80.0, "collapse": 70.0, "dead_arm": 50.0, "canker": 30.0}


@dataclass(frozen=True, slots=True)
class WinterVine:
    """One vine to look at."""

    row: str
    position: int
    what: str
    percent: float | None  # worst share written down, of what is dead where anything is
    shoot: str  # renewal shoot in words; empty where none was noted
    below_union: bool  # on a grafted vine such a shoot is rootstock: never at hand
    seasons: int  # seasons in which it was a case

    @property
    def shoot_at_hand(self) -> bool:
        """Whether a shoot was noted that the vine can be renewed from."""
        return bool(self.shoot) and not self.below_union


def winter_list(season: BlockSeason) -> list[WinterVine]:
    """List the vines showing this season: those with dead wood first, then a renewal shoot and the largest share.

    The share is what scouts wrote; where they wrote none it is a guess by symptom that only
    serves to put the list in order.
    """
    history = season.history
    wanted = {(int(r), int(s)) for r, s in np.argwhere(season.cases)}
    grafted = str(season.records.block.get("grafted") or "")
    by_cell: dict[tuple[int, int], list[dict[str, object]]] = {cell: [] for cell in wanted}
    for line in records_of(season.records.symptoms):
        cell = _cell(season, str(line["row"]), str(line["position"]))
        if cell in by_cell:
            by_cell[cell].append(line)
    found = [_vine(season, cell, lines, grafted) for cell, lines in by_cell.items()]
    times = history.case.sum(axis=0)
    listed = [(vine, weight, int(times[cell])) for (vine, weight), cell in zip(found, by_cell, strict=True)]
    order = {label: number for number, label in enumerate(history.grid.rows)}
    listed.sort(key=lambda item: (-item[1], -item[2], order[item[0].row], item[0].position))
    return [vine for vine, _, _ in listed]


def _cell(season: BlockSeason, row: str, position: str) -> tuple[int, int] | None:
    grid = season.history.grid
    if row not in grid.rows or not position.isdecimal():
        return None
    number = grid.rows.index(row)
    at = np.flatnonzero(grid.position[number] == int(position))
    return (number, int(at[0])) if at.size else None


def _vine(
    season: BlockSeason, cell: tuple[int, int], lines: list[dict[str, object]], grafted: str
) -> tuple[WinterVine, float]:
    row, position = season.history.grid.label(*cell)
    cases = [line for line in lines if str(line["symptom"]) in _WEIGHT]
    cases.sort(key=lambda line: (str(line["date"]), _WEIGHT[str(line["symptom"])]))
    recent = _open_findings(season, row, str(position), cases)
    dead = [line for line in recent if str(line["symptom"]) in codes.LASTING]
    shares = [share for line in dead or recent if (share := _written_share(line)) is not None]
    guess = max((_GUESS.get(str(line["symptom"]), 10.0) for line in recent), default=10.0)
    what = "; ".join(dict.fromkeys(_short(line) for line in reversed(recent))) or "cut since it was seen"
    noted = [str(line["renewal_shoot"]) for line in sorted(lines, key=_date) if line["renewal_shoot"]]
    shoot = noted[-1] if noted and noted[-1] != "none" else ""  # as last noted: a shoot may be lost again
    below = shoot == "below_union" and grafted != "no"
    worst = max(shares) if shares else None
    weight = (100.0 if dead else 0.0) + (worst if worst is not None else guess) + (25.0 if shoot and not below else 0.0)
    times = int(season.history.case[:, cell[0], cell[1]].sum())
    words = codes.RENEWAL_SHOOTS.get(shoot, "")
    return WinterVine(row, position, what, worst, words, below, times), weight


def _written_share(line: dict[str, object]) -> float | None:
    """Return the percent written, or dead of all spur positions; None where nothing is written."""
    percent, dead, total = (number_or_none(line.get(name)) for name in ("percent", "dead", "total"))
    return percent if percent is not None or dead is None or not total else 100 * dead / total


def _date(line: dict[str, object]) -> str:
    return str(line["date"])


def _open_findings(
    season: BlockSeason, row: str, position: str, cases: list[dict[str, object]]
) -> list[dict[str, object]]:
    """Keep this season's findings and lasting ones from before, unless work has cut them out since."""
    work = season.records.work
    here = work[(work["row"] == row) & (work["position"] == position) & work["status"].isin(["", "done"])]
    cuts = [
        Clearing(
            str(line["date"]),
            CLEARING[str(line["kind"])],
            int(number_or_none(line["trunk"]) or 0),
            str(line["arm"]),
        )
        for line in here[here["kind"].isin(list(CLEARING))].to_dict("records")
    ]
    first, last = season_bounds(season.season, hemisphere_of(season.records.block))
    return [
        line
        for line in cases
        if (first <= str(line["date"]) <= last or (str(line["symptom"]) in codes.LASTING and str(line["date"]) <= last))
        and not any(cut.date >= str(line["date"]) and cut.clears(_finding(line)) for cut in cuts)
    ]


def _finding(line: dict[str, object]) -> Finding:
    symptom = str(line["symptom"])
    trunk = int(number_or_none(line["trunk"]) or 0)
    return Finding(str(line["date"]), 0, symptom, trunk, str(line["arm"]), case=True, lasting=False, counted=True)


def _short(line: dict[str, object]) -> str:
    words = codes.SYMPTOMS[str(line["symptom"])]
    parts = []
    trunk = number_or_none(line["trunk"])
    if trunk is not None:
        parts.append(f"trunk {trunk:.0f}")
    if line["arm"]:
        parts.append(str(line["arm"]).replace("_", " "))
    return f"{words.split(':')[0].split(' (')[0]} ({', '.join(parts)})" if parts else words
