"""The standing records of one block, as tables, before they are read."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trunkwatch.vineyard.tables import number_or_none

__all__ = ["BlockRecords"]


@dataclass(frozen=True, slots=True)
class BlockRecords:
    """The standing records of one block: voided and superseded ones are gone.

    Attributes
    ----------
    block : mapping
        The block's row of the `blocks` table.
    rows, plants, surveys, symptoms, work : DataFrame
        Rows of this block, columns as in `trunkwatch.vineyard.tables`.
    """

    block: Mapping[str, object]
    rows: pd.DataFrame
    plants: pd.DataFrame
    surveys: pd.DataFrame
    symptoms: pd.DataFrame
    work: pd.DataFrame

    @property
    def name(self) -> str:
        """Label of the block."""
        return str(self.block["block"])

    @property
    def planted(self) -> int | None:
        """First season of the block's first vines; None where it is not known."""
        planted = number_or_none(self.block.get("planted"))
        return None if planted is None else int(planted)
