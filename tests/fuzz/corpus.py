"""Makes files that nobody should hand in: damaged, hostile, or absurd, each kind by its own recipe.

Run: python tests/fuzz/corpus.py 5000 [SEED]  -- hands each in, and tells what took long, much, or wrong.
"""

import contextlib
import io
import json
import random
import re
import sqlite3
import struct
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

from trunkwatch.intake import add_records, start_file

NS = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
BLOCK = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0,
         "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip
HEAD = ("block", "row", "position", "date", "symptom", "note")
LINES = [("B", str(1 + n % 4), str(1 + n % 12), f"2026-01-{1 + n % 28:02d}", "canker", f"note {n}") for n in range(40)]
Recipe = Callable[[random.Random, Path], Path]


def make_vineyard(path: Path) -> None:
    """Make the vineyard that the files are handed in to."""
    start_file(path, BLOCK, 4, 12)
    survey = {"survey": "w", "block": "B", "date": "2026-01-05", "covered": "1..4", "look": "dormant"}
    add_records(path, "surveys", [survey])


# ---- Good files, to be damaged ----------------------------------------------------------------------------------


def csv_text(lines=LINES, head=HEAD, separator=",") -> str:
    return "\r\n".join(separator.join(cells) for cells in (head, *lines)) + "\r\n"


def csv_file() -> bytes:
    return csv_text().encode("utf-8-sig")


def workbook(sheet: str | None = None, strings: str | None = None, more: dict[str, bytes] | None = None) -> bytes:
    """Return a workbook; its first sheet and its strings as XML where they are given."""
    import openpyxl

    book = openpyxl.Workbook()
    page = book.active
    page.title = "symptoms"
    for cells in (HEAD, *LINES):
        page.append(cells)
    raw, out = io.BytesIO(), io.BytesIO()
    book.save(raw)
    with zipfile.ZipFile(raw) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            told = {"xl/worksheets/sheet1.xml": sheet, "xl/sharedStrings.xml": strings}.get(name)
            # No time of the day in it: the same number and seed make the same file.
            plain = re.sub(rb"<dcterms:(created|modified).*?</dcterms:\1>", b"", source.read(name))
            target.writestr(_part(name), plain if told is None else told)
        for name, what in (more or {}).items():
            target.writestr(_part(name), what)
    return out.getvalue()


def _part(name: str) -> zipfile.ZipInfo:
    part = zipfile.ZipInfo(name)
    part.compress_type = zipfile.ZIP_DEFLATED
    return part


def sheet_xml(rows: str) -> str:
    return f'<?xml version="1.0"?><worksheet {NS}><sheetData>{rows}</sheetData></worksheet>'


def cell(at: str, text: str) -> str:
    return f'<c r="{at}" t="inlineStr"><is><t>{text}</t></is></c>'


XML_HEAD = f'<row r="1">{"".join(cell(f"{letter}1", name) for letter, name in zip("ABCDEF", HEAD, strict=True))}</row>'


def hand_over(**more) -> dict:
    records = [dict(zip(HEAD, cells, strict=True), id=f"i{n}") for n, cells in enumerate(LINES)]
    return {"trunkwatch_handover": 1, "surveys": [], "symptoms": records, "work": [], **more}


def geopackage(folder: Path) -> bytes:
    path = folder / "good.gpkg"
    if not path.exists():
        make_vineyard(path)
        add_records(path, "symptoms", [dict(zip(HEAD, cells, strict=True)) for cells in LINES])
    return path.read_bytes()


def good(chance: random.Random, folder: Path) -> tuple[str, bytes]:
    kind = chance.choice(["csv", "xlsx", "json", "gpkg"])
    made = {
        "csv": csv_file,
        "xlsx": workbook,
        "json": lambda: json.dumps(hand_over()).encode(),
        "gpkg": lambda: geopackage(folder),
    }
    return f"symptoms.{kind}", made[kind]()


def put(folder: Path, name: str, raw: bytes | str) -> Path:
    path = folder / name
    path.write_bytes(raw.encode() if isinstance(raw, str) else raw)
    return path


# ---- Light damage: many of each ---------------------------------------------------------------------------------


def truncated(chance, folder):
    name, raw = good(chance, folder)
    return put(folder, name, raw[: chance.randrange(len(raw))])


def flipped(chance, folder):
    name, raw = good(chance, folder)
    out = bytearray(raw)
    for _ in range(chance.choice([1, 3, 30, 300])):
        out[chance.randrange(len(out))] ^= 1 << chance.randrange(8)
    return put(folder, name, bytes(out))


def flipped_database(chance, folder):
    """Flip bytes where the database keeps its pages, so that its head is still right."""
    out = bytearray(geopackage(folder))
    for _ in range(chance.choice([1, 10, 100])):
        out[chance.randrange(100, len(out))] = chance.randrange(256)
    return put(folder, "symptoms.gpkg", bytes(out))


def spliced(chance, folder):
    name, raw = good(chance, folder)
    _, other = good(chance, folder)
    at, to = chance.randrange(len(raw)), chance.randrange(len(other))
    return put(folder, name, raw[:at] + other[to : to + 5000] + raw[at:])


def wrong_encoding(chance, folder):
    text = csv_text([(*cells[:-1], "Ölweide \u4e2d\u6587 \U0001f347") for cells in LINES])
    raw = text.encode(chance.choice(["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8", "utf-7", "gb18030"]))
    junk = bytes(chance.randrange(128, 256) for _ in range(20))
    at = chance.randrange(len(raw))
    return put(
        folder,
        "symptoms.csv",
        chance.choice([raw, raw[1:], raw[:at] + junk + raw[at:], b"\xff\xfe" + raw, b"\xef\xbb\xbf" * 3 + raw]),
    )


def nul_bytes(chance, folder):
    raw = bytearray(csv_file())
    for _ in range(chance.choice([1, 50])):
        raw.insert(chance.randrange(len(raw)), 0)
    return put(folder, "symptoms.csv", chance.choice([bytes(raw), b"\0" * 10_000, bytes(raw).replace(b",", b"\0")]))


def strange_cells(chance, folder):
    """Cells that no column expects, in every table."""
    values = [
        "9" * 5000,
        "1e999",
        "-1e999",
        "nan",
        "inf",
        "1:1..999999999",
        "30:900000000",
        "every 9999999999",
        "9999-12-31",
        "0001-01-01",
        "=1+1",
        "#N/A",
        "\u0663",
        "\u00b2",
        "1,5",
        "all;" * 300,
        "x" * 40_000,
        "\ud7ff",
        "\u202e",
        "-0",
        "1/0",
        "2026-02-30",
        "''",
        "1_000",
        "٣",
    ]
    table, head = chance.choice(
        [
            (
                "symptoms",
                ["block", "row", "position", "date", "symptom", "percent", "trunk", "dead", "note", "bay", "vine"],
            ),
            (
                "rows",
                [
                    "block",
                    "row",
                    "first",
                    "last",
                    "breaks",
                    "bay_ends",
                    "row_order",
                    "across_m",
                    "start_m",
                    "valid_from",
                ],
            ),
            ("surveys", ["block", "date", "covered", "survey", "minutes", "until", "counted_from"]),
            ("plants", ["block", "row", "position", "planted", "removed", "longitude", "latitude"]),
            ("blocks", ["block", "planted", "latitude", "row_bearing_deg", "vine_spacing_m"]),
            ("costs", ["name", "value", "unit"]),
            ("weather", ["date", "t_min_c", "rain_mm"]),
            ("work", ["block", "row", "position", "date", "kind", "hours", "cost"]),
        ]
    )
    usual = {
        "block": "B",
        "row": "1",
        "position": "2",
        "date": "2026-01-05",
        "symptom": "canker",
        "covered": "1",
        "last": "9",
        "name": "price_per_t",
        "value": "9",
        "kind": "replant",
    }
    lines = [
        [chance.choice(values) if chance.random() < 0.3 else usual.get(name, "") for name in head] for _ in range(5)
    ]
    return put(folder, f"{table}.csv", csv_text(lines, head).encode("utf-8", "surrogatepass"))


def strange_hand_over(chance, folder):
    odd = [
        None,
        True,
        1e308,
        -1,
        10**400,
        "\ud800",
        "x" * 50_000,
        [],
        {},
        [[[]]],
        "2026-13-01",
        float("inf"),
        float("nan"),
        "=1",
        0.1,
    ]
    told = hand_over()
    for record in told["symptoms"][:10]:
        record[chance.choice([*HEAD, "id", "recorded_at", "new\ud800"])] = chance.choice(odd)
    top = chance.choice(
        [
            told,
            told,
            {**told, "symptoms": odd},
            odd,
            {**told, "work": {"a": 1}},
            {**told, "trunkwatch_handover": chance.choice(odd)},
        ]
    )
    return put(folder, "symptoms.json", json.dumps(top).encode())


def strange_database(chance, folder):
    """Cells of other kinds than the columns, other marks in the head, tables that are gone or are views."""
    path = put(folder, "symptoms.gpkg", geopackage(folder))
    db = sqlite3.connect(path, isolation_level=None)
    todo = chance.choice(
        [
            "DROP TABLE symptoms",
            "DELETE FROM trunkwatch_step",
            "UPDATE surveys SET covered = '1:1..999999999'",
            "UPDATE rows SET last = 1e300",
            "UPDATE symptoms SET date = 'never'",
            "UPDATE rows SET last = 9e999",
            "UPDATE symptoms SET position = '" + "9" * 6000 + "'",
            "UPDATE symptoms SET corrects = id",
            "UPDATE surveys SET date = '9999-12-31'",
            "UPDATE symptoms SET row = NULL",
            "PRAGMA application_id = 1",
            "PRAGMA writable_schema = 1; UPDATE sqlite_master SET sql = 'CREATE TABLE x(y)' WHERE name = 'symptoms'",
            "ALTER TABLE symptoms DROP COLUMN note",
            "DROP TABLE trunkwatch_step",
            "PRAGMA journal_mode = wal",
            "UPDATE blocks SET planted = -5",
            "UPDATE rows SET row_order = 9e999",
            "UPDATE symptoms SET note = zeroblob(20)",
            "DROP TABLE gpkg_contents",
        ]
    )
    with contextlib.suppress(sqlite3.Error):
        db.executescript(todo)
    db.close()
    return path


# ---- Bombs: few, since each costs seconds -----------------------------------------------------------------------


def far_row(chance, folder):
    row = chance.choice([900_000_000, 2**31, 1_048_577, 10**30])
    return put(folder, "symptoms.xlsx", workbook(sheet_xml(f'{XML_HEAD}<row r="{row}">{cell(f"A{row}", "B")}</row>')))


def far_column(_chance, folder):
    rows = "".join(f'<row r="{n}">{cell(f"XFD{n}", "x")}</row>' for n in range(2, 4000))
    return put(folder, "symptoms.xlsx", workbook(sheet_xml(XML_HEAD + rows)))


def spaces_after_formula(chance, folder):
    middle = chance.choice([" " * 400_000, "<v></v>" + "\n" * 400_000, '<!-- <c r="A1" -->' * 30_000, "<f/>" * 30_000])
    rows = f'{XML_HEAD}<row r="2"><c r="A2"><f>1+1</f>{middle}<v>1</v></c></row>'
    return put(folder, "symptoms.xlsx", workbook(sheet_xml(rows)))


def zip_bomb(chance, folder):
    size = chance.choice([19_000_000, 60_000_000, 250_000_000])
    rows = (
        sheet_xml(XML_HEAD + " " * size)
        if chance.random() < 0.5
        else sheet_xml(XML_HEAD + '<row r="2"/>' * (size // 12))
    )
    return put(folder, "symptoms.xlsx", workbook(rows))


def lying_zip(_chance, folder):
    """Say in the directory of the file that a huge part is small."""
    raw = bytearray(workbook(sheet_xml(XML_HEAD + '<row r="2"/>' * 3_000_000)))
    for mark, at in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        place = -1
        while (place := raw.find(mark, place + 1)) >= 0:
            if struct.unpack_from("<I", raw, place + at)[0] > 1_000_000:
                struct.pack_into("<I", raw, place + at, 5000)
    return put(folder, "symptoms.xlsx", bytes(raw))


def many_parts(_chance, folder):
    return put(folder, "symptoms.xlsx", workbook(more={f"xl/media/{n}.png": b"" for n in range(60_000)}))


def many_sheets(_chance, folder):
    import openpyxl

    book = openpyxl.Workbook()
    for n in range(300):
        book.create_sheet(f"symptoms {n}").append(HEAD)
    out = io.BytesIO()
    book.save(out)
    return put(folder, "symptoms.xlsx", out.getvalue())


def deep_xml(chance, folder):
    depth = chance.choice([10_000, 300_000])
    name = chance.choice(["is", "row", "x"])
    return put(folder, "symptoms.xlsx", workbook(sheet_xml(XML_HEAD + f"<{name}>" * depth + f"</{name}>" * depth)))


def entities(_chance, folder):
    laughs = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 12))
    text = f'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY l0 "ha">{laughs}]><worksheet {NS}><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>&l11;</t></is></c></row></sheetData></worksheet>'
    return put(folder, "symptoms.xlsx", workbook(text))


def huge_strings(chance, folder):
    many = chance.choice([500_000, 3_000_000])
    strings = f'<sst {NS} count="{many}" uniqueCount="{many}">{"<si><t>a</t></si>" * many}</sst>'
    return put(folder, "symptoms.xlsx", workbook(strings=strings))


def one_string_many_times(_chance, folder):
    rows = "".join(f'<row r="{n}"><c r="A{n}" t="s"><v>0</v></c></row>' for n in range(2, 60_000))
    strings = f'<sst {NS} count="1" uniqueCount="1"><si><t>{"x" * 2_000_000}</t></si></sst>'
    return put(folder, "symptoms.xlsx", workbook(sheet_xml(XML_HEAD + rows), strings))


def long_line(chance, folder):
    line = chance.choice(
        ["x" * 10_000_000, "," * 10_000_000, '"' + "x,\r\n" * 2_500_000, '"",' * 3_000_000, "x;" * 5_000_000]
    )
    return put(folder, "symptoms.csv", csv_text() + line)


def many_lines(chance, folder):
    return put(
        folder,
        "symptoms.csv",
        csv_text()
        + chance.choice(
            ["\r\n" * 10_000_000, ",,,\r\n" * 4_000_000, "B,1,1,2026-01-05,canker,\r\n" * 900_000, "a\r" * 9_000_000]
        ),
    )


def nested_json(chance, folder):
    depth = 100_000
    text = chance.choice(
        [
            "[" * depth,
            "[" * depth + "]" * depth,
            '{"trunkwatch_handover":' * depth + "1" + "}" * depth,
            '{"trunkwatch_handover": 1, "symptoms": ' + "[" * depth + "]" * depth + "}",
            '{"trunkwatch_handover": ' + "9" * 1_000_000 + "}",
            '{"a":1,' * depth,
            '"' + "\\u0000" * 2_000_000 + '"',
        ]
    )
    return put(folder, "symptoms.json", text)


def huge_rows(chance, folder):
    head = ("block", "row", "first", "last")
    lines = [
        ("B", str(n), "1", chance.choice(["99999", "900000000", "100000"])) for n in range(1, chance.choice([40, 4000]))
    ]
    return put(folder, "rows.csv", csv_text(lines, head))


def endless_view(_chance, folder):
    """Name a question that has no end like a table."""
    path = put(folder, "symptoms.gpkg", geopackage(folder))
    db = sqlite3.connect(path, isolation_level=None)
    names = [row[1] for row in db.execute("PRAGMA table_info(symptoms)")]
    db.execute("DROP TABLE symptoms")
    listed = ", ".join(f"'x' AS \"{name}\"" for name in names if name != "number")
    db.execute(
        f"CREATE VIEW symptoms AS WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n) SELECT k AS number, {listed} FROM n"
    )
    db.close()
    return path


def huge_cell(_chance, folder):
    path = put(folder, "symptoms.gpkg", geopackage(folder))
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("UPDATE symptoms SET note = hex(zeroblob(20000000))")
    db.close()
    return path


LIGHT: tuple[Recipe, ...] = (truncated, flipped, flipped, flipped_database, spliced, wrong_encoding, nul_bytes, strange_cells, strange_cells,
                             strange_hand_over, strange_database)  # fmt: skip
BOMBS: tuple[Recipe, ...] = (far_row, far_column, spaces_after_formula, zip_bomb, lying_zip, many_parts, many_sheets, deep_xml, entities, huge_strings,
                             one_string_many_times, long_line, many_lines, nested_json, huge_rows, endless_view, huge_cell)  # fmt: skip


def recipes(many: int) -> Iterator[tuple[int, Recipe]]:
    """Yield number and recipe of so many files: every bomb at least once, one in ten after that."""
    for number in range(many):
        if number % 10 == 0:
            yield number, BOMBS[number // 10 % len(BOMBS)]
        else:
            yield number, LIGHT[number % len(LIGHT)]


def make(number: int, recipe: Recipe, seed: int, folder: Path) -> Path:
    """Make one file; the same number and seed make the same file."""
    return recipe(random.Random(f"{seed}-{number}"), folder)


if __name__ == "__main__":
    from handing_in import Desk

    Desk.run(int(sys.argv[1]) if len(sys.argv) > 1 else 5000, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
