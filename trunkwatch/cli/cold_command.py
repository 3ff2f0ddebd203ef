"""trunkwatch cold."""

import datetime as dt
import re
import textwrap
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.forecast_file import days_ahead, forecast_options
from trunkwatch.cli.options import (
    block_option,
    details_option,
    emit_json,
    json_option,
    out_option,
    today,
    vineyard_argument,
    write_page,
)
from trunkwatch.errors import RecordError

#: Columns that the answer keeps to, on paper and in a mail as well.
_WIDTH = 80


@click.command("cold")
@vineyard_argument
@block_option
@click.option("--date", "day", default="", metavar="DATE", help="Day asked about, YYYY-MM-DD.  [default: today]")
@click.option("--stand-in", type=click.Choice(["tender", "medium", "labrusca", "hybrid"]),
              help="Group that stands in for a cultivar that no model knows.")  # fmt: skip
@click.option("--count", "counted", default="", metavar="DEAD/BUDS",
              help="Buds that you cut, 20/100: corrects the model in place of the counts on record. With --block.")  # fmt: skip
@click.option("--per-cane", type=click.IntRange(1, 20), default=4, show_default=True, help="Buds cut from one cane.")
@click.option("--most-nodes", type=click.FloatRange(1, 5), default=2.0, show_default=True,
              help="Nodes that a vine carries at the most, in times those you want.")  # fmt: skip
@click.option("--work-above", type=float, default=-10.0, show_default=True, metavar="C",
              help="Your crew prunes where the day gets as warm as this.")  # fmt: skip
@click.option(
    "--work-rain",
    type=click.FloatRange(0),
    default=2.0,
    show_default=True,
    metavar="MM",
    help="... and with less rain than this.",
)
@click.option(
    "--work-snow",
    type=click.FloatRange(0),
    default=40.0,
    show_default=True,
    metavar="CM",
    help="... and less snow on the ground.",
)
@forecast_options
@out_option
@details_option
@json_option
def command(
    vineyard: Path, block: str | None, day: str, stand_in: str | None, counted: str, per_cane: int, most_nodes: float, work_above: float,
    work_rain: float, work_snow: float, forecast: Path | None, forecast_units: str, forecast_map: tuple[str, ...], out: Path | None, details: bool, as_json: bool,
) -> None:  # fmt: skip
    """Say what the cold took this winter, and when to prune each block.

    \b
    For each block and cultivar: how hardy the buds stand, the coldest
    night, the likely range of buds killed, when an inspection of them is worth
    the walk. Then the best time to prune, where past winters are on file.

    \b
    Example:
      trunkwatch cold my_vines --block North --date 2027-01-20
      trunkwatch cold my_vines --block North --count 20/100
      trunkwatch cold my_vines --forecast week.csv --out cold.html
    """
    from trunkwatch.block import open_vineyard
    from trunkwatch.cold import ahead_of, cold_ahead, window_of
    from trunkwatch.cold.of_store import cold_of_store, counts_on_record, past_on_record
    from trunkwatch.winter_model.bud_count import kill_from_count
    from trunkwatch.winter_model.cultivars import Group
    from trunkwatch.winter_model.workable import Limits

    asked = _day(day or today())
    numbers, coming = _count(counted), days_ahead(forecast, forecast_units, forecast_map)
    if numbers and block is None:
        raise click.UsageError(f"--count {counted} is of one block: say which with --block")
    with open_vineyard(vineyard) as store:
        found = cold_of_store(store, block, asked, stand_in=Group(stand_in) if stand_in else None)
        parts = [() for _ in found] if numbers else counts_on_record(store, found)
        past = [past_on_record(store, cold, weather) for cold, weather in found]
    if numbers and len(found) > 1:
        names = ", ".join(cold.cultivar or "none written" for cold, _ in found)
        raise RecordError(
            f"--count {counted}: block {block} has several cultivars ({names}), and they die apart: count and write each as a block of its own"
        )
    limits = Limits(work_above, work_rain, work_snow)
    aheads = [None if coming is None else cold_ahead(cold, ahead_of(coming, weather, asked)) for cold, weather in found]
    windows = [window_of(cold, weather, limits=limits, most=most_nodes, ahead=ahead.ahead if ahead else None)
               for (cold, weather), ahead in zip(found, aheads, strict=True)]  # fmt: skip
    counts = [kill_from_count(*numbers, cold.killed, buds_per_cane=per_cane) if numbers else None for cold, _ in found]
    if as_json:
        emit_json({"blocks": [_as_data(cold, window, count, on_record, before, ahead)
                              for (cold, _), window, count, on_record, before, ahead in zip(found, windows, counts, parts, past, aheads, strict=True)]})  # fmt: skip
        return
    if out is not None:
        from trunkwatch.report.cold_page import cold_html

        write_page(out, cold_html([(cold, window) for (cold, _), window in zip(found, windows, strict=True)], aheads))
        return
    _print(found, windows, counts, parts, past, aheads, most_nodes, details=details)


def _print(
    found: Any, windows: Any, counts: Any, parts: Any, past: Any, aheads: Any, most: float, *, details: bool
) -> None:
    from trunkwatch.cold.ahead_words import ahead_lines, left_out_lines
    from trunkwatch.cold.right_words import right_lines
    from trunkwatch.cold.window_words import BY_CLIMATE, basis_lines, window_lines, window_table
    from trunkwatch.cold.words import CAUTIONS, cold_lines, cold_title, count_lines, detail_lines, part_count_lines

    said: dict[tuple[str, ...], str] = {}
    for (cold, _), window, count, on_record, before, ahead in zip(
        found, windows, counts, parts, past, aheads, strict=True
    ):
        click.echo(cold_title(cold))
        _say(cold_lines(cold))
        if ahead is not None:
            _say((*ahead_lines(cold, ahead), *left_out_lines(ahead.ahead)))
        _say(part_count_lines(on_record, most))
        _say(right_lines(before))
        if count is not None:
            _say(count_lines(count, most))
        if window is not None:
            lines = window_lines(window)
            _say((f"When to prune: as block {said[lines]}.",) if lines in said else lines)
            said.setdefault(lines, cold.block)
        if details:
            for line in window_table(window) if window is not None else ():
                click.echo(f"  {line}")
            _say((*detail_lines(cold), *(basis_lines(window) if window is not None else ())))
    if details:
        click.echo("Opposite advice, by climate (as the abstracts of the papers have it)")
        _say(BY_CLIMATE)
    for line in CAUTIONS:
        click.echo(line)


def _say(lines: tuple[str, ...]) -> None:
    for line in lines:
        # A number stays with its unit: the fold takes no-break spaces for letters.
        tied = re.sub(r"(?<=\d) (?=%|C\b)", "\u00a0", line)
        told = textwrap.fill(tied, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False)
        click.echo(told.replace("\u00a0", " "))


def _day(text: str) -> dt.date:
    from trunkwatch.vineyard.calendar import is_iso_date

    if not is_iso_date(text):
        raise click.BadParameter(f"{text!r} is no day: write it as YYYY-MM-DD", param_hint="--date")
    return dt.date.fromisoformat(text)


def _count(text: str) -> tuple[int, int] | None:
    if not text:
        return None
    parts = re.fullmatch(r"\s*(\d{1,6})\s*/\s*(\d{1,6})\s*", text)
    if not parts:
        raise click.BadParameter(f"{text!r} is no count: write dead and cut as 20/100", param_hint="--count")
    dead, cut = int(parts[1]), int(parts[2])
    if dead > cut or not cut:
        raise RecordError(
            f"--count {text}: {dead} dead of {cut} buds cannot be; dead first, then all that were cut: 20/100"
        )
    return dead, cut


def _as_data(cold: Any, window: Any, count: Any, on_record: Any, before: Any, ahead: Any) -> dict[str, Any]:
    from trunkwatch.cold.ahead_words import ahead_lines
    from trunkwatch.cold.window_words import stretch_words, window_lines
    from trunkwatch.cold.words import cold_lines

    verdict = cold.verdict
    return {
        "block": cold.block, "cultivar": cold.cultivar, "stand_in": cold.stand_in.value if cold.stand_in else None, "season": cold.season,
        "as_of": _iso(cold.as_of), "not_told": cold.why.name.lower() if cold.why else None,
        "model": verdict.serves.name.lower() if verdict else None, "gate": verdict.gate.name.lower() if verdict else None,
        "half_dies_c": cold.half_dies_c, "coldest": {"date": _iso(cold.coldest[0]), "t_min_c": cold.coldest[1]} if cold.coldest else None,
        "killed": cold.killed, "worst_night": _iso(cold.worst_night), "look_from": _iso(cold.look_from), "budbreak": _iso(cold.budbreak),
        "count": {"share": count.share, "low": count.low, "high": count.high, "dead": count.dead, "buds": count.counted} if count else None,
        "counts": [{"part": one.part, "date": _iso(one.day), "share": one.found.share, "low": one.found.low, "high": one.found.high,
                    "dead": one.found.dead, "buds": one.found.counted, "canes": one.canes, "secondary_dead": one.secondary[0],
                    "secondary_seen": one.secondary[1], "colder_since": _iso(one.colder_since)} for one in on_record],
        "past": _past_as_data(before), "ahead": _ahead_as_data(ahead),
        "window": None if window is None else {
            "winters": len(window.winters), "hangs_on": [one.name.lower() for one in window.best.hangs_on],
            "best": [stretch_words(window, one) for one in window.best.best], "flip": window.best.flip.at,
            "stretches": [{"first": _iso(window.day(one.first)), "last": _iso(window.day(one.last)), "by_calendar": one.by_calendar,
                           "by_warmth": one.by_warmth, "crop_lost": one.crop_lost, "crop_lost_long": one.crop_lost_long,
                           "frost": one.frost, "workable": one.workable} for one in window.best.stretches],
        },
        "text": [*cold_lines(cold), *(ahead_lines(cold, ahead) if ahead else ()), *(window_lines(window) if window else ())],
    }  # fmt: skip


def _ahead_as_data(ahead: Any) -> dict[str, Any] | None:
    if ahead is None:
        return None
    coldest = ahead.coldest
    return {
        "days": [_iso(one) for one in ahead.ahead.days], "measured_since": [_iso(one) for one in ahead.ahead.measured],
        "coldest": {"date": _iso(coldest[0]), "t_min_c": coldest[1]} if coldest else None,
        "half_dies_c": ahead.cold.half_dies_c, "killed": ahead.cold.killed,
    }  # fmt: skip


def _past_as_data(before: Any) -> dict[str, Any]:
    offset, days = before.offset, before.days
    return {
        "kills": [{"date": _iso(one.day), "part": one.part, "dead": one.dead, "buds": one.buds, "low": one.low, "high": one.high, "inside": one.inside}
                  for one in before.kills],
        "breaks": [{"noted": _iso(one.noted), "model": _iso(one.model), "days_late": one.days_late} for one in before.breaks],
        "offset": None if offset is None else {"mean_c": offset.mean_c, "low_c": offset.low_c, "high_c": offset.high_c, "winters": offset.winters},
        "days": None if days is None else {"mean": days.mean, "low": days.low, "high": days.high, "years": days.years},
        "rmse_days": None if before.rmse is None else {"model": before.rmse[0], "mean_date": before.rmse[1]},
    }  # fmt: skip


def _iso(day: dt.date | None) -> str | None:
    return day.isoformat() if day else None
