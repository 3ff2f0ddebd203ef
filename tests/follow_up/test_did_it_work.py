"""trunkwatch.follow_up: cut_faces, without_work, did_it_work, words; by hand, and how often the limits hold."""

import math

import numpy as np
import pytest
from typed import finding
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.follow_up.cut_faces import Face, cut_face, relapse_by_cut
from trunkwatch.follow_up.did_it_work import did_it_work
from trunkwatch.follow_up.without_work import without_work
from trunkwatch.follow_up.words import cut_face_sentences, without_work_sentence
from trunkwatch.forecast.vine_years import steps_of


def face(cut=None, stain=None, pattern=""):
    return finding("wood_staining", cut_height_cm=cut, stain_cm=stain, pattern=pattern)


@pytest.mark.parametrize(
    ("faces", "cut", "kind"),
    [
        ([], 40, Face.UNKNOWN),
        ([], None, Face.UNKNOWN),
        ([face(40, 5)], 40, Face.STAINED),
        ([face(40, pattern="wedge")], 40, Face.STAINED),
        ([face(None, 5)], 40, Face.STAINED),
        ([face(60, 5)], 40, Face.WELL_BELOW),  # stain at 60 cm, the final cut 20 cm below it
        ([face(60, 5)], 50, Face.WELL_BELOW),
        ([face(60, 5)], 51, Face.CLOSE),
        ([face(60, 5), face(40, 0)], 40, Face.WELL_BELOW),
        ([face(60, 5), face(55, 0)], 55, Face.CLOSE),
        ([face(60, 5), face(45, 3), face(40, 0)], 40, Face.CLOSE),
        ([face(40, 0)], 40, Face.CLEAN),
        ([face(40)], 40, Face.STAINED),  # stained, and nobody wrote how far
        ([face(60)], 40, Face.WELL_BELOW),
        ([face(60, 5), face(40, 0)], None, Face.WELL_BELOW),
    ],
)
def test_kinds_of_cut(faces, cut, kind):
    assert cut_face(faces, cut) == kind


def block(findings, work, *, vines=40, years=range(2018, 2027)):
    return load(walked_block(years, vines=vines, symptoms=findings, work=work), "A", max(years))


def leaf(position, year):
    return {"position": str(position), "date": f"{year}-08-15", "symptom": "leaf_stripe"}


def test_relapses_are_counted_by_kind_of_cut():
    """1 to 3 cut at 40 cm through stain, 4 to 6 at 40 cm with stain at 60 cm only; 1 and 2 show in 2022, 4 in 2023."""
    stains = [
        {"position": str(p), "date": "2021-02-10", "symptom": "wood_staining", "cut_height_cm": height, "stain_cm": 4}
        for p, height in ((1, 40), (2, 40), (3, 40), (4, 60), (5, 60), (6, 60))
    ]
    cuts = [{"position": str(p), "date": "2021-02-10", "kind": "renew_trunk", "cut_height_cm": 40} for p in range(1, 7)]
    season = block(
        [*(leaf(p, 2020) for p in range(1, 7)), *stains, leaf(1, 2022), leaf(2, 2022), leaf(4, 2023)],
        cuts,
        years=range(2019, 2024),
    )
    found = {one.kind: one for one in relapse_by_cut(season, steps_of(season.history))}
    # Stain left: 3 vines in 2021, 3 in 2022 (2 relapse), 1 in 2023. Well below: 3, 3, 3 (1 relapses).
    assert (found[Face.STAINED].found.cases, found[Face.STAINED].found.vines) == (2, 7)
    assert (found[Face.WELL_BELOW].found.cases, found[Face.WELL_BELOW].found.vines) == (1, 9)
    # Drawn towards the 3/16 of all: (2 + 20 x 3/16) / 27.
    assert found[Face.STAINED].chance == pytest.approx(5.75 / 27)
    told = " ".join(cut_face_sentences(tuple(found.values())))
    assert "stain left in the face: 2 of 7 vine-seasons" in told
    assert "nothing written" not in told


def test_no_cut_followed_and_nothing_written():
    bare = block([leaf(p, 2020) for p in range(1, 7)], [], years=range(2019, 2024))
    assert cut_face_sentences(relapse_by_cut(bare, steps_of(bare.history))) == ()
    assert len(did_it_work(bare, [])) < 3
    unwritten = block(
        [leaf(1, 2020)], [{"position": "1", "date": "2021-02-10", "kind": "renew_trunk"}], years=range(2019, 2024)
    )
    assert "is not known" in cut_face_sentences(relapse_by_cut(unwritten, steps_of(unwritten.history)))[0]


def simulated(seed, *, cut=False):
    """60 vines; 5 % first symptoms a season, half show again; where wished all that showed by 2023 is cut that winter."""
    rng = np.random.default_rng(seed)
    had, findings, work = np.zeros(60, dtype=bool), [], []
    for year in range(2015, 2027):
        gone = had & cut if year > 2023 else np.zeros(60, dtype=bool)
        shows = rng.random(60) < np.where(had & ~gone, 0.5, 0.05)
        shows &= ~gone
        findings += [leaf(p + 1, year) for p in np.flatnonzero(shows)]
        had |= shows
        if cut and year == 2023:
            work += [{"position": str(p + 1), "date": "2024-02-10", "kind": "renew_trunk"} for p in np.flatnonzero(had)]
    return block(findings, work, vines=60, years=range(2015, 2027))


@pytest.mark.long
def test_without_cuts_the_limits_hold_what_comes():
    held = 0
    for seed in range(30):
        found = without_work(simulated(seed), [], futures=200, seed=seed)
        assert (found.since, found.season, found.cut) == (2023, 2026, 0)
        held += found.low <= found.came.share <= found.high
    assert held >= 22  # P(binomial(30, 0.9) < 22) = 0.002


def test_cutting_all_cases_shows_and_the_work_done_since_is_not_known_before():
    season = simulated(3, cut=True)
    found = without_work(season, [])
    assert found.cut > 10
    assert found.came.share < found.low
    assert "less than was to be expected" in without_work_sentence(found)
    # Foretold from 2023, the cuts of 2024 must not show: the same as for the block that nobody cut.
    assert found.middle == pytest.approx(without_work(simulated(3), []).middle, abs=0.02)


def test_too_short_a_record_says_so():
    found = without_work(block([leaf(1, 2020)], [], years=range(2019, 2023)), [])
    assert math.isnan(found.middle)
    assert "4 counted seasons: 7 are needed" in without_work_sentence(found)
