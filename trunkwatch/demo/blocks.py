"""The four blocks of the invented vineyard, and what is true of each.

Veldrunne Bank lies nowhere: its coordinates are in the open ocean, so that no real vineyard can
be taken for it. Every rate below was chosen to make an instructive block, not measured in one.
"""

from dataclasses import dataclass, field
from typing import Any, Literal

__all__ = ["BLOCKS", "DEMO_SEED", "SEASONS", "VINEYARD", "DemoBlock", "Truth"]

VINEYARD = "Veldrunne Bank"
DEMO_SEED = 20260117
SEASONS = tuple(range(2017, 2027))

Truth = Literal["along", "scattered", "stock", "winter"]


@dataclass(frozen=True, slots=True)
class DemoBlock:
    """Layout and truth of one block.

    Attributes
    ----------
    truth : {"along", "scattered", "stock", "winter"}
        Disease passes along the rows from old cases; falls on vines by chance; came with the
        planting stock in foci and does not spread; is slow, with one cold winter in a low corner.
    rows, vines : int
        Rows, and positions of the longest row.
    slant : float
        Positions that the headland cuts off from each next row.
    alley_after : int
        Position after which an alley crosses the block, 0 for none.
    background, along : float
        Yearly chance of infection from nowhere in particular, and from each infected neighbour
        along the row that showed symptoms the year before.
    express : float
        Chance that an infected vine shows striped leaves in a summer.
    arm_death : float
        Yearly chance that an infected vine loses an arm.
    at_planting : float
        Share of vines infected at the first season, at random.
    foci : int
        Foci in the planting stock.
    low_corner_kill : float
        Chance that the cold winter kills an arm or trunk in the lowest corner, falling with distance.
    """

    label: str
    told: str
    truth: Truth
    rows: int
    vines: int
    table: dict[str, Any] = field(repr=False)
    slant: float = 0.0
    alley_after: int = 0
    background: float = 0.0
    along: float = 0.0
    express: float = 0.5
    arm_death: float = 0.06
    at_planting: float = 0.0
    foci: int = 0
    low_corner_kill: float = 0.0


def _table(latitude: float, longitude: float, **more: Any) -> dict[str, Any]:
    return {"vineyard": VINEYARD, "latitude": latitude, "longitude": longitude, **more}


BLOCKS: tuple[DemoBlock, ...] = (
    DemoBlock(
        "Mill", "disease passes along the rows from old cases", "along", rows=14, vines=52,
        table=_table(44.0, -30.0, cultivar="Brannet", rootstock="R12", grafted="yes", planted=2003,
                     training="bilateral", row_spacing_m=2.8, vine_spacing_m=1.8, row_bearing_deg=24.0,
                     rows_go="right", numbering="same_end"),
        slant=1.5, alley_after=26, background=0.004, along=0.30, at_planting=0.03,
    ),
    DemoBlock(
        "Chapel", "cases fall on vines by chance", "scattered", rows=12, vines=48,
        table=_table(44.0021, -30.0008, cultivar="Corvise", rootstock="R12", grafted="yes", planted=2001,
                     training="cane_2", row_spacing_m=2.5, vine_spacing_m=1.5, row_bearing_deg=98.0,
                     rows_go="right", numbering="same_end"),
        slant=1.0, background=0.018, at_planting=0.03,
    ),
    DemoBlock(
        "Orchard", "foci came with the planting stock and do not spread", "stock", rows=16, vines=40,
        table=_table(43.9984, -29.9989, cultivar="Sallow", rootstock="R30", grafted="yes", planted=2008,
                     training="bilateral", row_spacing_m=2.5, vine_spacing_m=1.6, row_bearing_deg=350.0,
                     rows_go="right", numbering="same_end"),
        express=0.5, foci=10,
    ),
    DemoBlock(
        "Hollow", "one cold winter in the low corner on top of slow disease", "winter", rows=13, vines=36,
        table=_table(43.9979, -30.0022, cultivar="Ironcrane", grafted="no", planted=2006,
                     training="multi_trunk", row_spacing_m=3.0, vine_spacing_m=2.4, row_bearing_deg=61.0,
                     rows_go="left", numbering="same_end"),
        slant=-0.8, background=0.010, at_planting=0.03, low_corner_kill=0.85,
    ),
)  # fmt: skip
