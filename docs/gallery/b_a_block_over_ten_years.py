"""
A block of the sample vineyard over ten years
=============================================

Open a vineyard, look at a block, take its map of a season, and draw it. In block Mill of the sample, disease passes along the rows.
"""

import trunkwatch as tw

SAMPLE = "../../sample_blocks"  # the folder that `trunkwatch demo sample_blocks` writes
vineyard = tw.open(SAMPLE)
mill = vineyard.block("Mill")
mill

# %%
# Rates by season, as a table: here the share showing each year.

mill.rates().query("rate == 'annual'")[["season", "cases", "vines", "share", "low", "high"]].round(
    3
)

# %%
# The drawings of the reports. ``map_of_2026.save("mill.svg")`` writes one.

map_of_2026 = tw.draw.block_map(mill, 2026)

# %%

trend = tw.draw.trend(mill)

# %%
# The map as an array, masked where no vine counts, goes into any test.

cases, vines = mill.cases(2026), mill.vines(2026)
print(tw.stats.join_count(cases, vines, joins="row"))
print(tw.stats.join_count(cases, vines, joins="across", permutations=999, rng=1))

# %%
# Is it getting worse, beyond the swing from year to year?

annual = mill.rates().query("rate == 'annual' and share == share")
print(tw.stats.long_trend(list(annual["cases"]), list(annual["vines"]), list(annual["season"])))

# %%
# Every record of one vine.

records = mill.records("13", 24)
vineyard.close()
records[["date", "text", "fate"]]
