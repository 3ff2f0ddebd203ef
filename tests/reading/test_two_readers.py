"""trunkwatch.history: reading, damage, vine, build, rates against a second reading of the same rules by another hand.

Every sequence is read by both; all must be equal. Twenty thousand are read in tests/calibration/two_readers.py.
"""

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from reading.both import differences, differences_said
from reading.worlds import of_block, vineyards


@pytest.mark.long
@pytest.mark.parametrize("definition", ["any", "leaf", "dieback"])
def test_two_readers_agree(definition):
    @settings(
        max_examples=100,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(vineyards())
    def agree(tables):
        for line in {str(block["block"]) for block in tables["blocks"]}:
            own = of_block(tables, line)
            assert differences(own, definition) == []

    agree()


@pytest.mark.long
def test_two_readers_agree_without_winter_injury_and_up_to_a_season():
    @settings(
        max_examples=60,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(vineyards())
    def agree(tables):
        for line in {str(block["block"]) for block in tables["blocks"]}:
            own = of_block(tables, line)
            assert differences(own, "any", without_winter=True) == []
            assert differences(own, "any", through=2022) == []

    agree()


@pytest.mark.long
@pytest.mark.parametrize("season", [None, 2021])
def test_two_readers_say_the_same_of_every_vine(season):
    @settings(
        max_examples=100,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(vineyards())
    def agree(tables):
        for line in {str(block["block"]) for block in tables["blocks"]}:
            assert differences_said(of_block(tables, line), "any", season) == []

    agree()
