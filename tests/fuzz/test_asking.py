"""trunkwatch.web: app, allowed, bodies, writing, imports, keeping, pairing; three hundred requests that nobody should make.

`python tests/fuzz/asking.py 20000` makes as many as one likes.
"""

import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from asking import World, ask, run

from trunkwatch.access.may import Right
from trunkwatch.web import allowed

REQUESTS, SEED = 300, 7


@pytest.mark.long
def test_no_request_brings_the_desk_down_or_writes_without_a_right(tmp_path):
    asked = run(REQUESTS, SEED, tmp_path)
    assert [one for one in asked if one.wrong] == []
    answers = {one.status for one in asked}
    assert {200, 302, 400, 401, 403, 404, 405, 409, 421} <= answers  # all kinds of doors were tried
    assert any(one.wrote for one in asked)


@pytest.mark.long
def test_a_door_left_open_would_be_found(tmp_path, monkeypatch):
    """Take the check of rights away: the same requests write what they may not."""
    monkeypatch.setattr("trunkwatch.web.app.check_right", lambda: None)
    monkeypatch.setattr("trunkwatch.web.writing.refuse", lambda *_: None)
    # Which requests come is by chance: some hundreds more are asked until one writes what it may not.
    for turn in range(8):
        (tmp_path / str(turn)).mkdir()
    turns = (run(REQUESTS, SEED + turn, tmp_path / str(turn)) for turn in range(8))
    assert any(one.wrong for asked in turns for one in asked)


def test_a_fault_of_the_program_would_be_found(tmp_path, monkeypatch):
    world = World(tmp_path, random.Random(1))
    monkeypatch.setattr(allowed, "NEEDS", {**allowed.NEEDS, "writing.log": None})  # a fault in the list itself
    assert any("TypeError" in wrong for _ in range(120) for wrong in ask(world).wrong)
    assert world.may("Kay") == frozenset(Right)


@pytest.mark.parametrize("depth", [2000, 100_000])
def test_json_nested_deeper_than_can_be_read_is_no_json(tmp_path, depth):
    world = World(tmp_path, random.Random(1))
    headers = {"Host": "127.0.0.1:8321", "Origin": "http://127.0.0.1:8321"}
    for where in ("/api/log", "/api/correct", "/api/planned-again", "/api/plan", "/api/field/North/sync", "/api/enter"):
        answer = world.browsers["Kay"].post(where, data=b"[" * depth, content_type="application/json", headers=headers)
        assert answer.status_code in (400, 403, 409), where
    assert world.broken == []
