"""trunkwatch.sheets.paper: gaps, posts and ends of the strips; the foot of the findings list."""

import re

import pytest
from markupsafe import escape

from trunkwatch.sheets.paper import BLANKS, MOST_ROWS, SHORT, VINES_A_LINE, findings_list, row_strips
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.tables import frame_of


def walk(rows=4, last=50, *, breaks="", bays="every 6", numbering="same_end", label=str, turned=""):
    store = Store.in_memory()
    store.append(
        {
            "blocks": frame_of(
                "blocks",
                [{"block": "A", "planted": 2000, "vine_spacing_m": 1.5, "row_spacing_m": 2.5, "numbering": numbering}],
            ),
            "rows": frame_of(
                "rows",
                [
                    {
                        "block": "A",
                        "row": label(n),
                        "row_order": n,
                        "last": last,
                        "breaks": breaks,
                        "bay_ends": bays,
                        "numbered_from": "end" if str(n) == turned else "",
                    }
                    for n in range(1, rows + 1)
                ],
            ),
        }
    )
    return to_walk(store, "A", 2026)


def lines_of(page):
    """Return the strips of a page: what stands at the left, and the picture."""
    return re.findall(r'<div class="strip"><b>(.*?)</b>(<svg.*?</svg>)(.*?)</div>', page, flags=re.DOTALL)


@pytest.mark.parametrize("numbering", ["same_end", "serpentine"])
@pytest.mark.parametrize("after", [20, 25, 24, 30])
def test_an_alley_is_drawn_once_in_every_row_whichever_end_is_counted_from(numbering, after):
    """Also where a row goes on in a new line just there: 50 vines in bays of 6 are cut at the post after 24."""
    lines = lines_of(row_strips(walk(breaks=f"{after}:6.0", numbering=numbering)))
    for row in "1234":
        assert sum(svg.count("dasharray") for label, svg, _ in lines if label.split()[0] == row) == 1


def test_no_alley_no_gap():
    assert "dasharray" not in row_strips(walk(numbering="serpentine"))


def test_a_row_goes_on_at_a_post_and_is_ticked_once():
    lines = lines_of(row_strips(walk(rows=1, last=100)))
    assert [svg.count("<rect") for _, svg, _ in lines] == [36, 30, 34]  # of 37 at most, at posts after every sixth
    assert [svg.count('stroke-width="3"') for _, svg, _ in lines] == [6, 5, 6]  # the row ends at a post
    assert ["box" in tick for _, _, tick in lines] == [False, False, True]
    assert ["goes on" in label for label, _, _ in lines] == [False, True, True]


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize(
    ("last", "bays"), [(36, ""), (38, ""), (200, ""), (74, "every 37"), (70, "every 35"), (72, "34; 72"), (80, "1; 80")]
)
def test_no_line_is_longer_than_the_paper_and_no_vine_is_lost(last, bays, size):
    cells = [svg.count("<rect") for _, svg, _ in lines_of(row_strips(walk(rows=1, last=last, bays=bays), size=size))]
    assert sum(cells) == last
    assert max(cells) <= VINES_A_LINE[size]
    assert len(cells) == -(-last // VINES_A_LINE[size])


def test_strips_and_list_name_every_code_and_a_missing_vine_is_crossed():
    block = walk(rows=2, last=10)
    block.missing[1, 3] = True
    page = row_strips(block)
    assert [svg.count("l22 28") for _, svg, _ in lines_of(page)] == [0, 1]
    assert set(SHORT) == set(codes.SYMPTOMS)
    for short, meaning in SHORT.items():
        for sheet in (page, findings_list(block.history, 2026)):
            assert f"<b>{meaning}</b>{escape(codes.SYMPTOMS[short])}" in sheet


def test_rows_numbered_from_the_other_end_say_so():
    lines = lines_of(row_strips(walk(last=30, numbering="serpentine")))
    assert ["far end" in label for label, _, _ in lines] == [False, True, False, True]
    assert not any("far end" in label for label, _, _ in lines_of(row_strips(walk(last=30))))
    one = lines_of(row_strips(walk(last=30, turned="3")))
    assert ["far end" in label for label, _, _ in one] == [False, False, True, False]


def test_labels_are_escaped():
    page = row_strips(walk(rows=1, label=lambda n: f'<b>"{n}'))
    assert '<b>"1' not in page
    assert "&lt;b&gt;" in page


@pytest.mark.parametrize(("rows", "label"), [(MOST_ROWS + 1, str), (10, "North {}".format)])
def test_too_many_rows_for_the_foot_leave_blanks(rows, label):
    page = findings_list(walk(rows=rows, label=label).history, 2026)
    assert page.split('class="rows"')[1].count('class="box"') == BLANKS
    assert "Write the row beside the box" in page
    short = findings_list(walk(rows=MOST_ROWS).history, 2026)
    assert short.split('class="rows"')[1].count('class="box"') == MOST_ROWS
    assert "Write the row" not in short
