"""The history of a block: the condition of every vine in every season, and the rates."""

from trunkwatch.history.block_history import BlockHistory, BlockRecords, SeasonLook, VineEvent
from trunkwatch.history.build import build_history
from trunkwatch.history.condition import MATURE_LIVING, Condition
from trunkwatch.history.definitions import DEFINITIONS, CaseDefinition, definition_named
from trunkwatch.history.rates import (
    RATES,
    LeftOut,
    Rate,
    RateName,
    left_out,
    names_of,
    rate,
    rates,
    seen_before,
)
from trunkwatch.vineyard.calendar import hemisphere_of

__all__ = [
    "DEFINITIONS",
    "MATURE_LIVING",
    "RATES",
    "BlockHistory",
    "BlockRecords",
    "CaseDefinition",
    "Condition",
    "LeftOut",
    "Rate",
    "RateName",
    "SeasonLook",
    "VineEvent",
    "build_history",
    "definition_named",
    "hemisphere_of",
    "left_out",
    "names_of",
    "rate",
    "rates",
    "seen_before",
]
