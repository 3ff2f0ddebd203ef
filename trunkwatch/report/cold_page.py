"""The page of a winter's cold: for each block the answer, the nights beside the band, the stretches side by side."""

import math
from collections.abc import Sequence
from typing import Any

from trunkwatch.charts.cold_curve import ColdDay, cold_curve_svg
from trunkwatch.charts.winter_strips import Strip, winter_strips_svg
from trunkwatch.cold import BlockCold, BlockWindow
from trunkwatch.cold.window_words import BY_CLIMATE, basis_lines, window_lines
from trunkwatch.cold.words import CAUTIONS, cold_lines, cold_title, detail_lines
from trunkwatch.report.environment import environment
from trunkwatch.report.pictures import both_forms, picture_css

__all__ = ["cold_html"]

#: Share of the crop that fills a bar: what an early cut gives away is seen from far less than all of it.
_CROP_FULL = 0.25


def cold_html(found: Sequence[tuple[BlockCold, BlockWindow | None]]) -> str:
    """Return the page as one HTML file.

    Parameters
    ----------
    found : sequence of (BlockCold, BlockWindow or None)
        Each block and cultivar with its window, where past winters are on file.
    """
    return (
        environment()
        .get_template("cold.html")
        .render(
            blocks=[_block(cold, window, f"c{number}") for number, (cold, window) in enumerate(found, start=1)],
            cautions=CAUTIONS,
            by_climate=BY_CLIMATE,
            picture_css=picture_css(),
        )
    )


def _block(cold: BlockCold, window: BlockWindow | None, name: str) -> dict[str, Any]:
    curve = ""
    if cold.curve is not None and len(cold.curve.days) > 1:
        rows = zip(
            cold.curve.days,
            cold.curve.t_min_c.tolist(),
            cold.curve.soft_c.tolist(),
            cold.curve.hardy_c.tolist(),
            strict=True,
        )
        curve = both_forms(
            cold_curve_svg, [ColdDay(*row) for row in rows], title=f"{cold_title(cold)}: nights and buds", name=name
        )
    return {
        "title": cold_title(cold), "lines": cold_lines(cold), "curve": curve, "window": window_lines(window) if window else (),
        "strips": _strips(cold, window, name) if window else "", "details": (*detail_lines(cold), *(basis_lines(window) if window else ())),
    }  # fmt: skip


def _strips(cold: BlockCold, window: BlockWindow, name: str) -> str:
    """Draw the questions of pruning time one under the other; a strip of which nothing is known is left out."""
    stretches = window.best.stretches
    heads = [f"{window.day(one.first).day} {window.day(one.first):%b}" for one in stretches]
    strips = [
        Strip(
            "Open wounds if they age by the calendar: 0 the best stretch, 100 the worst",
            tuple(one.by_calendar for one in stretches),
        ),
        Strip(
            "Open wounds if they age by warmth: 0 the best, 100 the worst", tuple(one.by_warmth for one in stretches)
        ),
        Strip("Crop that a final cut gives away, %", tuple(one.crop_lost for one in stretches), full=_CROP_FULL),
        Strip("Years with frost on open buds, %", tuple(one.frost for one in stretches)),
        Strip("Days that can be worked, %", tuple(one.workable for one in stretches), more_is_worse=False),
    ]
    known = [one for one in strips if not all(math.isnan(share) for share in one.shares)]
    if not known:
        return ""
    return both_forms(
        winter_strips_svg,
        heads,
        known,
        title=f"{cold_title(cold)}: stretches to prune, from each day on",
        name=f"{name}s",
    )
