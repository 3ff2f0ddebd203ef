"""The history of a block: the condition of every vine in every season, and the rates."""

from trunkwatch.history.block_history import BlockHistory, SeasonLook
from trunkwatch.history.block_records import BlockRecords
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
from trunkwatch.history.reading import BlockReading, read_block
from trunkwatch.vineyard.calendar import hemisphere_of

__all__ = [
    "DEFINITIONS",
    "MATURE_LIVING",
    "RATES",
    "BlockHistory",
    "BlockReading",
    "BlockRecords",
    "CaseDefinition",
    "Condition",
    "LeftOut",
    "Rate",
    "RateName",
    "SeasonLook",
    "build_history",
    "definition_named",
    "hemisphere_of",
    "left_out",
    "names_of",
    "rate",
    "rates",
    "read_block",
    "seen_before",
]
