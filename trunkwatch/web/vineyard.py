"""What the pages ask of the vineyard file: blocks, grids, vines; read anew when the file has changed."""

import datetime as dt
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from trunkwatch.errors import RecordError, UnknownVineError
from trunkwatch.maps.frame import drawing_frame
from trunkwatch.maps.map_data import map_data
from trunkwatch.season import BlockSeason, load, trend_of
from trunkwatch.season.to_walk import ToWalk, to_walk
from trunkwatch.season.vine_records import vine_records
from trunkwatch.sheets.paper import SHORT
from trunkwatch.store import Store
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["Vineyard"]

T = TypeVar("T")
#: Answers that are kept until the file changes.
KEPT = 64


@dataclass(slots=True)
class Vineyard:
    """One file, and answers that hold as long as it does not change."""

    path: Path
    _kept: dict[tuple[str, ...], Any] = field(default_factory=dict)
    _version: str = ""
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def version(self) -> str:
        """Return a mark of the file that changes with every write."""
        told = self.path.stat()
        return f"{told.st_ino:x}-{told.st_mtime_ns:x}-{told.st_size:x}"

    def _remember(self, key: tuple[str, ...], make: Callable[[], T]) -> T:
        with self._lock:
            now = self.version()
            if now != self._version or len(self._kept) > KEPT:
                self._kept.clear()
                self._version = now
            if key in self._kept:
                found: T = self._kept[key]
                return found
        made = make()
        with self._lock:
            if self.version() == now == self._version:
                self._kept[key] = made
        return made

    def labels(self) -> tuple[str, ...]:
        """Return the labels of all blocks."""

        def make() -> tuple[str, ...]:
            with Store.open(self.path) as store:
                return store.blocks()

        return self._remember(("labels",), make)

    def season(self, block: str, season: int | None = None) -> BlockSeason:
        """Load a block up to a season.

        Raises
        ------
        TrunkwatchError
            If there is no such block or season, or nothing on record yet.
        """

        def make() -> BlockSeason:
            with Store.open(self.path) as store:
                return load(store, block, season)

        return self._remember(("season", block, str(season)), make)

    def walk(self, block: str, season: int | None = None) -> ToWalk:
        """Return a block that is about to be walked."""

        def make() -> ToWalk:
            with Store.open(self.path) as store:
                return to_walk(store, block, season)

        return self._remember(("walk", block, str(season)), make)

    def line(self, block: str) -> dict[str, Any]:
        """Return the line of a block in the list of blocks."""

        def make() -> dict[str, Any]:
            try:
                found = self.season(block)
            except RecordError as error:
                return {"block": block, "reason": str(error)}
            trend = trend_of(found)
            last = trend.counted[-1] if trend.counted else None
            looks = found.records.surveys
            return {
                "block": block, "reason": "" if last else "no season counts yet", "season": last.season if last else None,
                "annual": last.rates["annual"] if last else None, "ever": last.rates["ever"] if last else None,
                "limits": last.limits["annual"] if last else None,
                "last_look": str(looks["date"].max()) if len(looks) else "",
                "trend": [(one.season, one.rates["annual"].share if not one.rates["annual"].reason else None) for one in trend.seasons],
                "planned": int((found.records.work["status"] == "planned").sum()),
            }  # fmt: skip

        return self._remember(("line", block), make)

    def grid(self, block: str) -> dict[str, Any]:
        """Return all that the page draws of a block: places, conditions of every season, events."""

        def make() -> dict[str, Any]:
            walk = self.walk(block, None if self._has_seasons(block) else _this_year())
            history, records = walk.history, walk.records
            frame = drawing_frame(
                history.grid, None, bearing_deg=number_or_none(records.block.get("row_bearing_deg")),
                rows_go=str(records.block.get("rows_go") or "right"),
            )  # fmt: skip
            data = map_data(history, frame, None, history.seasons[-1]) if history.seasons else _bare(walk, frame)
            training = str(records.block.get("training") or "bilateral")
            return data | {
                "first_of": [int(one) for one in history.grid.first], "last_of": [int(one) for one in history.grid.last],
                "arms": list(codes.ARMS.get(training, codes.ARMS["bilateral"])),
                "symptoms": dict(codes.SYMPTOMS), "short": {short: code for code, short in SHORT.items()},
                "version": self.version(),
            }  # fmt: skip

        return self._remember(("grid", block), make)

    def _has_seasons(self, block: str) -> bool:
        try:
            self.walk(block)
        except RecordError:
            return False
        return True

    def vine(self, block: str, row: str, position: str) -> list[dict[str, str]]:
        """Return every record of a vine, for the page."""
        try:
            with Store.open(self.path) as store:
                found = vine_records(store, block, row, position)
        except UnknownVineError:
            return []
        return [
            {"id": one.id, "table": one.table, "date": one.date, "text": one.text, "fate": one.fate, "observer": one.observer,
             "recorded_at": one.recorded_at, "corrects": one.corrects}
            for one in found
        ]  # fmt: skip


def _this_year() -> int:
    return dt.datetime.now().astimezone().year


def _bare(walk: ToWalk, frame: Any) -> dict[str, Any]:
    """Return a block without any season: places, and every vine as not seen."""
    import numpy as np

    from trunkwatch.history import Condition
    from trunkwatch.maps.look import INK, LOOKS, PAPER
    from trunkwatch.maps.map_data import look_data

    grid = walk.history.grid
    at = np.argwhere(grid.exists)
    return {
        "block": grid.block, "seasons": [], "first": 0, "x": np.rint(100 * frame.x[grid.exists]).astype(int).tolist(),
        "y": np.rint(100 * frame.y[grid.exists]).astype(int).tolist(), "row": at[:, 0].tolist(),
        "position": grid.position[grid.exists].tolist(), "labels": list(grid.rows), "events": {}, "vine_m": frame.vine_m,
        "along": [[round(float(v), 4) for v in pair] for pair in frame.along], "ink": INK, "paper": PAPER,
        "looks": {str(int(one)): look_data(one, LOOKS[one]) for one in Condition if one in LOOKS},
    }  # fmt: skip
