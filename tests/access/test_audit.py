"""trunkwatch.access: audit; what was done is kept line by line, within bounds, and says nothing that somebody smuggled in."""

import json
import stat
import threading

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.access import audit
from trunkwatch.access.audit import Done, entries_of, note
from trunkwatch.access.private import private_folder


def test_what_was_done_is_read_newest_first(tmp_path):
    vines = tmp_path / "v.gpkg"
    assert list(entries_of(vines)) == []
    note(vines, Done.ENTERED, "Ana, desk", "192.0.2.7")
    note(vines, Done.WROTE, "Ana, desk", "192.0.2.7", table="symptoms", new=3)
    found = list(entries_of(vines))
    assert [(one.done, one.who, one.address, one.sentence) for one in found] == [
        ("wrote", "Ana, desk", "192.0.2.7", "table symptoms, new 3"),
        ("entered", "Ana, desk", "192.0.2.7", ""),
    ]
    assert stat.S_IMODE((audit._file(private_folder(vines), audit.FILE)).stat().st_mode) == 0o600


@settings(max_examples=60)
@given(st.text(st.characters(exclude_categories=()), max_size=300))
def test_no_text_makes_a_second_line_or_steers_the_screen(tmp_path_factory, text):
    vines = tmp_path_factory.mktemp("done") / "v.gpkg"
    forged = '"}\n{"at":"2020","done":"entered","who":"Boss","from":""}\n'
    note(vines, Done.IMPORTED, text + forged, text, file=forged + text)
    raw = (audit._file(private_folder(vines), audit.FILE)).read_bytes()
    assert raw.count(b"\n") == 1
    assert raw.isascii()
    (one,) = entries_of(vines)
    assert one.done == "imported"
    assert all(sign.isprintable() for sign in one.who + one.address + one.sentence)


def test_files_are_put_aside_and_the_oldest_goes(tmp_path, monkeypatch):
    monkeypatch.setattr(audit, "MOST_BYTES", 1000)
    vines = tmp_path / "v.gpkg"
    for number in range(120):
        note(vines, Done.WROTE, "Ana", number=number)
    folder = private_folder(vines)
    files = sorted(path.name for path in folder.glob("done*"))
    assert files == ["done.1.jsonl", "done.2.jsonl", "done.3.jsonl", "done.4.jsonl", "done.jsonl"]
    assert all(path.stat().st_size <= 1000 for path in folder.glob("done*"))
    for _ in range(200):
        note(vines, Done.WRONG_CODE, "", "192.0.2.66")
        note(vines, Done.NOT_ALLOWED, "Ben", asked="x")
    found = [one for one in entries_of(vines) if one.done == "wrong code"]
    assert 10 < len(found) < 200  # bounded too, and they push out nothing else
    numbers = [one.more["number"] for one in entries_of(vines) if one.done == "wrote"]
    assert numbers == list(range(119, 119 - len(numbers), -1))
    assert 40 < len(numbers) < 120


def test_many_at_once_lose_no_line_and_damaged_lines_are_passed_over(tmp_path):
    vines = tmp_path / "v.gpkg"
    threads = [threading.Thread(target=lambda: [note(vines, Done.WROTE, "A") for _ in range(20)]) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with (audit._file(private_folder(vines), audit.FILE)).open("ab") as file:
        file.write(
            b'{"at": 1}\nnull\n[]\n\xff\xfe\n'
            + json.dumps({"at": "t\x1b[2J", "done": "entered", "who": "x", "from": ""}).encode()
            + b"\n{half"
        )
    found = list(entries_of(vines))
    assert len(found) == 101
    assert "t\ufffd[2J" in {one.at for one in found}
    note(vines, Done.LEFT, "B")
    assert "B" in {one.who for one in entries_of(vines)}


def test_no_detail_takes_the_place_of_what_every_line_says(tmp_path):
    for name in ("at", "from"):
        with pytest.raises(ValueError, match="give the detail another name"):
            note(tmp_path / "v.gpkg", Done.WROTE, "Ana", **{name: "x"})
    with pytest.raises(TypeError):
        note(tmp_path / "v.gpkg", Done.WROTE, "Ana", who="x")
    assert list(entries_of(tmp_path / "v.gpkg")) == []
