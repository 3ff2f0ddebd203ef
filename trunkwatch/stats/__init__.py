"""Statistics of plant-by-plant disease maps: pure functions on (rows, stations) arrays."""
