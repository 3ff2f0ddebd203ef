"""trunkwatch.surveys: progress, oddities, words. A survey over several days and people, on a block small enough to count by hand."""

import pytest

from trunkwatch.errors import UnknownBlockError
from trunkwatch.store import Store
from trunkwatch.surveys.oddities import Oddity, OddityKind
from trunkwatch.surveys.progress import FINISHED, surveys_of
from trunkwatch.surveys.words import oddity_words, walker_words
from trunkwatch.vineyard.records import with_ids
from trunkwatch.vineyard.tables import frame_of

BLOCK = {"block": "G", "planted": 2005, "training": "bilateral", "row_spacing_m": 3.0, "vine_spacing_m": 2.0}
ROWS = [{"block": "G", "row": str(row), "row_order": row, "first": 1, "last": 8} for row in (1, 2, 3)]


def walk(covered, observer, date, **more):
    return {
        "survey": "winter",
        "block": "G",
        "date": date,
        "look": "dormant",
        "covered": covered,
        "observer": observer,
        "recorded_at": f"{date}T18:00:00+00:00",
        **more,
    }


def finding(row, position, date, symptom="dead_arm", observer="Ana", **more):
    return {
        "block": "G",
        "row": str(row),
        "position": str(position),
        "date": date,
        "symptom": symptom,
        "observer": observer,
        **more,
    }


def told(surveys, symptoms=(), plants=(), work=()):
    store = Store.in_memory()
    tables = {"blocks": [BLOCK], "rows": ROWS, "surveys": surveys, "symptoms": symptoms, "plants": plants, "work": work}
    store.append({name: with_ids(name, frame_of(name, list(lines))) for name, lines in tables.items()})
    return surveys_of(store, "G")


def test_two_scouts_share_a_row_on_two_days_and_the_rest_is_to_go():
    (one,) = told([walk("1; 2:1..4", "Ana", "2026-02-03"), walk("2:5..6", "Ben", "2026-02-05", minutes=12)])
    assert [(row.row, row.walked, row.left) for row in one.rows] == [("1", 8, ""), ("2", 6, "7..8"), ("3", 0, "1..8")]
    assert [walker_words(*who) for who in one.rows[1].who] == ["Ana, 2026-02-03", "Ben, 2026-02-05"]
    assert (one.walked, one.vines, one.rows_to_go, one.is_open) == (14, 24, 2, True)
    assert [(w.observer, w.vines, w.minutes) for w in one.walks] == [("Ana", 12, None), ("Ben", 2, 12.0)]
    assert one.oddities == (
        Oddity(OddityKind.ROWS_NOT_WALKED, ("3",)),
        Oddity(OddityKind.ROW_NOT_WHOLE, ("2",), "7..8"),
    )
    assert [oddity_words(odd) for odd in one.oddities] == [
        "Not scouted at all: row 3. Their vines are not seen, not healthy.",
        "Row 2: 7..8 not scouted.",
    ]


def test_places_without_a_vine_are_not_to_go():
    plants = [{"block": "G", "row": "3", "position": str(p), "reason": "missing"} for p in (3, 8)]
    (one,) = told([walk("1; 2; 3:1..2", "Ana", "2026-02-03")], plants=plants)
    assert (one.rows[2].marks, one.rows[2].left, one.rows[2].vines) == ("ww-tttt-", "4..7", 6)
    (two,) = told([walk("1; 2; 3:1..1; 3:5..8", "Ana", "2026-02-03")], plants=plants)
    assert two.rows[2].left == "2..4"  # the gap at 3 breaks no stretch


def test_finished_is_what_the_last_walk_says_and_another_walk_opens_it_again():
    done = walk("1", "Ana", "2026-02-03", note=f"windy; {FINISHED}")
    assert not told([done])[0].is_open
    assert told([done, walk("2", "Ben", "2026-02-05")])[0].is_open
    assert not told([walk("all", "Ana", "2026-02-03")])[0].is_open  # nothing is left


def test_oddities_name_what_does_not_fit():
    surveys = [walk("1; 2", "Ana", "2026-02-03"), walk("2", "Ben", "2026-02-04")]
    before = [walk("all", "Ana", "2025-02-03", survey="before")]
    symptoms = [
        finding(1, 2, "2025-02-03"),
        finding(1, 3, "2025-02-03"),
        finding(1, 4, "2025-02-03"),
        finding(2, 1, "2026-02-03"),
        finding(2, 2, "2026-02-04", observer="Ben"),
        finding(3, 5, "2026-02-04"),
        finding(2, 8, "2026-02-03"),
    ]
    work = [{"block": "G", "row": "1", "position": "3", "date": "2025-03-01", "kind": "renew_arm", "status": "done"}]
    plants = [{"block": "G", "row": "2", "position": "8", "reason": "missing"}]
    one = told(surveys + before, symptoms, plants, work)[0]
    said = "\n".join(oddity_words(odd) for odd in one.oddities)
    assert one.name == "winter"
    assert "Found where no row was marked as scouted, so in no rate: 3:5 (dead arm" in said
    assert "Something was written where no vine stands: 2:8." in said
    assert "7 vines were scouted by Ana and by Ben; at 2 of them only one of the two found something." in said
    assert "carried on unless it was cut: 1:2 (dead arm" in said
    assert "1:3" not in said  # that arm was cut
    assert "Row 1: nothing found; 3 vines had a finding at the dormant inspection of 2025." in said


@pytest.mark.parametrize(
    ("found", "cut", "asked"),
    [
        ("2025-02-03", "", True), ("2026-01-10", "", False),  # of this winter: two looks of one season owe no second mention
        ("2025-02-03", "2026-02-03", False),  # cut on the last day of the walk
        ("2025-02-03", "2026-02-04", True),
    ],
)  # fmt: skip
def test_only_damage_of_earlier_seasons_that_stands_is_asked_about(found, cut, asked):
    work = (
        [{"block": "G", "row": "1", "position": "2", "date": cut, "kind": "renew_arm", "status": "done"}] if cut else []
    )
    before = walk("all", "Ana", found, survey="before")
    one = told([walk("all", "Ana", "2026-02-03"), before], [finding(1, 2, found)], work=work)[0]
    kinds = [odd.kind for odd in one.oddities]
    assert (one.name, OddityKind.NOT_MENTIONED in kinds) == ("winter", asked)


def test_a_whole_survey_without_findings_has_nothing_odd():
    assert told([walk("1..3", "Ana", "2026-02-03")])[0].oddities == ()


def test_surveys_are_apart_by_name_season_and_look():
    names = told(
        [walk("1", "A", "2025-02-03"), walk("1", "A", "2026-02-03"), walk("1", "A", "2026-08-03", look="summer")]
    )
    assert [(one.season, one.look) for one in names] == [(2026, "summer"), (2026, "dormant"), (2025, "dormant")]


def test_a_block_that_is_not_there():
    store = Store.in_memory()
    with pytest.raises(UnknownBlockError):
        surveys_of(store, "G")
