"""trunkwatch.cli: pattern_command; a process of `pattern --all-blocks` that is ended takes no block with it."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from made_programme import make_vineyard


def workers_of(pid):
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            if parent == pid and b"spawn_main" in (entry / "cmdline").read_bytes():
                found.append(int(entry.name))
        except (OSError, ValueError):
            continue
    return found


@pytest.mark.long
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="processes are found by /proc")
def test_all_blocks_are_said_though_a_process_is_ended(tmp_path):
    labels = [f"Block {number}" for number in range(12)]
    path = make_vineyard(tmp_path / "v", 2, labels=labels, seasons=range(2024, 2027), cases=9)
    running = subprocess.Popen(
        [sys.executable, "-m", "trunkwatch", "pattern", str(path), "--all-blocks", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    end = time.monotonic() + 120
    while not workers_of(running.pid):
        assert running.poll() is None
        assert time.monotonic() < end
        time.sleep(0.01)
    time.sleep(1.5)  # it reads the vineyard by now
    victims = workers_of(running.pid)
    assert victims
    os.kill(victims[0], signal.SIGKILL)
    out, error = running.communicate()
    assert running.returncode == 0, error.decode()
    assert [one["block"] for one in json.loads(out)] == labels
    assert not [one for one in json.loads(out) if one.get("reason")]
