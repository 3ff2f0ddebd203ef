"""The colours of the charts, on paper and on a dark screen; none of them has to be told from another to read a chart."""

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["BAR", "BLUE", "BROWN", "DARK", "DEEP", "EDGE", "INK", "LINE", "MARK", "PALE", "QUIET"]

#: Words and axes, words that stand back, thin lines.
INK, QUIET, LINE = "#1e2a33", "#5c5a54", "#8b8d8a"
#: What chance or the futures give, and its middle.
BAR, DEEP, BLUE = "#5a92c6", "#153f6b", "#2b69a3"
#: What was seen, the edge and the words of it, a paler one, a second line.
MARK, EDGE, PALE, BROWN = "#d65f0a", "#8f3a00", "#f8c58f", "#8f5210"

#: What stands for each of them on a dark screen.
DARK: Mapping[str, str] = MappingProxyType(
    {
        INK: "#ece7dc",
        QUIET: "#b9b4a8",
        LINE: "#7d807d",
        BAR: "#4f8ac0",
        DEEP: "#8dbbe8",
        BLUE: "#5f9bd6",
        MARK: "#f0812e",
        EDGE: "#ffb380",
        PALE: "#7a5224",
        BROWN: "#d9974a",
    }
)
