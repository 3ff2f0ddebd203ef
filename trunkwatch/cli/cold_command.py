"""trunkwatch cold."""

import datetime as dt
import re
import textwrap
from pathlib import Path

import click

from trunkwatch.cli.cold_as_json import ColdAnswer, cold_as_json
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
from trunkwatch.cli.winter_options import winter_options
from trunkwatch.errors import RecordError

#: Columns that the answer keeps to, on paper and in a mail as well.
_WIDTH = 80


@click.command("cold")
@vineyard_argument
@block_option
@click.option("--date", "day", default="", metavar="DATE", help="Day asked about, YYYY-MM-DD.  [default: today]")
@click.option(
    "--count",
    "counted",
    default="",
    metavar="DEAD/BUDS",
    help="Buds that you cut, 20/100: corrects the model in place of the counts on record. With --block.",
)
@click.option("--per-cane", type=click.IntRange(1, 20), default=4, show_default=True, help="Buds cut from one cane.")
@click.option(
    "--with",
    "measures",
    multiple=True,
    type=click.Choice(["long-first-cut", "wound-protection"]),
    help="Weigh double pruning or wound protection beside one cut; may be repeated. Prices stand in costs.csv.",
)
@winter_options
@forecast_options
@out_option
@details_option
@json_option
def command(
    vineyard: Path,
    block: str | None,
    day: str,
    stand_in: str | None,
    counted: str,
    per_cane: int,
    most_nodes: float,
    work_above: float,
    work_rain: float,
    work_snow: float,
    measures: tuple[str, ...],
    first_cut_leaves: float,
    forecast: Path | None,
    forecast_units: str,
    forecast_map: tuple[str, ...],
    out: Path | None,
    details: bool,
    as_json: bool,
) -> None:
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
      trunkwatch cold my_vines --with long-first-cut --with wound-protection
    """
    from trunkwatch.block import open_vineyard
    from trunkwatch.cold import Measure
    from trunkwatch.cold.answers import ColdAsked, answers_of_store
    from trunkwatch.cold.of_store import counts_on_record, past_on_record
    from trunkwatch.winter_model.bud_count import kill_from_count
    from trunkwatch.winter_model.cultivars import Group
    from trunkwatch.winter_model.workable import Limits

    numbers = _count(counted)
    if numbers and block is None:
        raise click.UsageError(f"--count {counted} is of one block: say which with --block")
    asked = ColdAsked(
        Group(stand_in) if stand_in else None,
        Limits(work_above, work_rain, work_snow),
        most_nodes,
        first_cut_leaves,
        days_ahead(forecast, forecast_units, forecast_map),
        tuple(Measure(name) for name in measures),
    )
    with open_vineyard(vineyard) as store:
        found = answers_of_store(store, block, _day(day or today()), asked)
        pairs = [(one.cold, one.weather) for one in found]
        parts = [() for _ in found] if numbers else counts_on_record(store, pairs)
        past = [past_on_record(store, cold, weather) for cold, weather in pairs]
    if numbers and len(found) > 1:
        names = ", ".join(one.cold.cultivar or "none written" for one in found)
        raise RecordError(
            f"--count {counted}: block {block} has several cultivars ({names}), and they die apart: count and write each as a block of its own"
        )
    answers = [
        ColdAnswer(
            one.cold,
            one.window,
            kill_from_count(*numbers, one.cold.killed, buds_per_cane=per_cane) if numbers else None,
            on_record,
            before,
            one.ahead,
            one.weighed,
        )
        for one, on_record, before in zip(found, parts, past, strict=True)
    ]
    if as_json:
        emit_json({"blocks": [cold_as_json(one) for one in answers]})
        return
    if out is not None:
        from trunkwatch.report.cold_page import cold_html

        write_page(out, cold_html(found))
        return
    _print(answers, most_nodes, details=details)


def _print(answers: list[ColdAnswer], most: float, *, details: bool) -> None:
    from trunkwatch.cold.ahead_words import ahead_lines, left_out_lines
    from trunkwatch.cold.measure_words import measure_lines, measure_table
    from trunkwatch.cold.right_words import right_lines
    from trunkwatch.cold.window_words import BY_CLIMATE, basis_lines, window_lines, window_table
    from trunkwatch.cold.words import CAUTIONS, cold_lines, cold_title, count_lines, detail_lines, part_count_lines

    said: dict[tuple[str, ...], str] = {}
    for one in answers:
        click.echo(cold_title(one.cold))
        _say(cold_lines(one.cold))
        if one.ahead is not None:
            _say((*ahead_lines(one.cold, one.ahead), *left_out_lines(one.ahead.ahead)))
        _say(part_count_lines(one.on_record, most))
        _say(right_lines(one.before))
        if one.count is not None:
            _say(count_lines(one.count, most))
        if one.window is not None:
            lines = (
                *window_lines(one.window),
                *(line for found, money in one.weighed for line in measure_lines(one.window, found, money)),
            )
            _say((f"When to prune: as block {said[lines]}.",) if lines in said else lines)
            said.setdefault(lines, one.cold.block)
        if details:
            tables = (
                []
                if one.window is None
                else [window_table(one.window), *(measure_table(one.window, found) for found, _ in one.weighed)]
            )
            for line in (line for table in tables for line in table):
                click.echo(f"  {line}")
            _say((*detail_lines(one.cold), *(basis_lines(one.window) if one.window is not None else ())))
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
