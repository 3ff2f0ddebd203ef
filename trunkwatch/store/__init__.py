"""The records at rest: the only SQL of the project."""

from trunkwatch.store.rescue import rescued_frames
from trunkwatch.store.store import Changed, Outcome, Store
from trunkwatch.store.whole import copy_whole, turn_to_write, upgrade_file

__all__ = ["Changed", "Outcome", "Store", "copy_whole", "rescued_frames", "turn_to_write", "upgrade_file"]
