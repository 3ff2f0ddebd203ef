"""trunkwatch.intake: layers; an upgrade that is ended, or has no room, leaves the old file or the new one with its layers."""

import itertools
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.cut_short import DONE, KILLED, killed_at
from trunkwatch.cli import main
from trunkwatch.errors import FileError
from trunkwatch.intake import check_vineyard
from trunkwatch.intake.layers import upgrade_vineyard
from trunkwatch.store import Store, upgrade_file
from trunkwatch.store.geopackage import LAYERS
from trunkwatch.store.schema import VERSION, schema_version

OLD = Path(__file__).parents[1] / "store" / "files" / "version_2.gpkg"


@pytest.fixture
def old(tmp_path):
    """A file of version 2 whose blocks can be laid on the ground, without layers."""
    path = tmp_path / "v.gpkg"
    shutil.copyfile(OLD, path)
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("UPDATE blocks SET latitude = 44, longitude = -30, row_bearing_deg = 0, rows_go = 'right'")
        for name in LAYERS:
            db.execute(f'DELETE FROM "{name}"')
    return path


def state(path):
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        return schema_version(db), [db.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in LAYERS]


def beside(path):
    return sorted(one.name for one in path.parent.iterdir() if one.suffix != ".lock")


@pytest.mark.long
def test_ended_anywhere_the_file_is_old_or_new_with_its_layers(old):
    raw = old.read_bytes()
    kept = old.with_name("v.version2.gpkg")
    before, seen = state(old), []
    for number in itertools.count(1):
        old.write_bytes(raw)
        kept.unlink(missing_ok=True)
        if killed_at(number, lambda: upgrade_vineyard(old), old.parent) == DONE:
            break
        now = state(old)
        seen.append(now[0] == VERSION)
        if now[0] == VERSION:
            assert all(now[1][:3])
        else:
            assert (old.read_bytes(), now) == (raw, before)
            assert kept.exists() <= (kept.exists() and kept.read_bytes() == raw)
            assert upgrade_vineyard(old)[0] == kept  # what is left over is used again
        assert all(state(old)[1][:3])
        assert kept.read_bytes() == raw
        assert not [fault for fault in check_vineyard(old) if fault.weight == "fault"]
    assert seen == sorted(seen)
    assert set(seen) == {True, False}
    assert beside(old) == ["v.gpkg", "v.version2.gpkg"]


def test_the_kept_copy_of_before_is_used_again_and_another_file_is_refused(old):
    raw, kept = old.read_bytes(), old.with_name("v.version2.gpkg")
    kept.write_bytes(raw + b"x")
    with pytest.raises(
        FileError, match=r"v.version2.gpkg is there already, and is not v.gpkg as it is now.*move it away"
    ):
        upgrade_vineyard(old)
    assert old.read_bytes() == raw
    kept.write_bytes(raw)
    stamp = kept.stat().st_mtime_ns
    assert upgrade_vineyard(old)[0] == kept
    assert (kept.read_bytes(), kept.stat().st_mtime_ns) == (raw, stamp)


def test_an_upgrade_that_cannot_draw_the_layers_is_none(old):
    raw = old.read_bytes()

    def broken(_db):
        raise FileError("no layers")

    with pytest.raises(FileError, match="no layers"):
        upgrade_file(old, broken)
    assert old.read_bytes() == raw
    assert beside(old) == ["v.gpkg"]


def test_an_upgrade_through_a_link_keeps_rights_and_link(old, tmp_path):
    old.chmod(0o640)
    (tmp_path / "far").mkdir()
    link = tmp_path / "far" / "link.gpkg"
    link.symlink_to(old)
    kept, _ = upgrade_vineyard(link)
    assert (kept, link.is_symlink()) == (tmp_path / "far" / "link.version2.gpkg", True)
    assert kept.stat().st_mode & 0o777 == old.stat().st_mode & 0o777 == 0o640
    with Store.open(old) as store:
        assert store.mapped()


@pytest.mark.parametrize("most", [1, 60_000, 120_000, 200_000])
def test_where_files_may_not_grow_the_file_stays_old_and_it_is_told_in_a_line(old, most):
    raw = old.read_bytes()
    program = (
        "import resource, sys\nfrom trunkwatch.cli import main\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({most}, {most}))\nmain(['upgrade', sys.argv[1]])\n"
    )
    done = subprocess.run([sys.executable, "-c", program, old], capture_output=True, text=True, check=False)
    assert old.stat().st_size > 120_000 or most > 120_000
    assert done.returncode == 1, done.stderr
    assert done.stderr.count("\n") == 1, done.stderr
    assert "nothing was changed" in done.stderr
    assert "damaged" not in done.stderr
    assert old.read_bytes() == raw
    assert beside(old) == ["v.gpkg"]


def test_the_command_says_where_the_old_file_is_kept(old):
    done = CliRunner().invoke(main, ["upgrade", str(old)])
    assert done.exit_code == 0
    assert done.output.splitlines()[-1] == f"the old file is kept as {old.with_name('v.version2.gpkg')}"
    with Store.open(old) as store:
        assert store.mapped()
    assert "present version already" in CliRunner().invoke(main, ["upgrade", str(old)]).output


def test_killed_at_tells_whether_the_work_was_done(tmp_path):
    made = tmp_path / "a"
    assert killed_at(1, lambda: made.write_text("x"), tmp_path) == KILLED
    assert not made.exists()
    assert killed_at(2, lambda: made.write_text("x"), tmp_path) == DONE
    assert made.read_text() == "x"
