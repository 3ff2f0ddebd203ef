"""trunkwatch: rights: links, owners and permissions of what is written, for the one file and for folders."""

import os
import stat

import pytest

from trunkwatch import rights
from trunkwatch.intake import add_records, put_into_tables, start_file
from trunkwatch.spreadsheets.write import replace_file
from trunkwatch.store import Store

BLOCK = {"block": "B", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}
FINDING = {"block": "B", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker"}


def mode(path):
    return stat.S_IMODE(path.stat().st_mode)


@pytest.fixture
def umask():
    old = os.umask(0o027)
    yield
    os.umask(old)


@pytest.fixture
def vines(tmp_path):
    start_file(tmp_path / "v.gpkg", BLOCK, 2, 6)
    return tmp_path / "v.gpkg"


@pytest.mark.parametrize("wanted", [0o600, 0o640, 0o664, 0o444 | 0o200])
def test_a_vineyard_file_keeps_its_rights(vines, wanted):
    vines.chmod(wanted)
    add_records(vines, "symptoms", [FINDING])
    assert mode(vines) == wanted


def test_new_files_have_the_rights_that_new_files_have(tmp_path, umask):
    Store.create(tmp_path / "new.gpkg")
    replace_file(tmp_path / "new.csv", b"a")
    assert (mode(tmp_path / "new.gpkg"), mode(tmp_path / "new.csv")) == (0o640, 0o640)


def test_a_private_file_is_private_while_it_is_written(vines, monkeypatch):
    vines.chmod(0o600)
    seen = []
    real = rights.same_rights
    monkeypatch.setattr(rights, "same_rights", lambda part, place: (seen.append(mode(part)), real(part, place)))
    add_records(vines, "symptoms", [FINDING])
    put_into_tables(vines)
    replace_file(vines.with_name("v.csv"), b"a")
    vines.with_name("v.csv").chmod(0o600)
    replace_file(vines.with_name("v.csv"), b"b")
    assert [seen[0], seen[2]] == [0o600, 0o600]


def test_links_are_followed_and_stay(vines, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    link, chain = elsewhere / "link.gpkg", elsewhere / "chain.gpkg"
    link.symlink_to(os.path.relpath(vines, elsewhere))
    chain.symlink_to(link)
    add_records(chain, "symptoms", [FINDING])
    assert chain.is_symlink()
    assert link.is_symlink()
    assert not vines.is_symlink()
    with Store.open(vines) as store:
        assert len(store.frame("symptoms")) == 1
    dangling = elsewhere / "new.gpkg"
    dangling.symlink_to(tmp_path / "made.gpkg")
    Store.create(dangling)
    assert dangling.is_symlink()
    assert (tmp_path / "made.gpkg").is_file()


def test_links_of_tables_in_a_folder_are_followed(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "t.csv").write_text("a")
    (tmp_path / "t.csv").symlink_to(tmp_path / "real" / "t.csv")
    replace_file(tmp_path / "t.csv", b"b")
    assert (tmp_path / "t.csv").is_symlink()
    assert (tmp_path / "real" / "t.csv").read_bytes() == b"b"


@pytest.mark.skipif(os.geteuid() != 0, reason="only the system's keeper gives files away")
def test_the_owner_and_the_group_are_kept(vines):
    os.chown(vines, 12345, 23456)
    vines.chmod(0o640)
    add_records(vines, "symptoms", [FINDING])
    told = vines.stat()
    assert (told.st_uid, told.st_gid, mode(vines)) == (12345, 23456, 0o640)


def test_where_the_group_cannot_be_kept_ours_gets_no_more_than_everybody_had(tmp_path, monkeypatch):
    old, part = tmp_path / "old", tmp_path / "part"
    old.write_text("")
    part.write_text("")
    old.chmod(0o664)

    def refused(*_):
        raise PermissionError

    class Other:
        st_uid, st_gid, st_mode = 1, 1, old.stat().st_mode

    monkeypatch.setattr(os, "chown", refused)
    assert rights._group_of_ours(part, Other, 0o664) == 0o644
    assert rights._group_of_ours(part, Other, 0o660) == 0o600
