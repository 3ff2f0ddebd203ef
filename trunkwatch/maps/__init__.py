"""Maps of a block: the page that opens in a browser, and the pictures for paper."""

from trunkwatch.maps.block_map import block_map
from trunkwatch.maps.change import change_svg
from trunkwatch.maps.strip import strip_svg

__all__ = ["block_map", "change_svg", "strip_svg"]
