"""Between the row grid of a block and the ground: coordinates to and from rows and positions."""

from trunkwatch.ground.block_frame import BlockFrame
from trunkwatch.ground.block_of_points import COMPASS, PointBlock, block_of_lines, block_of_points
from trunkwatch.ground.density import vines_per_acre, vines_per_hectare
from trunkwatch.ground.fitted_rows import PointFit, grid_from_points
from trunkwatch.ground.near_vines import NearVine, names_one_vine, vines_near
from trunkwatch.ground.placing import Placed, on_the_ground, place
from trunkwatch.ground.row_ends import rows_from_ends
from trunkwatch.ground.season_points import season_frame

__all__ = [
    "COMPASS",
    "BlockFrame",
    "NearVine",
    "Placed",
    "PointBlock",
    "PointFit",
    "block_of_lines",
    "block_of_points",
    "grid_from_points",
    "names_one_vine",
    "on_the_ground",
    "place",
    "rows_from_ends",
    "season_frame",
    "vines_near",
    "vines_per_acre",
    "vines_per_hectare",
]
