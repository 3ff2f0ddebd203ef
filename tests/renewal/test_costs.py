"""trunkwatch.renewal: costs: numbers that are no price."""

import math

import pytest

from trunkwatch.errors import RecordError
from trunkwatch.renewal.costs import costs_of
from trunkwatch.vineyard.tables import frame_of


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan])
def test_a_price_without_end_is_refused(value):
    table = frame_of("costs", [{"name": "price_per_t", "value": 1.0, "unit": "money/t"}])
    table["value"] = value
    with pytest.raises(RecordError, match=r"price_per_t is .*expected: a number from 0 to 1e\+09 money/t"):
        costs_of(table)


def test_an_absurd_price_is_refused_with_the_way_out():
    with pytest.raises(RecordError, match="count in thousands of your money"):
        costs_of(frame_of("costs", [{"name": "price_per_t", "value": 1e10, "unit": "money/t"}]))
    assert costs_of(frame_of("costs", [{"name": "price_per_t", "value": 9e8, "unit": "money/t"}]))["price_per_t"] == 9e8
