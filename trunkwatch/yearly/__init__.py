"""A vine's years in one model: chances from one look to the next, and whether neighbors add to them; arrays only."""
