"""trunkwatch.vineyard: lots; a code that is written is read back, and nothing else is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trunkwatch.vineyard.lots import Lot, lot_code, lot_in


@given(st.integers(1900, 2200), st.integers(1, 999), st.booleans(), st.text(max_size=30))
def test_a_code_is_read_back_whatever_follows_it(season, group, renew, more):
    lot = Lot(season, group, renew)
    assert lot_in("mark", f"{lot_code(lot)} {more}") == lot


@pytest.mark.parametrize(
    ("kind", "note"),
    [("mark", ""), ("mark", "lot 2027-3 renew"), ("mark", "[lot 2027-3 cut]"), ("renew_arm", "[lot 2027-3 renew]")],
)
def test_nothing_else_is_a_lot(kind, note):
    assert lot_in(kind, note) is None
