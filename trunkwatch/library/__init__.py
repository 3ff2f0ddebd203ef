"""For people who work with Python: a vineyard and its blocks with tables in and out, and pictures for a notebook."""

from trunkwatch.library.maps_in import Map, map_of_geoframe, map_of_points, map_of_table
from trunkwatch.library.vineyard import Block, Vineyard, open_vineyard

__all__ = ["Block", "Map", "Vineyard", "map_of_geoframe", "map_of_points", "map_of_table", "open_vineyard"]
