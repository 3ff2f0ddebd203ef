"""Paper to count cut buds on: a line a cane, four buds of each, and what is written down of it afterwards."""

from collections.abc import Sequence

from trunkwatch.sheets.paper import Size, render
from trunkwatch.winter_model.bud_count import buds_to_cut

__all__ = ["BUDS", "CANES", "bud_form"]

#: Canes on a page, and buds that are cut of each: few buds of many canes say most, for buds of one cane are alike.
CANES, BUDS = 25, 4
#: How exact the number of buds that the form proposes makes the answer, either way.
WITHIN = 0.1


def bud_form(block: str, season: int, cultivars: Sequence[str], *, size: Size = "A4") -> str:
    """Write a page to count buds on.

    Parameters
    ----------
    block : str
    season : int
    cultivars : sequence of str
        Of the block: with several the form asks which.
    size : {"A4", "Letter"}
        Paper.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    if size not in ("A4", "Letter"):
        raise ValueError(f"size is {size!r}: one of A4, Letter is needed")
    return render(
        "bud_form.html",
        block=block,
        season=season,
        size=size,
        canes=range(1, CANES + 1),
        buds=range(1, BUDS + 1),
        cultivars=[name for name in cultivars if name],
        needed=buds_to_cut(0.5, WITHIN, buds_per_cane=BUDS),
    )
