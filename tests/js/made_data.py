"""What the three faces are told of one small block, made by the package itself, for the tests of the scripts."""

import datetime as dt
import json
from pathlib import Path

import numpy as np

from trunkwatch.intake.handed_over import BlockMark
from trunkwatch.maps.frame import drawing_frame
from trunkwatch.maps.map_data import map_data
from trunkwatch.maps.scripts import joined
from trunkwatch.sheets.field_page import SCRIPTS, SHARED, field_data
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard.calendar import look_of, season_of
from trunkwatch.vineyard.codes import HEMISPHERES
from trunkwatch.vineyard.tables import TABLES, frame_of
from trunkwatch.web.vineyard import Vineyard

#: Row 2 is numbered from the far end, row 3 from 10 on; rows 1 and 2 have a post behind position 3.
_ROWS = [
    {"row": "1", "first": 1, "last": 6, "bay_ends": "3"},
    {"row": "2", "first": 1, "last": 6, "bay_ends": "3", "numbered_from": "end"},
    {"row": "3", "first": 10, "last": 15},
]
_PLANTS = [
    {"row": "1", "position": "5", "reason": "missing"},
    {"row": "2", "position": "2", "removed": "2023-12-01", "reason": "dead"},
    {"row": "2", "position": "2", "planted": "2025-04-01"},
]
_LOOKS = [(day, row) for day in ("2024-08-20", "2025-08-20") for row in ("1", "2", "3:10..12")]
_SYMPTOMS = [
    {"row": "1", "position": "2", "date": "2024-08-20", "symptom": "leaf_stripe"},
    {"row": "1", "position": "3", "date": "2025-08-20", "symptom": "leaf_stripe"},
    {"row": "1", "position": "4", "date": "2025-08-20", "symptom": "dead_arm", "arm": "end"},
    {"row": "2", "position": "6", "date": "2025-08-20", "symptom": "dead"},
    {"row": "2", "position": "4", "date": "2024-08-20", "symptom": "dead_arm", "arm": "start"},
    {"row": "3", "position": "14", "date": "2025-08-20", "symptom": "leaf_stripe"},
]
_WORK = [
    {"row": "2", "position": "4", "date": "2025-01-20", "kind": "renew_arm", "arm": "start", "status": "done"},
    {"id": "p1", "row": "1", "position": "4", "date": "2025-12-01", "kind": "renew_arm", "arm": "end", "status": "planned"},
    {"id": "p2", "row": "1", "position": "3", "date": "2025-12-01", "kind": "renew_trunk", "status": "planned"},
    {"id": "p4", "row": "2", "position": "1", "date": "2025-12-01", "kind": "train", "status": "planned"},
    {"id": "p3", "row": "2", "position": "6", "date": "2025-12-01", "kind": "replant", "status": "planned"},
]  # fmt: skip


def _frames():
    block = {"block": "B", "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 47.0}
    surveys = [{"date": day, "covered": covered} for day, covered in _LOOKS]
    tables = {"rows": _ROWS, "plants": _PLANTS, "surveys": surveys, "symptoms": _SYMPTOMS, "work": _WORK}
    placed = {name: [{"block": "B", **line} for line in lines] for name, lines in tables.items()}
    return {name: frame_of(name, lines) for name, lines in {"blocks": [block], **placed}.items()}


def _calendar() -> list[list[object]]:
    """Return the first and the last day of every month on both sides, with its season and its inspection."""
    months = [
        (dt.date(2024, month, 1), dt.date(2024, month + 1, 1) if month < 12 else dt.date(2025, 1, 1))
        for month in range(1, 13)
    ]
    days = [day for first, after in months for day in (first, after - dt.timedelta(days=1))]
    return [[side, day.isoformat(), season_of(day, side), look_of(day, side)] for side in HEMISPHERES for day in days]


def made_data(folder: Path) -> dict[str, object]:
    """Return what map, desk and phone are told of the block, and the limits of its tables."""
    path = folder / "made.gpkg"
    Store.create(path)
    with Store.writing(path) as store:
        store.append(_frames())
    with Store.open(path) as store:
        walk = to_walk(store, "B", 2025)
        history, grid = walk.history, walk.history.grid
        foci = [np.zeros(grid.shape, dtype=np.int64) for _ in history.seasons]
        foci[-1][0, 2:4] = 1  # the two vines of row 1 that show stand side by side
        mark = BlockMark(root="root", began="2024-01-01T08:00:00Z")
        phone = field_data(to_walk(store, "B", 2026), identity="v", look="dormant", language="en", mark=mark)
        drawn = map_data(history, drawing_frame(grid), foci, history.seasons[-1])
    parts = [*SHARED, *(f"field/{name}" for name in SCRIPTS)]
    symptoms = {column.name: [column.low, column.high] for column in TABLES["symptoms"].columns}
    return {
        "map": {**drawn, "base": "", "credit": ""},
        "desk": Vineyard(path).grid("B"),
        "phone": phone,
        "parts": parts,
        "scripts": {"map": joined("block_map.js"), "phone": joined(*parts)},
        "limits": symptoms,
        "calendar": _calendar(),
    }


def write_made(folder: Path) -> Path:
    """Write it as JSON into a folder, and return the file."""
    file = folder / "made.json"
    file.write_text(json.dumps(made_data(folder), ensure_ascii=False))
    return file
