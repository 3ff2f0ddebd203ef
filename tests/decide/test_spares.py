"""trunkwatch.decide: road; whether cutting a sick vine spares its neighbors follows what the dates say of spread."""

import pytest

from trunkwatch.block import load, open_vineyard
from trunkwatch.decide.outlook import VineyardSteps
from trunkwatch.decide.road import decide_on
from trunkwatch.decide.words import detail_sentences


@pytest.fixture(scope="module")
def found(pytestconfig):
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        steps = VineyardSteps(store)
        return {name: decide_on(steps, load(store, name), futures=100) for name in ("Mill", "Orchard")}


@pytest.mark.long
def test_where_nothing_in_the_dates_points_to_spread_cutting_spares_nobody(found):
    assert found["Orchard"].estimates.near.kept
    assert found["Orchard"].passes == 0
    assert any("here cutting one spares no neighbor" in one for one in detail_sentences(found["Orchard"]))


@pytest.mark.long
def test_where_the_dates_fit_both_it_does_in_half_of_the_futures(found):
    assert found["Mill"].passes == 0.5
    assert any(
        "in 50 % of the futures cutting a sick vine spares its neighbors" in one
        for one in detail_sentences(found["Mill"])
    )
