"""trunkwatch.pattern: years, years_words."""

from dataclasses import replace

import pytest

from trunkwatch.block import load
from trunkwatch.pattern import pattern_of
from trunkwatch.pattern.findings import MapFinding, Word
from trunkwatch.pattern.spread import Says
from trunkwatch.pattern.years import Explanation, Fits, Headline, years_verdict
from trunkwatch.pattern.years_words import explanation_lines, headline_sentence


@pytest.fixture(scope="module")
def patterns(pytestconfig):
    path = pytestconfig.rootpath / "sample_blocks"
    return {name: pattern_of(load(path, name), permutations=199) for name in ("Mill", "Orchard", "Hollow", "Chapel")}


def test_the_four_blocks_in_one_line_each(patterns):
    found = {name: years_verdict(one) for name, one in patterns.items()}
    assert {name: one.headline for name, one in found.items()} == {
        "Mill": Headline.SPREADS_OR_ZONES,
        "Orchard": Headline.BUNCHED_NO_SPREAD,
        "Hollow": Headline.SCATTERED,
        "Chapel": Headline.SCATTERED,
    }
    assert headline_sentence(found["Orchard"]) == (
        "Over 10 surveyed seasons: sick vines are bunched, and nothing in the dates points to spread."
    )
    assert found["Orchard"].fits(Explanation.STOCK) is Fits.WELL
    assert found["Orchard"].fits(Explanation.CHANCE) is Fits.NOT
    assert found["Hollow"].fits(Explanation.WINTER) is Fits.WELL
    assert dict(explanation_lines(found["Hollow"]))["One bad winter"].startswith("fits 2021 (p")
    assert headline_sentence(found["Hollow"]).endswith(
        "2021 brought far more new cases than other years: ask first what happened in the winter before that season."
    )
    assert found["Chapel"].fits(Explanation.WINTER) is Fits.NOT
    rootstocks = {name: one.fits(Explanation.ROOTSTOCK) for name, one in found.items()}
    assert rootstocks == {
        name: Fits.NO_RECORD if name == "Hollow" else Fits.SAME for name in found
    }  # Hollow is on its own roots


def test_one_season_does_not_outrank_the_years(patterns):
    """A scattered map of this season over a record that is bunched: the headline is that of the years."""
    mill = patterns["Mill"]
    plain = replace(
        mill,
        findings=(MapFinding(Word.CHANCE),),
        spread=replace(mill.spread, says=Says.CANNOT_TELL),
    )
    found = years_verdict(plain)
    assert mill.series.together.pvalue <= 0.05
    assert found.headline is Headline.BUNCHED
    assert headline_sentence(found).endswith("One season's map alone does not show it; the seasons together do.")
    few = years_verdict(replace(plain, findings=(MapFinding(Word.TOO_FEW),)))
    assert few.headline is Headline.BUNCHED


def test_each_word_on_spread_has_its_headline(patterns):
    mill = patterns["Mill"]
    said = {says: years_verdict(replace(mill, spread=replace(mill.spread, says=says))).headline for says in Says}
    assert said == {
        Says.FOR: Headline.SPREADS,
        Says.EITHER: Headline.SPREADS_OR_ZONES,
        Says.AGAINST: Headline.BUNCHED_NO_SPREAD,
        Says.CANNOT_TELL: Headline.BUNCHED,
    }


def test_a_map_that_is_uneven_or_empty(patterns):
    chapel = patterns["Chapel"]
    uneven = replace(chapel, findings=(MapFinding(Word.CHANCE), MapFinding(Word.GRADIENT)))
    assert years_verdict(uneven).headline is Headline.ROWS_OR_SIDES
    assert years_verdict(uneven).fits(Explanation.PLACE) is Fits.WELL
    few = replace(chapel, findings=(MapFinding(Word.TOO_FEW),))
    assert years_verdict(few).headline is Headline.TOO_FEW
    assert years_verdict(replace(chapel, spread=None)) is None
