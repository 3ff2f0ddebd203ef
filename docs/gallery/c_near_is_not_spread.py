"""
New cases near old ones are no proof of spread
==============================================

Two blocks of the sample vineyard. In Mill, disease passes from vine to vine. In Orchard nothing passes: foci came with the planting stock and show in turn. The
map cannot tell one from the other; the dates can.
"""

import trunkwatch as tw

SAMPLE = "../../sample_blocks"  # the folder that `trunkwatch demo sample_blocks` writes


def old_new_at_risk(block, season):
    """Return the vines that were a case before, those that became one, and those that could have."""
    old = block.cases(block.seasons[0]).filled(False)
    for year in block.seasons:
        if year < season:
            old = old | block.cases(year).filled(False)
    now = block.cases(season)
    at_risk = block.vines(season) & ~old
    return old, now.filled(False) & at_risk, at_risk


with tw.open(SAMPLE) as vineyard:
    for name, season in (("Mill", 2026), ("Orchard", 2022)):
        test = tw.stats.new_near_old(*old_new_at_risk(vineyard.block(name), season), joins="queen")
        print(f"{name} {season}: {test}; odds ratio {test.odds_ratio:.1f}")
print(test.caution)

with tw.open(SAMPLE) as vineyard:
    orchard_in_2022 = tw.draw.block_map(vineyard.block("Orchard"), 2022)

# %%
# Both lie near old cases, far more than chance would put them there. Over all seasons the two come apart: ``pattern`` asks whether new cases follow the sick
# vine right beside them, more than vines farther off lead one to expect.

with tw.open(SAMPLE) as vineyard:
    for name in ("Mill", "Orchard"):
        pattern = vineyard.pattern(name, permutations=199)
        near = pattern.near_old
        print(
            f"{name}, all seasons: {near.statistic} joins of new with old, {near.expected:.1f} expected; spread: {pattern.spread.says.value}"
        )
