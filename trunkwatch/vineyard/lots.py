"""Lots among equal vines: how the record says which vine is to be renewed and which is left for comparison.

A lot is a piece of work of the kind `mark` whose note begins with a code: `[lot 2027-3 renew]` or `[lot 2027-3 leave]`. The year is
the season of the winter, the number the group of equal vines among which the lots were drawn. What follows the code is free.
"""

import re
from typing import NamedTuple

__all__ = ["LOT_YEARS", "Lot", "lot_code", "lot_in"]

#: Years for which a vine that is left by lot should stay uncut: as long as lots are compared (our own convention).
LOT_YEARS = 3
_CODE = re.compile(r"\[lot (\d{4})-(\d+) (renew|leave)\]")


class Lot(NamedTuple):
    """One vine's lot: the season of its winter, its group of equal vines, and whether it is to be renewed."""

    season: int
    group: int
    renew: bool


def lot_code(lot: Lot) -> str:
    """Return the code with which the note of a lot begins."""
    return f"[lot {lot.season}-{lot.group} {'renew' if lot.renew else 'leave'}]"


def lot_in(kind: str, note: str) -> Lot | None:
    """Return the lot that a piece of work stands for; None where it is none."""
    code = _CODE.search(note) if kind == "mark" else None
    return Lot(int(code[1]), int(code[2]), code[3] == "renew") if code else None
