"""Typed records for tests: a finding or a piece of work with only what matters written."""

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, read_block
from trunkwatch.history.vine_part import part_of
from trunkwatch.history.written import Finding, Named, Work
from trunkwatch.vineyard.tables import frame_of


def finding(symptom="dead_arm", arm="", trunk=0, **more):
    written = {
        "id": f"{symptom}{arm}{trunk}{more.get('date', '')}",
        "cell": (0, 0),
        "plant": 0,
        "date": "2024-02-01",
        "season": 2024,
        "kind": "dormant",
        "look": None,
        "symptom": symptom,
        "part": part_of(symptom, trunk, arm),
        "dead": None,
        "total": None,
        "percent": None,
        "empty_percent": None,
        "cut_height_cm": None,
        "stain_cm": None,
        "grade": "",
        "scale": "",
        "pattern": "",
        "cause": "",
        "shoot": "",
        "shoot_quality": "",
        "photo": "",
        "observer": "",
        "note": "",
        "named": Named("1", "1"),
        "read_from": "",
    }
    return Finding(**(written | more))


def work(kind="renew_arm", date="2024-02-20", **more):
    written = {
        "id": f"{kind}{date}",
        "root": f"{kind}{date}",
        "cell": (0, 0),
        "plant": 0,
        "date": date,
        "season": int(date[:4]),
        "kind": kind,
        "status": "done",
        "trunk": 0,
        "arm": "",
        "cut_height_cm": None,
        "hours": None,
        "cost": None,
        "crew": "",
        "note": "",
        "observer": "",
        "device": "",
        "named": Named("1", "1"),
        "read_from": "",
    }
    return Work(**(written | more))


def reading_of(block, **tables):
    """Return the reading of a block: its line, and lists of records by table."""
    frames = {name: frame_of(name, tables.get(name, [])) for name in ("rows", "plants", "surveys", "symptoms", "work")}
    records = BlockRecords(block=frame_of("blocks", [block]).iloc[0].to_dict(), **frames)
    return read_block(records, RowGrid.from_tables(records.block, records.rows))
