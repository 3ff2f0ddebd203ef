"""Many growers: a folder of vineyards, one a grower, and a catalogue of them beside it."""
