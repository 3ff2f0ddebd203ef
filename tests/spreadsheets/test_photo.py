"""trunkwatch.spreadsheets: photo, jpeg_parts, photo_folder; what comes in as a photo, and what is left of it."""

import hashlib
import io

import made_photos
import pytest
from PIL import Image

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.jpeg_parts import is_plain, without_metadata
from trunkwatch.spreadsheets.photo import LONGEST_SIDE, MOST_BYTES, kind_of, read_photo, small_photo
from trunkwatch.spreadsheets.photo_folder import keep_in_folder, kept_in_folder, marks_in_folder


def written(tmp_path, data, name="photo.jpg"):
    path = tmp_path / name
    path.write_bytes(data)
    return path


def test_what_tells_place_camera_and_owner_is_removed_and_the_time_is_kept(tmp_path):
    raw = made_photos.as_of_a_camera()
    assert made_photos.place_in(raw) == made_photos.GPS
    photo = read_photo(written(tmp_path, raw))
    assert made_photos.place_in(photo.data) == {}
    assert all(word not in photo.data for word in (b"Exif", b"MAKER OF CAMERAS", b"A COMMENT", b"2026:02:03"))
    assert photo.taken_at == "2026-02-03T10:11:12"
    assert is_plain(photo.data)


def test_the_place_is_kept_where_it_is_asked_for_and_nothing_else_with_it(tmp_path):
    photo = read_photo(written(tmp_path, made_photos.as_of_a_camera()), keep_place=True)
    assert made_photos.place_in(photo.data) == made_photos.GPS
    assert b"MAKER OF CAMERAS" not in photo.data
    assert b"A COMMENT" not in photo.data


def test_a_photo_that_lies_on_its_side_is_turned_and_a_large_one_scaled(tmp_path):
    photo = read_photo(written(tmp_path, made_photos.as_of_a_camera(width=3200, height=2000)))
    assert (photo.width, photo.height) == (1000, LONGEST_SIDE)
    with Image.open(io.BytesIO(photo.data)) as image:
        assert image.size == (1000, LONGEST_SIDE)


def test_a_small_photo_that_says_no_more_than_the_picture_is_kept_byte_by_byte(tmp_path):
    raw = made_photos.jpeg()
    assert read_photo(written(tmp_path, raw)).data == raw


@pytest.mark.parametrize(("kind", "mode"), [("PNG", "RGBA"), ("WEBP", "RGB"), ("PNG", "P"), ("JPEG", "L")])
def test_kinds_are_told_by_the_first_bytes_whatever_the_name_says(tmp_path, kind, mode):
    out = io.BytesIO()
    made_photos.drawn().convert(mode).save(out, kind)
    assert kind_of(out.getvalue()[:16]) == kind
    photo = read_photo(written(tmp_path, out.getvalue(), "holiday.txt"))
    assert kind_of(photo.data[:16]) == "JPEG"
    assert (photo.width, photo.height) == (80, 60)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "first bytes"),
        (b"GIF89a" + bytes(40), "first bytes"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "first bytes"),
        (b"RIFF\x10\x00\x00\x00WAVEfmt ", "first bytes"),
        (made_photos.jpeg()[:200], "damaged"),
        (b"\xff\xd8\xff" + bytes(500), "damaged"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "damaged"),
    ],
)
def test_what_is_no_photo_is_refused_in_a_sentence(tmp_path, data, says):
    with pytest.raises(FileError, match=rf"photo\.jpg.*{says}"):
        read_photo(written(tmp_path, data))


def test_a_file_that_is_too_large_or_not_there_is_refused(tmp_path):
    large = tmp_path / "large.jpg"
    with large.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(FileError, match=r"large\.jpg has 25 MB"):
        read_photo(large)
    with pytest.raises(FileError, match="no photo"):
        read_photo(tmp_path / "none.jpg")


@pytest.mark.long
def test_a_picture_of_very_many_pixels_in_few_bytes_is_refused(tmp_path):
    out = io.BytesIO()
    Image.new("1", (30_000, 30_000)).save(out, "PNG")
    assert len(out.getvalue()) < 1_000_000
    with pytest.raises(FileError, match=r"photo\.jpg"):
        read_photo(written(tmp_path, out.getvalue()))


def test_stripping_leaves_the_picture_as_it_was_and_takes_what_follows_it(tmp_path):
    raw = made_photos.as_of_a_camera()
    bare = without_metadata(raw + b"A FILM THAT FOLLOWS THE PICTURE \xff\xd9")
    assert b"FILM" not in bare
    assert made_photos.place_in(bare) == {}
    with Image.open(io.BytesIO(raw)) as before, Image.open(io.BytesIO(bare)) as after:
        assert before.tobytes() == after.tobytes()
    assert without_metadata(bare) == bare
    assert not is_plain(raw)


def test_progressive_photos_have_several_scans_and_are_taken_apart_all_the_same():
    raw = made_photos.jpeg(2, progressive=True)
    assert raw.count(b"\xff\xda") > 1
    assert without_metadata(raw) == raw
    with pytest.raises(ValueError, match="breaks off"):
        without_metadata(raw[:-40])
    with pytest.raises(ValueError, match="no JPEG"):
        without_metadata(b"GIF89a")


def test_small_pictures_are_small_and_what_cannot_be_decoded_is_refused():
    small = small_photo(made_photos.jpeg(3, 1600, 1200), 240)
    with Image.open(io.BytesIO(small)) as image:
        assert image.size == (240, 180)
    with pytest.raises(FileError, match="cannot be decoded"):
        small_photo(b"\xff\xd8\xff" + bytes(100), 240)


def test_a_folder_keeps_each_photo_once_and_gives_out_none_that_was_changed(tmp_path):
    data = made_photos.jpeg()
    mark = hashlib.sha256(data).hexdigest()
    assert keep_in_folder(tmp_path, data)
    assert not keep_in_folder(tmp_path, data)
    assert list(marks_in_folder(tmp_path)) == [mark]
    assert kept_in_folder(tmp_path, mark) == data
    (tmp_path / "photos" / f"{mark}.jpg").write_bytes(data + b"x")
    assert kept_in_folder(tmp_path, mark) is None
    assert kept_in_folder(tmp_path, "../../etc/passwd") is None
