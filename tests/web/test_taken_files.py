"""trunkwatch.web: imports; trunkwatch.intake: foreign, photos, preview: a vineyard file of somebody else is read and checked in a process with limits, or not at all."""

import io
import re
import resource
import shutil
import sqlite3
import threading
import time
from contextlib import closing

import made_photos
import pytest

from trunkwatch.intake import add_records, photos, put_into_tables, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.spreadsheets.photo import read_photo
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"
HEADERS = {"Host": HOST, "Origin": f"http://{HOST}"}
BLOCK = {"block": "B", "vineyard": "V", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5,
         "latitude": 44.0, "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip
FINDING = {"block": "B", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "A"}
#: Seconds, and bytes of this process, that no taken file may cost the desk.
MOST_SECONDS, MOST_BYTES = 60.0, 300_000_000


def made(path, ours, *statements):
    """Return a copy of our file with one finding more, and what somebody did to it."""
    shutil.copyfile(ours, path)
    add_records(path, "symptoms", [FINDING])
    put_into_tables(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        for statement in statements:
            db.execute(statement)
    return path


def with_column(table, column, expression):
    """Return statements that make a column of a table one that is worked out when it is read."""
    quote = "'"
    before = f'"{column}" TEXT NOT NULL DEFAULT {quote * 4}'
    now = f'"{column}" TEXT GENERATED ALWAYS AS ({expression.replace(quote, quote * 2)})'
    sql = f"UPDATE sqlite_master SET sql = replace(replace(sql, '{before}', '{now}'), ' STRICT', '') WHERE name = '{table}'"
    return "PRAGMA writable_schema = ON", sql, "PRAGMA writable_schema = OFF"


def long_text(size):
    return with_column("symptoms", "note", f"hex(zeroblob({size}))")


def folded(path):
    """Let a few pages of a file stand for more findings than could ever be read: each points to the next two hundred times."""
    with closing(sqlite3.connect(path)) as db:
        root = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'symptoms'").fetchone()[0]
    raw = bytearray(path.read_bytes())
    size, many = 4096, len(raw) // 4096
    raw += raw[(root - 1) * size : root * size]
    for page in range(many + 1, many + 7):
        cells = b"".join(page.to_bytes(4, "big") + bytes([1]) for _ in range(200))
        starts = b"".join((size - len(cells) + 5 * place).to_bytes(2, "big") for place in range(200))
        head = bytes([5, 0, 0, 0, 200]) + (size - len(cells)).to_bytes(2, "big") + bytes(1) + page.to_bytes(4, "big")
        made_page = head + starts + bytes(size - len(cells) - len(head) - len(starts)) + cells
        raw += made_page
    raw[(root - 1) * size : root * size] = made_page
    raw[28:32] = (len(raw) // size).to_bytes(4, "big")
    path.write_bytes(raw)


@pytest.fixture
def desk(tmp_path):
    path = tmp_path / "desk.gpkg"
    start_file(path, BLOCK, 4, 12)
    return create_app(path, hosts=frozenset({HOST})), path


def handed_in(client, file):
    answer = client.post(
        "/import",
        data={"file": (io.BytesIO(file.read_bytes()), "theirs.gpkg")},
        headers=HEADERS,
        content_type="multipart/form-data",
    )
    return re.search(r"/import/([\w-]+)", answer.headers["Location"])[1]


@pytest.mark.long
@pytest.mark.parametrize("kind", ["folded", "worked out when read"])
@pytest.mark.parametrize("is_shown_first", [True, False])
def test_a_file_made_to_take_for_ever_or_all_memory_costs_the_desk_neither(
    desk, tmp_path, monkeypatch, kind, is_shown_first
):
    """Also where whoever hands it in goes straight to taking it."""
    monkeypatch.setattr("trunkwatch.intake.preview.MOST_SECONDS", 5.0)
    app, path = desk
    file = made(tmp_path / "theirs.gpkg", path, *(long_text(400_000_000) if kind.startswith("worked") else ()))
    if not kind.startswith("worked"):
        folded(file)
    words = "another program has taken it out" if kind.startswith("worked") else "was left alone"
    before, peak = path.read_bytes(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    client = app.test_client()
    token, others = handed_in(client, file), []

    def ask():
        while not over.is_set():
            began = time.perf_counter()
            others.append((app.test_client().get("/", headers={"Host": HOST}).status_code, time.perf_counter() - began))
            time.sleep(0.1)

    over = threading.Event()
    thread = threading.Thread(target=ask)
    thread.start()
    began = time.perf_counter()
    if is_shown_first:
        shown = client.get(f"/import/{token}", headers={"Host": HOST})
        assert words in shown.get_data(as_text=True)
    answer = client.post(f"/import/{token}/take", data={}, headers=HEADERS)
    seconds = time.perf_counter() - began
    over.set()
    thread.join()
    page = re.sub(r"<[^>]+>", "", answer.get_data(as_text=True))
    assert words in page, page
    assert seconds < MOST_SECONDS
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 - peak < MOST_BYTES
    assert path.read_bytes() == before
    assert others
    assert all(status == 200 for status, _ in others)


@pytest.mark.long
def test_a_sound_file_is_taken_whether_it_was_shown_or_not(desk, tmp_path):
    app, path = desk
    file = made(tmp_path / "theirs.gpkg", path)
    client = app.test_client()
    answer = client.post(f"/import/{handed_in(client, file)}/take", data={}, headers=HEADERS)
    assert answer.status_code == 200
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT count(*) FROM symptoms").fetchone()[0] == 1
    token = handed_in(client, file)
    assert "theirs.gpkg" in client.get(f"/import/{token}", headers={"Host": HOST}).get_data(as_text=True)
    assert client.post(f"/import/{token}/take", data={}, headers=HEADERS).status_code == 200


@pytest.mark.long
def test_pictures_of_a_file_of_somebody_else_are_read_apart(tmp_path):
    """A picture that is worked out when it is read, and takes all memory, is one that is not there; the others come."""
    ours = tmp_path / "ours.gpkg"
    start_file(ours, BLOCK, 4, 12)
    theirs = made(tmp_path / "theirs.gpkg", ours)
    with closing(sqlite3.connect(theirs)) as db:
        name = db.execute("SELECT id FROM symptoms").fetchone()[0]
    for number in (1, 2, 3):
        (tmp_path / f"{number}.jpg").write_bytes(made_photos.jpeg(number))
        photos.add_photos(theirs, name, [photos.NewPhoto(read_photo(tmp_path / f"{number}.jpg"))])
    with closing(sqlite3.connect(theirs, isolation_level=None)) as db:
        db.execute("ALTER TABLE photo_files RENAME TO pictures")
        db.execute(
            "CREATE TABLE photo_files (id INTEGER PRIMARY KEY, sha256 TEXT, kept BLOB, data BLOB AS "
            "(CASE WHEN id = 2 THEN zeroblob(990000000) ELSE kept END))"
        )
        db.execute("INSERT INTO photo_files (id, sha256, kept) SELECT id, sha256, data FROM pictures")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    _, faults = bring_files(ours, theirs)
    assert [fault.problem for fault in faults if "picture" in fault.problem] == [
        "1 photo has a record and no picture in theirs.gpkg: it was not kept there, or is damaged"
    ]
    with closing(sqlite3.connect(ours)) as db:
        assert db.execute("SELECT count(*) FROM photo_files").fetchone()[0] == 2
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 - peak < MOST_BYTES
