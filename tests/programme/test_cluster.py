"""trunkwatch.programme: cluster; a scheduler and two workers on this machine, one of them ended with kill -9."""

import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from made_programme import OPEN, Grower, make_vineyard, write_catalogue
from road_work import doubled

from trunkwatch.cli import main
from trunkwatch.errors import FileError, MissingExtraError, TrunkwatchError
from trunkwatch.programme import cluster
from trunkwatch.programme.cluster import executor_of, same_program
from trunkwatch.programme.road import Job, over_blocks

pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
ROOT = Path(__file__).resolve().parents[2]
#: Blocks of the made programme, by growers and of each.
GROWERS, EACH = 4, 4


@pytest.fixture
def started():
    """Start processes of Dask, and end those that are left."""
    running = []

    def start(module, *words):
        env = {**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}"}
        running.append(
            subprocess.Popen(
                [sys.executable, "-m", f"distributed.cli.{module}", *words],
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env=env,
            )
        )
        return running[-1]

    yield start
    for one in running:
        one.kill()
        one.wait()


@pytest.fixture
def two_workers(started, tmp_path):
    """Return the address of a scheduler and its two workers."""
    told = tmp_path / "scheduler.json"
    started("dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(told))
    address = wait_for(lambda: json.loads(told.read_text())["address"])
    workers = [
        started("dask_worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard", "--memory-limit", "0")
        for _ in range(2)
    ]
    both = f"from distributed import Client; Client({address!r}, timeout=120).wait_for_workers(2, timeout=120)"
    subprocess.run([sys.executable, "-c", both], check=True, capture_output=True)
    return address, workers


def wait_for(ask, seconds=120):
    end = time.monotonic() + seconds
    while True:
        try:
            answer = ask()
        except (OSError, ValueError):
            answer = None
        if answer:
            return answer
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.fixture
def programme(tmp_path):
    folder = tmp_path / "growers"
    folder.mkdir()
    for number in range(GROWERS):
        make_vineyard(folder / f"v{number}", number, labels=[f"B {one}" for one in range(EACH)], seasons=(2025, 2026))
    write_catalogue(folder, [Grower(f"G {n}", f"v{n}", ("report",), OPEN) for n in range(GROWERS)])
    return folder


def words(folder, workers, out):
    return ["programme", folder.name, "report", "--permutations", "99", "--workers", workers, "--out", out, "--json"]


@pytest.mark.long
def test_one_of_two_workers_is_ended_and_all_blocks_are_done(two_workers, programme):
    address, workers = two_workers
    # The path is given as seen from here: workers start in folders of their own.
    running = subprocess.Popen(
        [sys.executable, "-m", "trunkwatch", *words(programme, address, "there")],
        cwd=programme.parent,
        stdout=subprocess.PIPE,
    )
    wait_for(lambda: len(list((programme / ".results").glob("*.json"))) >= EACH)
    workers[0].kill()
    told = json.loads(running.communicate()[0])
    assert running.returncode == 0
    blocks = [block for one in told["growers"] for block in one["blocks"]]
    assert [block["reason"] for block in blocks] == [None] * GROWERS * EACH
    assert told["computed"] == GROWERS * EACH
    again = subprocess.run(
        [sys.executable, "-m", "trunkwatch", *words(programme, address, "there")],
        cwd=programme.parent,
        capture_output=True,
        check=True,
    )
    assert (json.loads(again.stdout)["computed"], json.loads(again.stdout)["kept"]) == (0, GROWERS * EACH)
    # On this machine the same pages come out, under the same keys.
    here = subprocess.run(
        [sys.executable, "-m", "trunkwatch", *words(programme, "1", "here"), "--cache", "elsewhere", "--grower", "G 1"],
        cwd=programme.parent,
        capture_output=True,
        check=True,
    )
    assert json.loads(here.stdout)["computed"] == EACH
    own = {
        path.relative_to(programme.parent / "here"): path.read_bytes()
        for path in (programme.parent / "here").rglob("*.html")
    }
    assert len(own) == 2 * EACH
    assert own == {path: (programme.parent / "there" / path).read_bytes() for path in own}
    assert {path.name for path in (programme.parent / "elsewhere").glob("*.json")} < {
        path.name for path in (programme / ".results").glob("*.json")
    }


def test_work_that_ends_every_worker_is_given_up_in_a_sentence():
    class KilledWorker(Exception):  # noqa: N818 - its name is what is asked
        """As the scheduler raises it."""

    from concurrent.futures import Future

    done, outer = Future(), Future()
    done.set_exception(KilledWorker("task", "worker", 3))
    cluster._hand_on(done, outer)
    with pytest.raises(TrunkwatchError, match="is there enough memory on the workers"):
        outer.result(0)


def test_a_scheduler_that_is_gone_breaks_the_executor():
    from concurrent.futures import BrokenExecutor, Future

    done, outer = Future(), Future()
    done.cancel()
    cluster._hand_on(done, outer)
    assert isinstance(outer.exception(0), BrokenExecutor)


def test_where_no_scheduler_answers_one_sentence_says_how_to_start_one(monkeypatch):
    monkeypatch.setattr(cluster, "_SECONDS", 1)
    with pytest.raises(FileError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9: `dask scheduler` starts one"):
        over_blocks([Job("a", (1,))], doubled, executor=executor_of("tcp://127.0.0.1:9"))


def test_a_worker_with_another_program_does_no_work():
    with pytest.raises(TrunkwatchError, match="install the same version on all machines"):
        same_program("trunkwatch 0.0.1", doubled, 2)
    assert same_program(cluster._mark(), doubled, 2) == {"twice": 4}
    assert re.fullmatch(r"trunkwatch \S+ [0-9a-f]{8}, numpy \S+, scipy \S+, pandas \S+", cluster._mark())


def test_without_dask_an_address_is_refused_in_one_sentence(monkeypatch, programme):
    monkeypatch.setattr(cluster, "find_spec", lambda _name: None)
    with pytest.raises(MissingExtraError, match=r"pip install 'trunkwatch\[cluster\]'"):
        executor_of("tcp://127.0.0.1:8786")
    result = CliRunner().invoke(
        main, ["programme", str(programme), "report", "--workers", "tcp://127.0.0.1:8786", "--json"]
    )
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert "--workers tcp://127.0.0.1:8786 needs dask" in result.stderr
    assert not (programme / ".results").exists()


@pytest.mark.parametrize("wrong", ["0", "-1", "two", "tcp://host", "http://host:1", "tcp://:8786"])
def test_workers_are_a_number_or_an_address(programme, wrong):
    result = CliRunner().invoke(main, ["programme", str(programme), "ready", f"--workers={wrong}"])
    assert result.exit_code == 2
    assert f"{wrong!r} is neither a number of processes" in result.stderr
