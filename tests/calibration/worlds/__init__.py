"""Vineyards of known truth, made to put claims to the test: `WORLDS[name].make(seed, seasons, (rows, vines))`.

What they know of the records is the tables and what records mean; they know nothing of how claims are made.
"""

from calibration.worlds.damage import DAMAGE
from calibration.worlds.kinds import (
    FOUND_DEAD,
    FUTURE,
    LAST_SEASON,
    NEVER,
    NOT_LOOKED_AT,
    NOTED,
    NOTHING,
    OUTSIDE,
    STOCK,
    Block,
    Future,
    Simulated,
    Spells,
    Truth,
    World,
    frames_of,
)
from calibration.worlds.looking import LOOKING
from calibration.worlds.moving import MOVING
from calibration.worlds.passing import PASSING
from calibration.worlds.still import STILL

__all__ = [
    "FOUND_DEAD",
    "FUTURE",
    "LAST_SEASON",
    "NEVER",
    "NOTED",
    "NOTHING",
    "NOT_LOOKED_AT",
    "OUTSIDE",
    "STOCK",
    "WORLDS",
    "Block",
    "Future",
    "Simulated",
    "Spells",
    "Truth",
    "World",
    "frames_of",
]

#: Every world by its name.
WORLDS: dict[str, World] = {world.name: world for world in (*STILL, *MOVING, *PASSING, *LOOKING, *DAMAGE)}
