"""Blocks beside their like: mixed models of counts, shrunken shares with ranges, and unusual blocks; arrays only."""
