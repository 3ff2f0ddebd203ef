"""trunkwatch.report: shown_photos, page, block_page; few photos, small, in report and map; none where there are none."""

import json
import re

import made_photos
import pytest

from trunkwatch.block import load
from trunkwatch.intake import add_records, start_file
from trunkwatch.intake.photos import NewPhoto, add_photos
from trunkwatch.report import report_html
from trunkwatch.report.block_page import map_html
from trunkwatch.report.shown_photos import MOST_ON_MAP, MOST_SHOWN, MOST_SMALL, photos_of_map, photos_of_report
from trunkwatch.spreadsheets.photo import Photo
from trunkwatch.store import Store

BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 4, 8)
    add_records(
        path, "surveys", [{"survey": "s", "block": "North", "date": "2026-01-20", "covered": "1..4", "look": "dormant"}]
    )
    found = [
        {
            "block": "North",
            "row": str(1 + n // 8),
            "position": str(1 + n % 8),
            "date": "2026-01-20",
            "symptom": "dead_arm",
            "arm": "start",
        }
        for n in range(16)
    ]
    add_records(path, "symptoms", found)
    return path


def with_photos(path, many):
    with Store.open(path) as store:
        ids = store.frame("symptoms")["id"].tolist()
    for number in range(many):
        photo = Photo(made_photos.jpeg(number, 640, 480), 640, 480, f"2026-01-20T10:{number:02d}:00")
        add_photos(path, ids[number], [NewPhoto(photo, "cut_face", f"<i>{number}</i>")])


def pages(path):
    with Store.open(path) as store:
        season = load(store, "North", definition="dieback")
        shown = photos_of_report(store, season)
        report = report_html(season, permutations=99, shown=shown)
        return season, shown, report, map_html(season, photos=photos_of_map(store, season))


def test_a_report_shows_the_newest_few_and_says_how_many_there_are(path):
    with_photos(path, 14)
    _, shown, report, drawn = pages(path)
    assert [photo.text for photo in shown.photos] == [
        f"2026-01-20, photo of the cut face, taken 2026-01-20 10:{n:02d}: <i>{n}</i>" for n in (13, 12, 11, 10, 9, 8)
    ]
    assert report.count("<img ") == MOST_SHOWN
    assert "The newest 6 of 14 photos, small" in report
    assert "<i>13</i>" not in report
    told = json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', drawn, re.DOTALL)[1])
    photos = [photo for listed in told["photos"].values() for photo in listed]
    assert len(photos) == 14
    assert sum(bool(source) for _, source in photos) == MOST_ON_MAP


@pytest.mark.long
def test_photos_add_no_more_than_a_little_to_a_page(path):
    _, _, report, drawn = pages(path)
    with_photos(path, 14)
    _, shown, more, larger = pages(path)
    assert all(len(photo.source) <= MOST_SMALL * 4 / 3 + 40 for photo in shown.photos)
    assert 0 < len(more) - len(report) < MOST_SHOWN * MOST_SMALL * 4 / 3 + 5000
    assert 0 < len(larger) - len(drawn) < MOST_ON_MAP * MOST_SMALL * 4 / 3 + 5000


def test_without_photos_pages_are_as_they_were(path):
    season, shown, report, drawn = pages(path)
    assert (shown.photos, shown.many) == ((), 0)
    assert report == report_html(season, permutations=99)
    assert drawn == map_html(season)
