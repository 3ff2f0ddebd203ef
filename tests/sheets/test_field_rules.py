"""trunkwatch.sheets: field_rules: what the phone offers by rule is what the package knows, for every look and kind of work."""

import pytest

from trunkwatch.maps.rules import page_rules
from trunkwatch.maps.symbols import SYMBOLS
from trunkwatch.sheets.crew_lists import LISTS
from trunkwatch.sheets.field_rules import ALREADY_CUT, FIRST_SYMPTOMS, WINTER_LISTS, field_rules
from trunkwatch.vineyard import codes


@pytest.mark.parametrize("look", codes.LOOKS)
def test_what_is_offered_is_in_the_package(look):
    rules = field_rules(look)
    assert rules["rules"] == page_rules()
    for name in ("first_symptoms", "needs_arm", "beside_list", "at_recheck"):
        assert set(rules[name]) <= set(codes.SYMPTOMS)
        assert len(set(rules[name])) == len(rules[name])
    assert set(rules["first_symptoms"]) <= set(rules["at_recheck"])
    assert rules["beside_list"][-1] != "none"  # what is seen first in the season follows what is seen in winter
    assert (len(rules["beside_list"]) <= 9, len(rules["at_recheck"]) <= 8) == (
        True,
        True,
    )  # as many keys as the screens have room for
    assert set(rules["marks"].values()) <= set(rules["looks"]) == {str(int(one)) for one in SYMBOLS}


def test_in_winter_nobody_is_asked_first_for_what_needs_leaves():
    assert set(FIRST_SYMPTOMS) == set(codes.LOOKS)
    assert not set(FIRST_SYMPTOMS["dormant"]) & set(codes.WITH_LEAVES)


def test_every_kind_of_work_has_reasons_and_every_cut_its_heights():
    rules = field_rules("dormant")
    assert set(rules["reasons"]) == set(codes.WORK_KINDS)
    for kind, reasons in rules["reasons"].items():
        assert set(reasons) <= {*codes.NOT_DONE, ALREADY_CUT}
        assert (ALREADY_CUT in reasons) == (kind in codes.CLEARING)
    assert set(rules["heights"]) == set(codes.CLEARING)
    assert {len(heights) for heights in rules["heights"].values()} == {8}
    assert set(WINTER_LISTS) < set(LISTS)
