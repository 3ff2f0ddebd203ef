"""Pictures of a block for a notebook or a file: the project's own drawings as SVG."""

from pathlib import Path

from trunkwatch.block import trend_of
from trunkwatch.charts import trend_svg
from trunkwatch.library.vineyard import Block
from trunkwatch.report.block_page import map_svg
from trunkwatch.report.facts import trend_lines

__all__ = ["Picture", "block_map", "trend"]


class Picture(str):
    """An SVG drawing; a notebook shows it, `save` writes it."""

    __slots__ = ()

    def _repr_svg_(self) -> str:
        return str(self)

    def save(self, path: str | Path) -> None:
        """Write the drawing.

        Raises
        ------
        ValueError
            If the name does not end in .svg.
        """
        where = Path(path)
        if where.suffix.casefold() != ".svg":
            raise ValueError(
                f"{where.name}: a name that ends in .svg is needed; `trunkwatch map --out` writes PNG and PDF too"
            )
        where.write_text(self, "utf-8")


def block_map(block: Block, season: int | None = None) -> Picture:
    """Draw the vines of a block as they lie, each with its condition in a season.

    Parameters
    ----------
    block : Block
        From `Vineyard.block`.
    season : int, optional
        The last counted one where left out.
    """
    return Picture(map_svg(block.season(season)))


def trend(block: Block) -> Picture:
    """Draw the rates of all seasons, the share showing with its likely range.

    Parameters
    ----------
    block : Block
        From `Vineyard.block`.
    """
    return Picture(
        trend_svg(trend_lines(trend_of(block.season())), title=f"Block {block.label}: share of vines by season")
    )
