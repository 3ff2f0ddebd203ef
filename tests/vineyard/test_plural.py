"""trunkwatch.vineyard.plural: a number with its noun."""

import pytest

from trunkwatch.vineyard.plural import number_of


@pytest.mark.parametrize(
    ("many", "says"), [(0, "0 past winters"), (1, "1 past winter"), (2, "2 past winters"), (1200, "1,200 past winters")]
)
def test_one_alone_takes_no_s(many, says):
    assert number_of(many, "past winter") == says
