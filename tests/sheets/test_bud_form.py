"""The form to count cut buds on. trunkwatch.sheets: bud_form."""

import pytest

from trunkwatch.sheets.bud_form import BUDS, CANES, bud_form
from trunkwatch.winter_model.bud_count import buds_to_cut


def test_there_is_a_line_a_cane_and_room_for_what_is_logged():
    page = bud_form("A<", 2027, ["Riesling"], size="Letter")
    assert "Cut buds: block A&lt;, season 2027" in page
    assert page.count("<tr><td>") == CANES + 1
    assert page.count("primary</th>") == BUDS
    assert "cultivar Riesling" in page
    assert f"{buds_to_cut(0.5, 0.1, buds_per_cane=BUDS)} buds" in page
    assert "size: Letter" in page


def test_with_several_cultivars_the_sheet_asks_which():
    assert "cultivar Riesling" not in bud_form("A", 2027, ["Riesling", "Merlot"])


def test_no_other_paper():
    with pytest.raises(ValueError, match="one of A4, Letter"):
        bud_form("A", 2027, [], size="A3")
