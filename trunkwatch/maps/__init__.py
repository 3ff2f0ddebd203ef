"""Maps of a block: the page that opens in a browser, and the pictures for paper."""

from trunkwatch.maps.change import change_svg
from trunkwatch.maps.strip import strip_svg

__all__ = ["change_svg", "strip_svg"]
