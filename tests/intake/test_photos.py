"""trunkwatch.intake: photos, photo_export, check_photos, clear_photos; trunkwatch.block: photos, photo_words; in and out, merged, checked."""

import hashlib
import sqlite3
from contextlib import closing

import made_photos
import pytest

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.photo_words import photo_words
from trunkwatch.block.photos import links_of, photo_bytes, photos_by_record, placed_photos, small_photos
from trunkwatch.errors import FileError, RecordError
from trunkwatch.intake import add_records, check_vineyard, correct_record, merge_file, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.clear_photos import clear_photos
from trunkwatch.intake.photo_export import export_photos, photos_beside
from trunkwatch.intake.photos import NewPhoto, add_photos, bring_photo_files
from trunkwatch.intake.rename import rename_block, rename_vineyard
from trunkwatch.intake.whole_file import write_file
from trunkwatch.spreadsheets.own_vineyard import frames_to_write
from trunkwatch.spreadsheets.photo import read_photo
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.store import Store
from trunkwatch.vineyard.records import later_than
from trunkwatch.vineyard.tables import TABLES

BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
FINDING = {"block": "North", "row": "1", "position": "2", "date": "2026-02-03", "symptom": "dead_arm", "arm": "start"}


@pytest.fixture(params=["file", "folder"])
def vineyard(request, tmp_path):
    """A vineyard with one finding, as a file and as a folder of notes."""
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 8)
    add_records(path, "symptoms", [FINDING])
    return path if request.param == "file" else as_folder(path, tmp_path / "notes")


def as_folder(path, folder):
    with open_vineyard(path) as store:
        frames = {table: store.frame(table, all_versions=True) for table in TABLES}
        write_folder(folder, frames_to_write(frames, store.names()))
    photos_beside(path, folder)
    return folder


def new_photo(tmp_path, number=1, *, camera=False, keep_place=False, **more):
    path = tmp_path / f"in-{number}.jpg"
    path.write_bytes((made_photos.as_of_a_camera if camera else made_photos.jpeg)(number))
    return NewPhoto(read_photo(path, keep_place=keep_place), **more)


def finding_id(vineyard):
    with open_vineyard(vineyard) as store:
        return store.frame("symptoms")["id"].iloc[0]


def faults(vineyard):
    return [str(fault) for fault in check_vineyard(vineyard) if fault.weight == "fault" or "photo" in str(fault)]


def test_a_photo_belongs_to_its_record_and_is_told_in_words(vineyard, tmp_path):
    record = finding_id(vineyard)
    added = add_photos(
        vineyard,
        record,
        [new_photo(tmp_path, camera=True, shows="cut_face", caption="stained wedge", observer="Ana")],
        device="desk",
    )
    assert (added.new, added.same, len(added.ids)) == (1, 0, 1)
    with open_vineyard(vineyard) as store:
        (shown,) = photos_by_record(store, "North", {record})[record]
        assert photo_words(shown) == "photo of the cut face, taken 2026-02-03 10:11 by Ana: stained wedge"
        (record_of_it,) = store.frame("photos").to_dict("records")
        assert (record_of_it["width"], record_of_it["height"], record_of_it["device"]) == (60, 80, "desk")
        assert hashlib.sha256(photo_bytes(vineyard, store, shown.sha256)).hexdigest() == shown.sha256
        small = small_photos(store, links_of(store), 20)
        assert made_photos.Image.open(made_photos.io.BytesIO(small[shown.sha256])).size == (15, 20)
    assert faults(vineyard) == []


def test_the_same_photo_again_is_there_once_and_one_taken_back_comes_back(vineyard, tmp_path):
    record, photo = finding_id(vineyard), new_photo(tmp_path)
    add_photos(vineyard, record, [photo])
    again = add_photos(vineyard, record, [photo, photo])
    assert (again.new, again.same) == (0, 1)
    correct_record(vineyard, "photos", again.ids[0], {}, void=True)
    with open_vineyard(vineyard) as store:
        assert photos_by_record(store, "North", {record}) == {}
    assert add_photos(vineyard, record, [photo]).new == 1
    with open_vineyard(vineyard) as store:
        assert len(photos_by_record(store, "North", {record})[record]) == 1


def test_a_photo_of_no_record_or_of_one_taken_back_is_refused_and_nothing_is_kept(vineyard, tmp_path):
    with pytest.raises(RecordError, match="no finding or work has the id 'nobody'"):
        add_photos(vineyard, "nobody", [new_photo(tmp_path)])
    record = finding_id(vineyard)
    correct_record(vineyard, "symptoms", record, {}, void=True)
    with pytest.raises(RecordError, match="was taken back"):
        add_photos(vineyard, record, [new_photo(tmp_path)])
    with open_vineyard(vineyard) as store:
        assert store.frame("photos").empty
        assert (store.photo_marks() if vineyard.is_file() else list(vineyard.glob("photos/*"))) == []


def pictures(vineyard):
    with open_vineyard(vineyard) as store:
        return len(store.photo_marks()) if vineyard.is_file() else len(list(vineyard.glob("photos/*.jpg")))


def test_a_photo_goes_and_comes_with_its_record_and_its_picture_can_be_removed(vineyard, tmp_path):
    record = finding_id(vineyard)
    other = add_records(vineyard, "symptoms", [{**FINDING, "position": "6"}])
    assert other.new == {"symptoms": 1}
    with open_vineyard(vineyard) as store:
        (kept,) = set(store.frame("symptoms")["id"]) - {record}
    photo, shared = new_photo(tmp_path, 1), new_photo(tmp_path, 2)
    add_photos(vineyard, record, [photo, shared])
    add_photos(vineyard, kept, [shared])
    assert clear_photos(vineyard) == (0, 0)
    correct_record(vineyard, "symptoms", record, {}, void=True)
    with open_vineyard(vineyard) as store:
        assert photos_by_record(store, "North", {record}) == {}
        assert [one.position for one in placed_photos(store)] == ["6"]
        moments = store.frame("symptoms", all_versions=True)["recorded_at"].tolist()
    # It does not leave: not as a picture, not beside the records of a folder, not in a new file.
    written, missing = export_photos(vineyard, tmp_path / "pictures")
    assert ([path.name for path in written], missing) == (["North_row_1_6_2026-02-03.jpg"], 0)
    (tmp_path / "beside").mkdir()
    assert photos_beside(vineyard, tmp_path / "beside") == 1
    assert write_file(vineyard, tmp_path / "new.gpkg") == 1
    assert faults(tmp_path / "new.gpkg") == []
    (note,) = faults(vineyard)
    assert "1 picture is of a photo taken back" in note
    assert "--clear-photos" in note
    # Until it is removed it comes back with its record, which another device wrote later perhaps.
    later = {**FINDING, "corrects": record, "recorded_at": later_than(moments, "")}
    add_records(vineyard, "symptoms", [later])
    with open_vineyard(vineyard) as store:
        assert len(links_of(store)) == 3
        (back,) = store.frame("symptoms").query("position == '2'")["id"]
    assert pictures(vineyard) == 2
    correct_record(vineyard, "symptoms", back, {}, void=True)
    end = photo.photo.data[-80:]
    if vineyard.is_file():
        assert end in vineyard.read_bytes()
    assert clear_photos(vineyard) == (1, len(photo.photo.data))
    assert pictures(vineyard) == 1
    assert faults(vineyard) == []
    if vineyard.is_file():
        assert end not in vineyard.read_bytes()  # not in a page that nobody reads, either
    add_records(vineyard, "symptoms", [{**FINDING, "position": "7"}])  # the file goes on as any other
    correct_record(vineyard, "symptoms", kept, {"position": "8"})
    assert faults(vineyard) == []


def test_photos_stay_with_a_record_that_is_corrected_and_a_block_that_is_renamed(vineyard, tmp_path):
    record = finding_id(vineyard)
    add_photos(vineyard, record, [new_photo(tmp_path)])
    correct_record(vineyard, "symptoms", record, {"position": "5"})
    rename_block(vineyard, "North", label="Top")
    rename_vineyard(vineyard, "v", "Hill")
    with open_vineyard(vineyard) as store:
        (placed,) = placed_photos(store, "Top")
    assert (placed.block, placed.row, placed.position, placed.date) == ("Top", "1", "5", "2026-02-03")
    second = add_photos(vineyard, record, [new_photo(tmp_path, 2)])
    assert second.new == 1
    with open_vineyard(vineyard) as store:
        assert len(placed_photos(store, "Top")) == 2


def test_export_names_files_by_place_and_day_and_leaves_no_place_in_them(vineyard, tmp_path):
    record = finding_id(vineyard)
    add_photos(vineyard, record, [new_photo(tmp_path, 1, camera=True, keep_place=True), new_photo(tmp_path, 2)])
    written, missing = export_photos(vineyard, tmp_path / "bare")
    assert (sorted(path.name for path in written), missing) == (
        ["North_row_1_2_2026-02-03-2.jpg", "North_row_1_2_2026-02-03.jpg"],
        0,
    )
    assert [made_photos.place_in(path.read_bytes()) for path in written] == [{}, {}]
    kept, _ = export_photos(vineyard, tmp_path / "kept", "North", keep_place=True)
    assert made_photos.GPS in [made_photos.place_in(path.read_bytes()) for path in kept]
    with pytest.raises(FileError, match="another picture"):
        export_photos(vineyard, tmp_path / "bare", keep_place=True)


def test_file_to_folder_to_file_loses_nothing(vineyard, tmp_path):
    add_photos(vineyard, finding_id(vineyard), [new_photo(tmp_path, one) for one in (1, 2)])
    folder = as_folder(vineyard, tmp_path / "out")
    other = tmp_path / "w.gpkg"
    _, notes = bring_files(other, folder)
    assert [str(note) for note in notes] == []
    third = as_folder(other, tmp_path / "again")
    assert {path.name: path.read_bytes() for path in (folder / "photos").iterdir()} == {
        path.name: path.read_bytes() for path in (third / "photos").iterdir()
    }
    with open_vineyard(vineyard) as one, open_vineyard(other) as two:
        before, after = one.frame("photos"), two.frame("photos")
        assert before.drop(columns="read_from").equals(after.drop(columns="read_from"))
        assert len(links_of(two)) == 2
    assert faults(other) == []


@pytest.mark.long
def test_merging_brings_photos_once_in_any_order(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 8)
    add_records(path, "symptoms", [FINDING])
    paths = [tmp_path / "a.gpkg", tmp_path / "b.gpkg"]
    for one in paths:
        one.write_bytes(path.read_bytes())
    record = finding_id(path)
    add_photos(paths[0], record, [new_photo(tmp_path, 1), new_photo(tmp_path, 2)])
    add_photos(paths[1], record, [new_photo(tmp_path, 2), new_photo(tmp_path, 3)])
    for to, other in (paths, paths[::-1], paths):
        bring_files(to, other)
    marks = {hashlib.sha256(made_photos.jpeg(one)).hexdigest() for one in (1, 2, 3)}
    for one in paths:
        with Store.open(one) as store:
            assert sorted(store.photo_marks()) == sorted(marks)
            assert {link.sha256 for link in links_of(store)} == marks
            assert len(links_of(store)) == 3
        assert faults(one) == []


def test_a_file_into_a_folder_takes_the_photos_along(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 8)
    add_records(path, "symptoms", [FINDING])
    add_photos(path, finding_id(path), [new_photo(tmp_path)])
    bring_files(tmp_path / "notes", path)
    with open_vineyard(tmp_path / "notes") as store:
        (link,) = links_of(store)
        assert photo_bytes(tmp_path / "notes", store, link.sha256) == made_photos.jpeg()


@pytest.mark.long
def test_a_photo_without_its_picture_is_told_when_it_comes_and_when_it_is_checked(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 8)
    add_records(path, "symptoms", [FINDING])
    add_photos(path, finding_id(path), [new_photo(tmp_path)])
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE photo_files SET data = ?", (made_photos.jpeg(9),))
    mark = hashlib.sha256(made_photos.jpeg(1)).hexdigest()
    assert any(
        f"photo {mark[:12]} of block North: its picture is gone or damaged, its record stands" in text
        for text in faults(path)
    )
    copy = tmp_path / "w.gpkg"
    _, notes = bring_files(copy, path)
    assert ["1 photo has a record and no picture in v.gpkg" in str(note) for note in notes] == [True]
    with Store.open(copy) as store:
        assert len(store.frame("symptoms")) == len(store.frame("photos")) == 1
    assert export_photos(copy, tmp_path / "out") == ([], 1)
    # A sound copy brings what is missing.
    sound = tmp_path / "sound.gpkg"
    start_file(sound, BLOCK, 3, 8)
    add_records(sound, "symptoms", [FINDING])
    add_photos(sound, finding_id(sound), [new_photo(tmp_path)])
    assert bring_photo_files(copy, sound) == []
    assert faults(copy) == []


def test_a_photo_of_a_record_that_is_not_here_is_a_note(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 8)
    data = made_photos.jpeg()
    with Store.writing(path) as store:
        store.keep_photo_files([data])
    add_records(path, "photos", [{"block": "North", "record": "gone", "sha256": hashlib.sha256(data).hexdigest()}])
    assert ["belongs to no finding or work that is kept here" in text for text in faults(path)] == [True]


def test_what_another_made_is_no_photo_only_because_it_is_kept_as_one(tmp_path):
    path, other = tmp_path / "v.gpkg", tmp_path / "o.gpkg"
    for one in (path, other):
        start_file(one, BLOCK, 3, 8)
        add_records(one, "symptoms", [FINDING])
    data = b"<script>alert(1)</script>"
    with Store.writing(other) as store:
        store.keep_photo_files([data])
    add_records(
        other, "photos", [{"block": "North", "record": finding_id(other), "sha256": hashlib.sha256(data).hexdigest()}]
    )
    merge_file(path, other)
    (note,) = bring_photo_files(path, other)
    assert "no picture" in str(note)
    with Store.open(path) as store:
        assert store.photo_marks() == []


def test_writing_a_finding_copies_no_photo(tmp_path, monkeypatch):
    """A finding goes into the log: the file keeps its inode, and its photos are not touched."""
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 8)
    add_records(path, "symptoms", [FINDING])
    add_photos(path, finding_id(path), [new_photo(tmp_path)])
    before = path.stat().st_ino
    add_records(path, "symptoms", [{**FINDING, "position": "4"}])
    assert path.stat().st_ino == before


def test_damaged_bytes_on_the_disk_are_named_and_the_other_photos_are_read(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 8)
    add_records(path, "symptoms", [FINDING])
    large = tmp_path / "large.jpg"
    made_photos.Image.effect_noise((1600, 1200), 90).convert("RGB").save(large, "JPEG", quality=80)
    photo = read_photo(large)
    assert len(photo.data) > 200_000
    add_photos(path, finding_id(path), [NewPhoto(photo), new_photo(tmp_path)])
    raw = bytearray(path.read_bytes())
    at = raw.find(photo.data[100_000:100_200])
    assert at > 0
    raw[at] ^= 1
    path.write_bytes(raw)
    told = [text for text in faults(path) if "gone or damaged" in text]
    assert [hashlib.sha256(photo.data).hexdigest()[:12] in text for text in told] == [True]
    assert len(export_photos(path, tmp_path / "out")[0]) == 1
