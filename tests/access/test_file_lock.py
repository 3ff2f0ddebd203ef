"""trunkwatch.access: file_lock."""

import os
import subprocess
import sys

from trunkwatch.access.file_lock import is_locked_now


def opened(path):
    return os.open(path, os.O_RDWR | os.O_CREAT, 0o600)


def test_one_holds_it_until_it_is_closed(tmp_path):
    first, second = opened(tmp_path / ".lock"), opened(tmp_path / ".lock")
    assert (is_locked_now(first), is_locked_now(second)) == (True, False)
    os.close(first)
    assert is_locked_now(second)
    os.close(second)


def test_it_goes_with_the_process_that_holds_it(tmp_path):
    taken = (
        "import os, sys; from trunkwatch.access.file_lock import is_locked_now; "
        "assert is_locked_now(os.open(sys.argv[1], os.O_RDWR | os.O_CREAT)); print('held', flush=True); sys.stdin.read()"
    )
    path = str(tmp_path / ".lock")
    with subprocess.Popen(
        [sys.executable, "-c", taken, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout.readline() == "held\n"
        own = opened(path)
        assert not is_locked_now(own)
        holder.kill()
        holder.wait()
        assert is_locked_now(own)
        os.close(own)
