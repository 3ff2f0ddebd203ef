"""The page of a winter's cold: for each block the answer, the nights beside the band, the stretches side by side."""

import math
from collections.abc import Sequence
from typing import Any

from trunkwatch.charts.cold_curve import ColdDay, cold_curve_svg
from trunkwatch.charts.winter_strips import Strip, winter_strips_svg
from trunkwatch.cold import BlockCold, BlockWindow, ColdAhead
from trunkwatch.cold.ahead_words import ahead_lines, left_out_lines
from trunkwatch.cold.window_words import BY_CLIMATE, basis_lines, forecast_mark, window_lines
from trunkwatch.cold.words import CAUTIONS, cold_lines, cold_title, detail_lines
from trunkwatch.report.environment import environment
from trunkwatch.report.pictures import both_forms, picture_css

__all__ = ["cold_html"]

#: Share of the crop that fills a bar: what an early cut gives away is seen from far less than all of it.
_CROP_FULL = 0.25


def cold_html(found: Sequence[tuple[BlockCold, BlockWindow | None]], aheads: Sequence[ColdAhead | None] = ()) -> str:
    """Return the page as one HTML file.

    Parameters
    ----------
    found : sequence of (BlockCold, BlockWindow or None)
        Each block and cultivar with its window, where past winters are on file.
    aheads : sequence of ColdAhead or None
        What the user's own forecast would do to each; may be left out.
    """
    forecasts = aheads or [None] * len(found)
    return (
        environment()
        .get_template("cold.html")
        .render(
            blocks=[
                _block(cold, window, ahead, f"c{number}")
                for number, ((cold, window), ahead) in enumerate(zip(found, forecasts, strict=True), start=1)
            ],
            cautions=CAUTIONS,
            by_climate=BY_CLIMATE,
            picture_css=picture_css(),
        )
    )


def _block(cold: BlockCold, window: BlockWindow | None, ahead: ColdAhead | None, name: str) -> dict[str, Any]:
    return {
        "title": cold_title(cold), "lines": (*cold_lines(cold), *_forecast(cold, ahead)), "curve": _curve(cold, ahead, name), "window": window_lines(window) if window else (),
        "strips": _strips(cold, window, name) if window else "", "details": (*detail_lines(cold), *(basis_lines(window) if window else ())),
    }  # fmt: skip


def _forecast(cold: BlockCold, ahead: ColdAhead | None) -> tuple[str, ...]:
    return () if ahead is None else (*ahead_lines(cold, ahead), *left_out_lines(ahead.ahead))


def _curve(cold: BlockCold, ahead: ColdAhead | None, name: str) -> str:
    """Draw the nights beside the band, those of a forecast after what was measured."""
    curve = cold.curve if ahead is None or ahead.cold.curve is None else ahead.cold.curve
    if curve is None or len(curve.days) < 2:
        return ""
    forecast = set(ahead.ahead.days) if ahead is not None else set()
    rows = zip(curve.days, curve.t_min_c.tolist(), curve.soft_c.tolist(), curve.hardy_c.tolist(), strict=True)
    days = [ColdDay(*row, forecast=row[0] in forecast) for row in rows]
    return both_forms(cold_curve_svg, days, title=f"{cold_title(cold)}: nights and buds", name=name)


def _strips(cold: BlockCold, window: BlockWindow, name: str) -> str:
    """Draw the questions of pruning time one under the other; a strip of which nothing is known is left out."""
    stretches = window.best.stretches
    heads = [f"{window.day(one.first).day} {window.day(one.first):%b}{forecast_mark(window, one)}" for one in stretches]
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
