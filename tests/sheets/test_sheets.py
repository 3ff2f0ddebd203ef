"""trunkwatch.sheets: paper, crew_lists, second_look, field_page, field_words; trunkwatch.surveys.to_walk; trunkwatch.history.landmarks."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from trunkwatch.block import open_vineyard
from trunkwatch.errors import RecordError
from trunkwatch.history import read_block
from trunkwatch.history.landmarks import landmarks
from trunkwatch.sheets.crew_lists import LISTS, crew_lines, crew_lists
from trunkwatch.sheets.field_page import field_data, field_page, vineyard_id, write_app_folder
from trunkwatch.sheets.field_words import LANGUAGES, words_of
from trunkwatch.sheets.paper import SHORT, findings_list, row_strips
from trunkwatch.sheets.second_look import draw_second_look, second_look_page
from trunkwatch.sheets.second_look_words import second_look_notes
from trunkwatch.surveys.paired_looks import first_look
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.covered import parse_covered
from trunkwatch.vineyard.tables import frame_of


@pytest.fixture(scope="module")
def walk(pytestconfig):
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        yield to_walk(store, "Mill", 2026)


def test_a_block_without_any_season_can_be_walked(tmp_path):
    from click.testing import CliRunner

    from trunkwatch.cli import main

    done = CliRunner().invoke(
        main, ["new", str(tmp_path / "v"), "--block", "N", "--rows", "3", "--vines", "9", "--hemisphere", "north"]
    )
    assert done.exit_code == 0
    with open_vineyard(tmp_path / "v") as store:
        assert to_walk(store, None, 2027).season == 2027
        with pytest.raises(RecordError, match="--season"):
            to_walk(store, None, None)


def test_landmarks_are_those_of_the_record(walk):
    history = walk.history
    missing, young = landmarks(walk.reading, 2026)
    from trunkwatch.history import Condition

    last = history.condition[-1]
    assert np.array_equal(missing & history.looked_at[-1], (last == Condition.MISSING) & history.looked_at[-1])
    assert (last[young] == Condition.YOUNG).all()


def test_findings_list_has_its_lines_rows_and_codes(walk):
    page = findings_list(walk.history, 2026, training="bilateral", size="Letter")
    assert "size: Letter" in page
    assert page.count("<tr><td></td>") == 30
    assert all(f"> {label} <span" in page for label in walk.history.grid.labels)
    assert all(short in page for short in SHORT.values())
    assert set(SHORT) <= set(codes.SYMPTOMS)
    assert len(set(SHORT.values())) == len(SHORT)
    with pytest.raises(ValueError, match="A5"):
        findings_list(walk.history, 2026, size="A5")


def test_strips_have_a_cell_for_every_vine_and_cross_the_missing(walk):
    page = row_strips(walk)
    assert page.count("<rect") == int(walk.history.grid.exists.sum())
    assert page.count('stroke-width="0.8"/>') - page.count("<rect") == int(walk.missing.sum())


def test_the_four_lists_in_walking_order_without_what_is_done(walk):
    work = frame_of(
        "work",
        [
            {
                "id": "1",
                "block": "Mill",
                "row": "3",
                "position": "5",
                "date": "2026-12-01",
                "kind": "renew_arm",
                "arm": "start",
                "status": "planned",
                "cut_height_cm": 60,
            },
            {
                "id": "2",
                "block": "Mill",
                "row": "1",
                "position": "9",
                "date": "2026-12-01",
                "kind": "renew_trunk",
                "trunk": 2,
                "status": "planned",
                "note": "<i>low</i>",
            },
            {
                "id": "3",
                "block": "Mill",
                "row": "1",
                "position": "4",
                "date": "2026-12-01",
                "kind": "renew_arm",
                "status": "done",
            },
            {
                "id": "4",
                "block": "Mill",
                "row": "2",
                "position": "4",
                "date": "2027-05-01",
                "kind": "keep_shoot",
                "status": "planned",
            },
            {
                "id": "5",
                "block": "Mill",
                "row": "2",
                "position": "4",
                "date": "2027-05-01",
                "kind": "keep_shoot",
                "status": "dropped",
            },
        ],
    )
    reading = read_block(replace(walk.reading.records, work=work), walk.reading.grid)
    lines = crew_lines(reading)
    assert [(line.row, line.position, line.done) for line in lines["Cut"]] == [
        ("1", "4", True),
        ("1", "9", False),
        ("3", "5", False),
    ]
    assert [line.id for line in lines["Leave this shoot"]] == ["4"]
    assert set().union(*LISTS.values()) == set(codes.WORK_KINDS)
    page = crew_lists(reading, 2026)
    assert "&lt;i&gt;low" in page
    assert page.count("<section>") == 2
    assert "A shoot from below the graft union is rootstock" in page
    assert page.index("Cut: block Mill") < page.index("Leave this shoot: block Mill")
    assert "No work is planned" in crew_lists(
        read_block(replace(walk.reading.records, work=work.iloc[:0]), reading.grid), 2026
    )


def test_second_look_is_half_and_half_and_blind(walk):
    grid = walk.history.grid
    drawn = draw_second_look(walk.reading, 2026, 40, look="summer", rng=3)
    whole = first_look(walk.reading, "summer", 2026)
    cells = [grid.cell(row, position) for row, position in drawn.vines]
    assert len(set(cells)) == 40
    assert cells == sorted(cells)
    assert sum(bool(whole.cases[cell]) for cell in cells) == 20 == drawn.with_findings
    assert all(whole.vines[cell] for cell in cells)
    stretches = parse_covered(drawn.covered, grid.rows)
    assert sum(s.last - s.first + 1 for s in stretches) == 40
    assert draw_second_look(walk.reading, 2026, 40, look="summer", rng=3) == drawn
    page = second_look_page(drawn)
    lines = re.findall(r"<tr><td.*?</tr>", page, flags=re.DOTALL)
    assert len(lines) == 40
    assert len({re.sub(r'<td class="at">.*?</td>', "", line) for line in lines}) == 1  # no line tells itself apart
    assert not any(note in page for note in second_look_notes(drawn))
    with pytest.raises(ValueError, match="two at least"):
        draw_second_look(walk.reading, 2026, 1)
    with pytest.raises(ValueError, match="autumn"):
        draw_second_look(walk.reading, 2026, 4, look="autumn")


def test_every_word_stands_in_every_language():
    words = words_of()
    assert set(words) == set(LANGUAGES)
    assert set(words["en"]) == set(words["es"])
    empty = [key for key, text in words["es"].items() if not text]
    assert empty == []
    assert {f"code.{code}" for code in codes.SYMPTOMS} <= set(words["en"])
    for key, english in words["en"].items():
        assert set(re.findall(r"\{\w+\}", english)) <= set(re.findall(r"\{\w+\}", words["es"][key])) or not english


def test_page_carries_no_markup_from_data_and_is_the_same_twice(walk):
    data = field_data(walk, identity="v", look="summer", language="en")
    data["block"] = "</script><script>alert(1)</script>"
    page = field_page(data)
    assert page == field_page(data)
    assert "<script>alert(1)" not in page
    assert page.count("<script") == 2
    with pytest.raises(ValueError, match="language 'de'"):
        field_data(walk, identity="v", look="summer", language="de")


def test_app_folder_has_all_that_a_phone_installs(walk, tmp_path):
    paths = write_app_folder(field_data(walk, identity="v", look="dormant", language="es"), tmp_path / "app")
    assert sorted(path.name for path in paths) == ["icon.svg", "index.html", "manifest.webmanifest", "worker.js"]
    manifest = json.loads((tmp_path / "app" / "manifest.webmanifest").read_text())
    assert (manifest["start_url"], manifest["lang"]) == ("index.html", "es")
    assert "@version@" not in (tmp_path / "app" / "worker.js").read_text()
    assert "manifest.webmanifest" in (tmp_path / "app" / "index.html").read_text()


def test_identity_is_that_of_the_vineyard_in_any_order():
    assert vineyard_id("V", ("A", "B")) == vineyard_id("V", ("B", "A")) != vineyard_id("V", ("A",))
