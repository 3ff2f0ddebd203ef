"""trunkwatch.programme: clearing, in_use, and the marks of content that are kept; which results go, and which never do."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest
from click.testing import CliRunner
from made_programme import OPEN, Grower, make_vineyard, write_catalogue

from trunkwatch.block import open_vineyard
from trunkwatch.cli import main
from trunkwatch.errors import FileError
from trunkwatch.intake import add_records
from trunkwatch.programme.catalogue import read_catalogue
from trunkwatch.programme.clearing import clear_results
from trunkwatch.programme.content import Contents, block_content, stamp_of, vineyard_content
from trunkwatch.programme.in_use import alone, under_way

ALL = ("report", "handout", "compare")


def run(*words):
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result


@pytest.fixture
def programme(tmp_path):
    """One grower with a folder of notes, one with a file."""
    make_vineyard(tmp_path / "v0", 0, labels=["A", "B"], seasons=(2025, 2026))
    make_vineyard(tmp_path / "notes", 1, labels=["A", "B"], seasons=(2025, 2026))
    run("load", tmp_path / "v1.gpkg", tmp_path / "notes")
    write_catalogue(tmp_path, [Grower("G 0", "v0", ALL, OPEN), Grower("G 1", "v1.gpkg", ALL, OPEN)])
    return tmp_path


def ready(folder, *words):
    return json.loads(run("programme", folder, "ready", "--workers", 1, *words, "--json").stdout)


def results(folder):
    return {path.name for path in (folder / ".results").glob("*-*.json") if not path.name.startswith("contents-")}


def clear(folder, **rule):
    return clear_results(folder, read_catalogue(folder), folder / ".results", **rule)


def one_more_finding(folder):
    """Write a finding into block A of the grower with the file."""
    add_records(
        folder / "v1.gpkg",
        "symptoms",
        [{"block": "A", "row": "1", "position": "3", "date": "2026-08-02", "symptom": "canker", "observer": "Ida"}],
    )


@pytest.mark.long
def test_what_no_record_names_goes_when_it_is_old_and_what_is_named_stays(programme):
    ready(programme)
    ready(programme, "--season", 2025)  # other options of the same records are named, too
    before = results(programme)
    assert len(before) == 8
    one_more_finding(programme)
    ready(programme)
    new = results(programme) - before
    assert len(new) == 1
    young = clear(programme)
    assert (young.named, young.unnamed, young.cleared) == (8, 3, 0)  # results and marks of content of the file
    assert results(programme) == before | new
    gone = clear(programme, older_than_days=0)
    assert gone.cleared == 3  # of the earlier records of one block under two options, and the marks of the earlier file
    assert len(results(programme)) == 7
    assert new < results(programme)
    assert ready(programme)["computed"] == 0


@pytest.mark.long
def test_of_young_ones_the_oldest_go_where_they_take_too_much(programme):
    ready(programme)
    before = results(programme)
    one_more_finding(programme)
    cache = programme / ".results"
    for number, name in enumerate(("aa-1.json", "bb-1.json", "cc-1.json")):
        (cache / name).write_bytes(b"x" * 400_000)
        os.utime(cache / name, (time.time() - 3600 * (3 - number),) * 2)
    done = clear(programme, at_most_mb=0.9)
    assert done.cleared == 1
    assert not (cache / "aa-1.json").exists()
    assert (cache / "bb-1.json").exists()
    assert before < results(programme)


@pytest.mark.long
def test_where_a_vineyard_cannot_be_read_nothing_is_cleared(programme):
    ready(programme)
    (programme / "v0" / "symptoms.csv").write_text("block,row\nA,1,2,3\n", "utf-8")
    before = results(programme)
    done = clear(programme, older_than_days=0)
    assert (done.unread, done.cleared) == (("G 0",), 0)
    assert results(programme) == before
    told = run("programme", programme, "clear", "--older-than", 0).stdout
    assert "nothing cleared: G 0 cannot be read" in told


@pytest.mark.long
def test_nothing_is_cleared_while_a_run_is_under_way_and_a_run_that_was_ended_holds_nothing(programme):
    ready(programme)
    (programme / ".results" / "aa-1.json").write_text("{}", "utf-8")
    hold = (
        "import sys, time; from pathlib import Path; from trunkwatch.programme.in_use import under_way\n"
        "with under_way(Path(sys.argv[1])):\n    print('there', flush=True); time.sleep(600)"
    )
    running = subprocess.Popen(
        [sys.executable, "-c", hold, str(programme / ".results")], stdout=subprocess.PIPE, text=True
    )
    assert running.stdout.readline() == "there\n"
    with pytest.raises(FileError, match="is under way: clear when it is done"):
        clear(programme, older_than_days=0)
    assert (programme / ".results" / "aa-1.json").exists()
    result = CliRunner().invoke(main, ["programme", str(programme), "clear", "--older-than", "0"])
    assert result.exit_code == 1
    os.kill(running.pid, signal.SIGKILL)
    running.wait()
    running.stdout.close()
    assert clear(programme, older_than_days=0).cleared == 1
    assert not list((programme / ".results").glob(".run-*"))


def test_two_runs_go_on_beside_each_other_and_neither_is_alone(tmp_path):
    with under_way(tmp_path), under_way(tmp_path), alone(tmp_path) as nobody:
        assert not nobody
    with alone(tmp_path) as nobody:
        assert nobody


@pytest.mark.long
def test_half_written_files_go_after_a_day(programme):
    ready(programme)
    cache = programme / ".results"
    for name, hours in ((".aa.part", 30), (".bb.part", 1)):
        (cache / name).write_text("half")
        os.utime(cache / name, (time.time() - 3600 * hours,) * 2)
    clear(programme)
    assert [path.name for path in cache.glob(".*.part")] == [".bb.part"]


@pytest.mark.long
def test_clear_says_what_it_did_as_json(programme):
    ready(programme)
    told = json.loads(run("programme", programme, "clear", "--json").stdout)["cleared"]
    assert told == {"named": 5, "unnamed": 0, "cleared": 0, "megabytes": 0, "unread": []}


def test_marks_of_a_file_are_kept_and_change_with_its_records(programme, monkeypatch):
    def marks():
        with open_vineyard(programme / "v1.gpkg") as store:
            contents = Contents(store, programme / "kept")
            found = {label: contents.block(label) for label in store.blocks()} | {"whole": contents.vineyard()}
            contents.keep()
            assert found == {label: block_content(store, label) for label in store.blocks()} | {
                "whole": vineyard_content(store)
            }
            return found

    first = marks()
    with open_vineyard(programme / "v1.gpkg") as store, monkeypatch.context() as patched:
        patched.setattr("trunkwatch.programme.content.block_content", lambda *_: pytest.fail("it was kept"))
        assert Contents(store, programme / "kept").block("A") == first["A"]
    one_more_finding(programme)
    now = marks()
    assert {name for name in now if now[name] != first[name]} == {"A", "whole"}


def test_a_file_that_another_program_wrote_to_is_known_by_what_it_holds(programme):
    import sqlite3

    with open_vineyard(programme / "v1.gpkg") as store:
        assert stamp_of(store) != vineyard_content(store)
    with sqlite3.connect(programme / "v1.gpkg") as base:
        base.execute("CREATE TABLE of_others (x)")
    base.close()
    with open_vineyard(programme / "v1.gpkg") as store:
        assert stamp_of(store) == vineyard_content(store)
