"""trunkwatch.programme: road, content; what is kept, what is lost, and processes that are ended with kill -9."""

import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from made_programme import OPEN, Grower, make_vineyard, write_catalogue
from road_work import doubled, ends_its_process, refused

from trunkwatch.block import open_vineyard
from trunkwatch.errors import FileError
from trunkwatch.programme.content import block_content, key_of, vineyard_content
from trunkwatch.programme.road import Job, over_blocks, processes


def jobs(many, mark=""):
    return [Job(f"key{number}", (number, str(mark))) for number in range(many)]


def test_every_result_comes_in_the_order_of_the_jobs():
    walked = over_blocks(jobs(20), doubled, executor=lambda: ThreadPoolExecutor(3))
    assert [one.data for one in walked.outcomes] == [{"twice": 2 * number} for number in range(20)]
    assert (walked.computed, walked.kept) == (20, 0)


def test_each_result_is_handed_out_as_soon_as_it_is_there(tmp_path):
    for _ in range(2):  # worked out, and then kept
        told = {}
        walked = over_blocks(
            jobs(5), doubled, executor=lambda: ThreadPoolExecutor(2), kept_in=tmp_path, each=told.__setitem__
        )
        assert [told[number] for number in range(5)] == list(walked.outcomes)


def test_what_is_kept_is_not_worked_out_again(tmp_path):
    mark, kept = tmp_path / "mark", tmp_path / "kept"
    first = over_blocks(jobs(6, mark), doubled, executor=lambda: ThreadPoolExecutor(2), kept_in=kept)
    (kept / "key3.json").write_text("{half", "utf-8")  # as a damaged disk leaves it
    (kept / "key5.json").unlink()
    again = over_blocks(jobs(6, mark), doubled, executor=lambda: ThreadPoolExecutor(2), kept_in=kept)
    assert [one.data for one in first.outcomes] == [one.data for one in again.outcomes]
    assert (again.computed, again.kept) == (2, 4)
    assert sorted(mark.read_text().split()) == sorted(["0", "1", "2", "3", "4", "5", "3", "5"])


def test_one_that_fails_stops_no_other_and_says_why(tmp_path):
    walked = over_blocks(jobs(6), refused, executor=lambda: ThreadPoolExecutor(2), kept_in=tmp_path)
    assert [one.data for one in walked.outcomes] == [None, None, {"twice": 4}, None, None, {"twice": 10}]
    assert [one.reason for one in walked.outcomes][:2] == ["block 0 cannot be", "KeyError: 1"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["key2.json", "key5.json"]


@pytest.mark.long
def test_work_that_ends_its_process_is_given_up_and_all_else_is_done(tmp_path):
    walked = over_blocks(jobs(9, tmp_path / "mark"), ends_its_process, executor=processes(2), at_once=2)
    assert [one.data for one in walked.outcomes] == [None if n == 4 else {"twice": 2 * n} for n in range(9)]
    assert "is there enough memory?" in walked.outcomes[4].reason


def test_a_folder_that_cannot_be_made_is_an_error_with_the_way_out(tmp_path):
    (tmp_path / "kept").write_text("a file stands here")
    with pytest.raises(FileError, match="--cache names another folder"):
        over_blocks(jobs(1), doubled, executor=lambda: ThreadPoolExecutor(1), kept_in=tmp_path / "kept")


def content(path):
    with open_vineyard(path) as store:
        return vineyard_content(store), {label: block_content(store, label) for label in store.blocks()}


def test_a_key_changes_with_the_records_of_its_block_alone(tmp_path):
    path = make_vineyard(tmp_path / "v", 2)
    whole, before = content(path)
    assert (whole, before) == content(path)
    with (path / "symptoms.csv").open("a", encoding="utf-8") as file:
        file.write("Block 2,1,12,2026-08-02,leaf_stripe\n")
    now, after = content(path)
    assert now != whole
    assert {label for label in after if after[label] != before[label]} == {"Block 2"}
    assert key_of(now, {"seed": 1}) == key_of(now, {"seed": 1}) != key_of(now, {"seed": 2})
    assert key_of(now, {"seed": 1}) != key_of(whole, {"seed": 1})


@pytest.fixture
def forty(tmp_path):
    """Ten growers with four blocks each."""
    for number in range(10):
        make_vineyard(
            tmp_path / f"v{number}", number, labels=[f"Block {one}" for one in range(4)], seasons=range(2024, 2027)
        )
    write_catalogue(tmp_path, [Grower(f"G {n}", f"v{n}", ("report",), OPEN) for n in range(10)])
    return tmp_path


def command(folder, workers=2, out="pages"):
    return [
        sys.executable,
        "-m",
        "trunkwatch",
        "programme",
        str(folder),
        "report",
        "--permutations",
        "99",
        "--workers",
        str(workers),
        "--out",
        str(folder / out),
        "--json",
    ]


def kept(folder):
    return len(list((folder / ".results").glob("*.json"))) if (folder / ".results").exists() else 0


def wait_until(ready, running):
    end = time.monotonic() + 240
    while not ready():
        assert running.poll() is None, "the run ended before it could be ended"
        assert time.monotonic() < end
        time.sleep(0.02)


def workers_of(pid):
    """Return the processes of a pool, by /proc."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            if parent == pid and b"spawn_main" in (entry / "cmdline").read_bytes():
                found.append(int(entry.name))
        except (OSError, ValueError):
            continue
    return found


linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="processes are found by /proc")


@pytest.mark.long
@linux
def test_a_run_that_is_ended_twice_goes_on_where_it_was(forty):
    workers = []
    for least in (6, 18):
        running = subprocess.Popen(command(forty), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wait_until(lambda least=least: kept(forty) >= least, running)
        workers += workers_of(running.pid)
        os.kill(running.pid, signal.SIGKILL)
        running.wait()
    before = kept(forty)
    assert 18 <= before < 40
    told = json.loads(subprocess.run(command(forty), capture_output=True, check=True).stdout)
    assert (told["computed"], told["kept"]) == (40 - before, before)
    assert sum(len(block["pages"]) for one in told["growers"] for block in one["blocks"]) == 80
    again = json.loads(subprocess.run(command(forty), capture_output=True, check=True).stdout)
    assert (again["computed"], again["kept"]) == (0, 40)
    assert workers
    assert not [pid for pid in workers if Path(f"/proc/{pid}").exists()], "processes outlived the run that made them"


@pytest.mark.long
@linux
def test_two_processes_are_ended_and_forty_of_forty_are_done(forty):
    running = subprocess.Popen(command(forty), stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    for least in (6, 18):
        wait_until(lambda least=least: kept(forty) >= least and len(workers_of(running.pid)) == 2, running)
        os.kill(workers_of(running.pid)[0], signal.SIGKILL)
    told = json.loads(running.communicate()[0])
    assert running.returncode == 0
    blocks = [block for one in told["growers"] for block in one["blocks"]]
    assert len(blocks) == 40
    assert [block["reason"] for block in blocks] == [None] * 40


@pytest.mark.long
def test_one_worker_and_two_write_the_same_bytes(forty):
    pages = []
    for workers, out in ((1, "one"), (2, "two")):
        for path in (forty / ".results").glob("*"):
            path.unlink()
        subprocess.run(
            [*command(forty, workers, out), "--grower", "G 1", "--grower", "G 2"], check=True, capture_output=True
        )
        pages.append({path.relative_to(forty / out): path.read_bytes() for path in (forty / out).rglob("*.html")})
    assert len(pages[0]) == 16
    assert pages[0] == pages[1]
