"""trunkwatch.intake: handed_photos; trunkwatch.spreadsheets: handover; a phone's photos in one file with its records."""

import base64
import hashlib
import io
import json

import made_photos
import pytest
from PIL import Image

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.photos import links_of, photo_bytes
from trunkwatch.errors import FaultyNotesError
from trunkwatch.intake import start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.handed_over import block_mark
from trunkwatch.spreadsheets.handover import handover_photos
from trunkwatch.store import Store

BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
FINDING = {"id": "f1", "block": "North", "row": "1", "position": "2", "date": "2026-02-03", "symptom": "dead_arm", "arm": "start", "recorded_at": "2026-02-03T10:00:00Z", "device": "phone"}  # fmt: skip


@pytest.fixture
def path(tmp_path):
    start_file(tmp_path / "v.gpkg", BLOCK, 3, 8)
    return tmp_path / "v.gpkg"


def handed(path, pictures, *, files=None, version=3, **more):
    with Store.open(path) as store:
        began = block_mark(store, "North")
    rows = [
        {"id": f"of {mark}", "block": "North", "record": "f1", "sha256": mark, "shows": "vine", **more}
        for mark in (hashlib.sha256(data).hexdigest() for data in pictures)
    ]
    texts = {row["sha256"]: base64.b64encode(data).decode() for row, data in zip(rows, pictures, strict=True)}
    told = {
        "trunkwatch_handover": version,
        "block": "North",
        "vineyard_name": "v",
        "block_root": began.root,
        "block_began": began.began,
        "symptoms": [FINDING],
        "photos": rows,
        "photo_files": texts if files is None else files(texts),
    }
    out = path.with_name("day.json")
    out.write_text(json.dumps(told))
    return out


def kept(vineyard):
    with open_vineyard(vineyard) as store:
        return [photo_bytes(vineyard, store, link.sha256) for link in links_of(store) if link.table == "symptoms"]


@pytest.mark.long
def test_photos_come_with_their_records_once_into_a_file_and_a_folder(path, tmp_path):
    pictures = [made_photos.jpeg(1), made_photos.jpeg(2)]
    out = handed(path, pictures)
    for _ in range(2):
        added, notes = bring_files(path, out)
        assert notes == []
    assert (added.new.get("photos", 0), added.same["photos"]) == (0, 2)
    assert kept(path) == pictures
    bring_files(tmp_path / "notes", path)
    more = handed(path, [made_photos.jpeg(3)])
    bring_files(tmp_path / "notes", more)
    assert made_photos.jpeg(3) in kept(tmp_path / "notes")


def png():
    out = io.BytesIO()
    Image.new("RGB", (20, 20)).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (made_photos.as_of_a_camera(), "says more than the picture"),
        (png(), "larger than the page of the phone makes them"),
        (b"<script>", "first bytes"),
        (made_photos.jpeg(4, 1700, 20), "larger than the page of the phone makes them"),
        (made_photos.jpeg()[:300], "damaged"),
        (bytes(1_500_001), "1.5 MB"),
    ],
)
def test_a_photo_that_cannot_be_is_refused_and_its_record_comes_in(path, data, says):
    added, notes = bring_files(path, handed(path, [data, made_photos.jpeg(5)]))
    assert added.new == {"symptoms": 1, "photos": 1}
    assert [says in str(note) and "its record was" in str(note) for note in notes] == [True]
    assert kept(path) == [made_photos.jpeg(5)]


def test_photos_that_are_missing_or_damaged_on_the_way_keep_no_record_out(path):
    added, notes = bring_files(path, handed(path, [made_photos.jpeg()], files=lambda _: {}))
    assert added.new == {"symptoms": 1}
    assert "its picture is not in the file" in str(notes[0])
    wrong = handed(
        path,
        [made_photos.jpeg()],
        files=lambda texts: dict.fromkeys(texts, base64.b64encode(made_photos.jpeg(2)).decode()),
    )
    _, notes = bring_files(path, wrong)
    assert "damaged on the way" in str(notes[0])
    assert kept(path) == []
    _, notes = bring_files(path, handed(path, [made_photos.jpeg()]))
    assert notes == []
    assert kept(path) == [made_photos.jpeg()]


@pytest.mark.parametrize("files", [None, [], "x", {"a": 1}, {"a": "%%%"}, {"a": None}])
def test_whatever_stands_where_the_photos_should_be_is_read_as_none(files):
    assert handover_photos({"photo_files": files}) == {}
    assert handover_photos({}) == {}


def test_a_photo_of_columns_that_are_none_is_a_fault_as_of_any_record(path):
    with pytest.raises(FaultyNotesError, match="no such column"):
        bring_files(path, handed(path, [made_photos.jpeg()], place="45.5, 7.2"))
