"""The records at rest: the only SQL of the project."""

from trunkwatch.store.address import as_path, is_shared, is_there, refuse_shared, shown_path
from trunkwatch.store.mending import mend_file
from trunkwatch.store.rescue import Rescued, Saved, rescue_file, rescued_frames
from trunkwatch.store.store import Changed, Outcome, Store
from trunkwatch.store.whole import copy_whole, turn_to_write, upgrade_file

__all__ = [
    "Changed",
    "Outcome",
    "Rescued",
    "Saved",
    "Store",
    "as_path",
    "copy_whole",
    "is_shared",
    "is_there",
    "mend_file",
    "refuse_shared",
    "rescue_file",
    "rescued_frames",
    "shown_path",
    "turn_to_write",
    "upgrade_file",
]
