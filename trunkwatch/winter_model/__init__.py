"""A winter in numbers: how hardy buds stand, what cold kills, how long a cut stays open, which day is best; arrays only."""
