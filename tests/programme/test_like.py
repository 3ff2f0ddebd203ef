"""trunkwatch.programme: like, like_rows, like_words; trunkwatch.charts: like_spread; what blocks alike show, of those alone who agreed."""

import itertools
import json
import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import textstat

from trunkwatch.charts.like_spread import DOTS, like_spread_svg
from trunkwatch.peers.beside import BlockBeside, peers_of
from trunkwatch.peers.gather import BlockRow, OfBlock, put_together
from trunkwatch.programme.catalogue import Grower
from trunkwatch.programme.like import FEWEST_OTHERS, likes
from trunkwatch.programme.like_rows import rows_data, rows_of_data
from trunkwatch.programme.like_words import LIKE_CAPTION, like_sentence
from trunkwatch.programme.road import Outcome
from trunkwatch.programme.run import GrowerRun


def row(grower, block, cases, *, vines=200, cultivar="Brannet", season=2026, age=15.0):
    return BlockRow(block, grower, season, cases, vines, age, cultivar, "", "", ("Ann",), frozenset({"leafy"}))


def grown(counts, *, cultivar="Brannet", first=1, **more):
    """A run a grower: two blocks each, with these cases."""
    runs = []
    for number, cases in enumerate(counts, first):
        name = f"G {number}"
        found = {
            label: OfBlock(name, label, {"any": [row(name, label, many, cultivar=cultivar, **more)]})
            for label, many in (("A", cases), ("B", cases + 2))
        }
        outcomes = {
            label: Outcome(json.loads(json.dumps({"block": label, "rows": rows_data(one)})))
            for label, one in found.items()
        }
        runs.append(GrowerRun(Grower(name, f"v{number}"), outcomes))
    return runs


PAGE = {("G 1", "A"): (2026, "any")}
SIX = grown([4, 8, 12, 16, 10, 9])


def test_rows_are_kept_without_who_scouted():
    (one,) = SIX[0].data("A")["rows"]["any"]
    assert one["observers"] == []
    again = rows_of_data("G 1", "A", SIX[0].data("A"))
    (back,) = again.rows["any"]
    assert (back.cases, back.vines, back.classes, back.grower) == (4, 200, frozenset({"leafy"}), "G 1")


def test_the_sentence_is_that_of_the_block_beside_its_like():
    (found,) = likes(SIX, PAGE).values()
    sentence, picture = found
    gathered = put_together(
        [rows_of_data(one.grower.name, label, one.data(label)) for one in SIX for label in one.blocks], several=True
    )
    beside = next(one for one in peers_of(gathered, 2026).beside if one.row.block == "G 1/A")
    low, high = math.floor(100 * beside.like_low), math.ceil(100 * beside.like_high)
    assert (
        f"Of blocks of this age and cultivar, nine in ten have symptoms on {low} to {high} of 100 vines; yours is at about {round(100 * beside.share)}, and could be"
        in sentence
    )
    assert picture.startswith('<svg class="spread"')


def test_with_four_other_growers_the_place_stays_empty():
    assert FEWEST_OTHERS == 5
    assert likes(SIX, PAGE)
    assert likes(SIX[:5], PAGE) == {}


def test_where_few_grow_the_cultivar_all_blocks_speak():
    rare = grown([6], cultivar="Rare", first=9)
    found = likes([*SIX, *rare], {("G 9", "A"): (2026, "any"), **PAGE})
    assert found["G 9", "A"][0].startswith("Of blocks of this age, nine in ten")
    assert found["G 1", "A"][0].startswith("Of blocks of this age and cultivar,")
    others = grown([5, 6, 7], cultivar="Rare", first=20)
    assert likes([*SIX[:3], *others], {("G 20", "A"): (2026, "any")})["G 20", "A"][0].startswith(
        "Of blocks of this age, "
    )


def test_who_did_not_agree_sees_nothing_and_is_in_nothing():
    assert likes(SIX[1:], PAGE) == {}  # G 1 did not agree: no rows of G 1
    without = likes(SIX, PAGE)
    with_more = likes([*SIX, *grown([60], first=7)], PAGE)
    assert without != with_more


def test_another_season_or_definition_is_not_compared():
    assert likes(SIX, {("G 1", "A"): (2025, "any")}) == {}
    assert likes(SIX, {("G 1", "A"): (2026, "leaf")}) == {}
    assert likes([], PAGE) == {}


def test_no_other_grower_is_told_by_name_or_number():
    sentence, picture = likes(SIX, PAGE)["G 1", "A"]
    for one in SIX[1:]:
        assert one.grower.name not in sentence + picture
    # Dots stand at even steps of a law: moving one grower's block within the rest moves no single dot alone.
    assert picture.count("h0") == DOTS


def beside(share, low, high, like_low, like_high, age=15.0):
    return BlockBeside(row("G", "A", 4, age=age), share, low, high, like_low, like_high, 9, 0.5, 1.0, None, None, None)


@pytest.mark.parametrize(
    ("found", "any_cultivar", "says"),
    [
        (beside(0.06, 0.04, 0.09, 0.021, 0.089), False, "Of blocks of this age and cultivar, nine in ten have symptoms on 2 to 9 of 100 vines; yours is at about 6, and could be 4 to 9."),
        (beside(0.06, 0.04, 0.09, 0.021, 0.089), True, "Of blocks of this age, nine in ten have symptoms on 2 to 9 of 100 vines; yours is at about 6, and could be 4 to 9."),
        (beside(0.06, 0.04, 0.09, 0.021, 0.089, math.nan), False, "Of blocks of this cultivar, nine in ten have symptoms on 2 to 9 of 100 vines; yours is at about 6, and could be 4 to 9."),
        (beside(0.003, 0.0, 0.006, 0.001, 0.009, math.nan), True, "Of all blocks that take part, nine in ten have symptoms on 1 to 9 of 1000 vines; yours is at about 3, and could be 0 to 6."),
    ],
)  # fmt: skip
def test_what_is_said(found, any_cultivar, says):
    assert like_sentence(found, any_cultivar=any_cultivar) == says


def test_it_reads_at_school_grade_eight_and_neither_ranks_nor_praises():
    text = f"{like_sentence(beside(0.06, 0.04, 0.09, 0.02, 0.09), any_cultivar=False)} {LIKE_CAPTION}"
    assert textstat.flesch_kincaid_grade(text) <= 8
    assert not re.search(r"rank|best|worst|better|worse|good|bad|place \d|average", text)
    assert "nearer the rest the next, with no work at all" in text


def test_the_picture_holds_all_dots_and_one_mark():
    shares = list(np.linspace(0.01, 0.2, DOTS))
    drawn = like_spread_svg(shares, (0.05, 0.03, 0.08), name="x")
    root = ET.fromstring(drawn)
    dots = next(one for one in root if one.get("stroke-linecap") == "round").get("d")
    assert dots.count("M") == DOTS
    assert drawn.count("your block") == 1
    assert "spread from 1 to 20 of 100 vines; yours lies at about 5 (likely range 3 to 8)" in drawn
    assert drawn == like_spread_svg(list(reversed(shares)), (0.05, 0.03, 0.08), name="x")
    box = [float(one) for one in root.get("viewBox").split()]
    ticks = list(root.iter("{http://www.w3.org/2000/svg}text"))
    assert all(0 <= float(one.get("x")) <= box[2] and float(one.get("y")) <= box[3] for one in ticks)


@pytest.mark.parametrize("top", [0.001, 0.02, 0.3, 1.0])
def test_numbers_under_the_picture_do_not_lie_on_each_other(top):
    drawn = ET.fromstring(like_spread_svg([top * k / DOTS for k in range(DOTS)], (top / 2, 0.0, top), name="x"))
    words = list(drawn.iter("{http://www.w3.org/2000/svg}text"))[1:]
    ends = []
    for one in words:
        x, wide = float(one.get("x")), 0.53 * 12 * len(one.text)
        left = {"": x, None: x, "middle": x - wide / 2, "end": x - wide}[one.get("text-anchor")]
        ends.append((left, left + wide))
    for (_, right), (left, _) in itertools.pairwise(ends):
        assert right <= left


@pytest.mark.parametrize(("shares", "own"), [([0.1] * 3, (0.1, 0.1, 0.1)), ([0.1] * DOTS, (0.3, 0.4, 0.5)), ([2.0] * DOTS, (0.1, 0.1, 0.1))])  # fmt: skip
def test_what_cannot_be_drawn_is_an_error(shares, own):
    with pytest.raises(ValueError, match="50 are needed"):
        like_spread_svg(shares, own, name="x")
