"""trunkwatch.maps: block_map, map_data, strip, change, counts, frame, look, outline, sheet, svg, work, symbols, canvas."""

import json
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from contrast import contrast, faint_parts, smallest_on_a_phone
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.history import Condition
from trunkwatch.maps.block_map import block_map
from trunkwatch.maps.canvas import sheet_of, shown_labels
from trunkwatch.maps.change import change_masks, change_svg, season_before
from trunkwatch.maps.counts import condition_counts, count_line, described, last_counted, work_masks
from trunkwatch.maps.frame import drawing_frame, nice_length
from trunkwatch.maps.map_data import map_data, script_text
from trunkwatch.maps.outline import focus_outlines
from trunkwatch.maps.strip import strip_svg
from trunkwatch.maps.svg import document
from trunkwatch.maps.symbols import (
    CHANGES,
    DARK,
    FOCUS,
    INK,
    OUTSIDE,
    PAPER,
    ROW_START,
    SYMBOLS,
    WORK_DONE,
    WORK_PLANNED,
)
from trunkwatch.maps.work import work_svg
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.vineyard.tables import frame_of

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def season(golden, tmp_path):
    write_folder(tmp_path / "g", {name: frame_of(name, records) for name, records in golden.TABLES.items()})
    return load(tmp_path / "g")


def embedded(html):
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.DOTALL)[1])


def test_golden_conditions_stand_in_the_map(golden, season):
    told = embedded(block_map(season.history))
    assert [one["season"] for one in told["seasons"]] == list(golden.SEASONS)
    for one in told["seasons"]:
        words = [Condition(int(mark)).name.lower() for mark in one["condition"]]
        assert words == golden.CONDITIONS[one["season"]].split()
    assert told["seasons"][-1]["line"] == "showing 2 of 6 scouted"
    assert told["position"] == list(range(1, 9))


def test_the_map_needs_nothing_else_and_is_the_same_twice(season):
    html = block_map(season.history)
    assert html == block_map(season.history)
    assert not re.search(r"<(script|link|img|iframe)[^>]*(src|href)=", html)
    assert "cdn" not in html.casefold()
    assert len(html) < 400_000


def test_what_users_typed_cannot_run(golden, tmp_path):
    evil = "</script><script>alert(1)</script><!--"
    tables = {**golden.TABLES, "symptoms": [{**line, "note": evil, "observer": evil} for line in golden.SYMPTOMS]}
    write_folder(tmp_path / "g", {name: frame_of(name, records) for name, records in tables.items()})
    html = block_map(load(tmp_path / "g").history, title=evil)
    assert "<script>alert" not in html
    assert any(evil in event[1] for event in embedded(html)["events"]["1"])
    assert "<" not in script_text({"x": evil})


def test_a_base_layer_needs_coordinates(season):
    with pytest.raises(ValueError, match="no coordinates"):
        block_map(season.history, base_layer="tiles/{z}/{x}/{y}")
    placed = (np.full((1, 8), -30.0) + np.arange(8) * 1e-5, np.full((1, 8), 44.0))
    assert (
        embedded(block_map(season.history, placed=placed, base_layer="tiles/{z}/{x}/{y}"))["base"]
        == "tiles/{z}/{x}/{y}"
    )


def test_an_unknown_season(season):
    with pytest.raises(RecordError, match="no season 1999"):
        block_map(season.history, season=1999)


def test_places_are_whole_centimetres_from_the_middle(season):
    """Eight vines 2 m apart without coordinates: 0, 2, ... 14 m along, in centimetres."""
    frame = drawing_frame(season.history.grid)
    told = map_data(season.history, frame, None, 2026)
    assert np.diff(told["x"]).tolist() == [200] * 7
    assert told["north"] is False
    assert told["runs"] == [[0, 0, 8]]


def test_strip_draws_every_vine_once_and_tells_the_numbers(season):
    svg = strip_svg(season.history, 2026)
    root = ET.fromstring(svg)
    assert root.find(f"{SVG}title").text == "Block G, 2026"
    told = root.find(f"{SVG}desc").text
    assert told == described(season.history, 2026)
    assert "2 of 6" in told
    assert condition_counts(season.history, 2026)[Condition.SHOWING] == 2
    assert svg == strip_svg(season.history, 2026)
    assert len(svg) < 20_000


def test_a_finding_of_a_second_look_was_not_seen_in_passing():
    """Beside the second look and in another time of the year, too; what no look covers was seen in passing."""
    store = walked_block(
        (2024, 2025),
        vines=4,
        symptoms=[
            {"position": "2", "date": "2025-07-02", "symptom": "canker", "observer": "Oskar"},
            {"position": "3", "date": "2025-05-20", "symptom": "canker", "observer": "Oskar"},
        ],
    )
    store.append(
        {
            "surveys": frame_of(
                "surveys",
                [{"block": "A", "date": "2025-06-28", "covered": "1", "purpose": "recheck", "observer": "Oskar"}],
            )
        }
    )
    events = embedded(block_map(load(store, "A").history))["events"]
    assert events == {
        "1": [["2025-07-02", "canker: sunken, dead bark or wood, Oskar"]],
        "2": [["2025-05-20", "canker: sunken, dead bark or wood, Oskar (seen in passing, in no rate)"]],
    }


@pytest.mark.parametrize(("day", "outside"), [("2024-10-31", [[], []]), ("2024-11-01", [[2], []])])
def test_a_vine_pulled_on_the_last_day_of_a_season_has_no_bar_over_it(day, outside):
    canker = {"position": "3", "date": "2024-09-20", "symptom": "canker"}
    store = walked_block(
        (2024, 2025), vines=4, symptoms=[canker], work=[{"position": "3", "date": day, "kind": "remove"}]
    )
    assert [one["outside"] for one in embedded(block_map(load(store, "A").history))["seasons"]] == outside


def test_change_masks_by_hand(season):
    """2026 against 2025: P2 shows again, P7 for the first time, P4 no longer, P5 is replanted or new to the eye."""
    masks = change_masks(season.history, 2026, 2025)
    assert np.flatnonzero(masks["new"][0]).tolist() == [6]
    assert np.flatnonzero(masks["again"][0]).tolist() == [1]
    assert np.flatnonzero(masks["no longer"][0]).tolist() == [3]
    assert set(masks) == set(CHANGES)
    assert sum(mask.astype(int) for mask in masks.values()).max() == 1
    assert "2026" in change_svg(season.history, 2026)
    assert season_before(season.history, 2023) is None
    with pytest.raises(RecordError, match="nothing to compare"):
        change_svg(season.history, 2023)


def test_counts(season):
    assert count_line(season.history, 2025) == "showing 1 of 4 scouted"
    assert last_counted(season.history) == 2026
    done, planned = work_masks(season.history, 2025)
    assert np.flatnonzero(done[0]).tolist() == [2, 3]
    assert not planned.any()


def test_every_condition_has_a_look_of_its_own():
    drawn = {one for one in Condition if one != Condition.NO_POSITION}
    assert set(SYMBOLS) == drawn
    assert len({look.letter for look in SYMBOLS.values()}) == len(drawn)
    assert len({look.word for look in SYMBOLS.values()}) == len(drawn)


def test_outline_of_a_focus(season):
    frame = drawing_frame(season.history.grid)
    labels = np.zeros((1, 8), dtype=np.int64)
    labels[0, 2:5] = 1
    assert len(focus_outlines(frame, labels)) == 1
    assert len(focus_outlines(frame, np.zeros_like(labels))) == 0


def test_the_legend_stands_once_and_is_complete(season):
    for narrow in (False, True):
        words = [text.text for text in ET.fromstring(strip_svg(season.history, 2026, narrow=narrow)).iter(f"{SVG}text")]
        for condition, count in condition_counts(season.history, 2026).items():
            assert words.count(f"{SYMBOLS[condition].word} {count}") == 1
        assert words.count(ROW_START.word) == 1
        assert not any("not scouted" in line for line in words)


def test_position_1_is_marked_at_its_end_of_the_row(season):
    """The row of block G runs from left to right without a bearing, and to the left with one of 270 degrees."""
    for bearing, side in ((None, "left"), (270.0, "right")):
        root = ET.fromstring(strip_svg(season.history, 2026, bearing_deg=bearing))
        width = float(root.get("viewBox").split()[2])
        heads = [
            path.get("d") for path in root.iter(f"{SVG}path") if path.get("fill") == INK and not path.get("stroke")
        ]
        triangles = [[float(x) for x in re.findall(r"[ML](-?[\d.]+)", d)] for d in heads if d.endswith("Z")]
        assert len(triangles) == 1
        tip, *base = triangles[0]
        assert (tip < width / 2) == (side == "left")
        assert (tip > max(base)) == (side == "left")  # it points into the row


def test_row_numbers_are_thinned_where_they_would_touch_beside_each_other():
    """Sixteen upright rows stand some 20 pixels apart on a phone: three figures need more, two do not."""
    for first, fewer in ((1, False), (101, True)):
        lines = [{"block": "B", "row": str(first + row), "last": 10} for row in range(16)]
        block = {"block": "B", "row_spacing_m": 2.0, "vine_spacing_m": 1.5}
        grid = RowGrid.from_tables(block, frame_of("rows", lines))
        numbers = sheet_of(grid, drawing_frame(grid, bearing_deg=0.0), narrow=True).row_numbers()
        written = re.findall(r">(\d+)</text>", numbers)
        assert (len(written) < 32) == fewer
        assert {grid.rows[0], grid.rows[-1]} <= set(written)


def drawings(history):
    work = {(0, 3): frozenset({"renew_arm"}), (0, 1): frozenset({"watch"}), (0, 5): frozenset({"replant"})}
    return [
        (
            strip_svg(history, 2026, foci=np.ones((1, 8), dtype=int), narrow=narrow),
            change_svg(history, 2026, narrow=narrow),
            work_svg(history, 2026, work, narrow=narrow),
        )
        for narrow in (False, True)
    ]


def test_on_a_phone_the_same_is_told_in_words_of_11_pixels(season):
    broad, narrow = drawings(season.history)
    for wide, slim in zip(broad, narrow, strict=True):
        assert smallest_on_a_phone(slim) >= 11
        assert smallest_on_a_phone(wide) < 11
        assert ET.fromstring(slim).find(f"{SVG}desc").text == ET.fromstring(wide).find(f"{SVG}desc").text


@pytest.mark.parametrize("dark", [False, True])
def test_maps_stand_out_from_paper_and_from_a_dark_screen(season, dark):
    other = DARK if dark else {colour: colour for colour in DARK}
    for svg in (one for form in drawings(season.history) for one in form):
        assert faint_parts(svg, other[PAPER], other) == []
    for look in (*SYMBOLS.values(), *CHANGES.values(), WORK_DONE, WORK_PLANNED, OUTSIDE, FOCUS, ROW_START):
        assert contrast(other[look.ink], other[PAPER]) >= 3


def test_the_map_page_knows_every_dark_colour_it_needs(season):
    told = embedded(block_map(season.history))
    looks = [*told["looks"].values(), told["work"], told["outside"], told["focus"], told["start"]]
    used = (
        {look["ink"] for look in looks}
        | {look["fill"] for look in looks if look["fill"]}
        | {told["ink"], told["faint"], told["paper"]}
    )
    assert used <= set(told["dark"])


def test_small_parts():
    assert nice_length(37.0) == 20.0
    assert shown_labels(["1", "2", "3"], 20.0, least=10.0) == [0, 1, 2]
    assert 'role="img"' in document(10, 10, "t", "d", "", "n")


def test_vines_of_this_winter_are_ringed_and_counted(season):
    shape = season.history.grid.shape
    winter = np.zeros(shape, dtype=bool)
    winter[0, 1] = winter[0, 4] = True
    plain, ringed = strip_svg(season.history, 2026), strip_svg(season.history, 2026, this_winter=winter)
    assert "listed for this winter 2" in ringed
    assert "this winter" not in plain
    assert strip_svg(season.history, 2026, this_winter=~np.ones(shape, dtype=bool)) == plain
    with pytest.raises(ValueError, match=r"this_winter has shape \(1, 2\)"):
        strip_svg(season.history, 2026, this_winter=np.ones((1, 2), dtype=bool))
