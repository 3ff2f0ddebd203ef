"""trunkwatch incidence."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.every_block import all_blocks_option, go_through, refuse_with
from trunkwatch.cli.options import (
    block_option,
    definition_option,
    details_option,
    echo_notes,
    emit_json,
    json_option,
    keep_good_option,
    say,
    season_option,
    vineyard_argument,
)


@click.command("incidence")
@vineyard_argument
@block_option
@all_blocks_option
@season_option
@definition_option
@click.option(
    "--looks-before",
    type=click.IntRange(1),
    default=1,
    show_default=True,
    help="For new cases: earlier counted seasons in which a vine must have been scouted (3 is better).",
)
@click.option(
    "--explain",
    metavar="RATE",
    help="List the vines behind a rate of the season: annual, standing, ever, new, relapse, deaths.",
)
@click.option(
    "--by",
    "by",
    type=click.Choice(["cultivar", "rootstock", "planting"]),
    help="The share showing of each group of vines.",
)
@details_option
@keep_good_option
@json_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    definition: str | None,
    looks_before: int,
    explain: str | None,
    by: str | None,
    details: bool,
    keep_good: bool,
    as_json: bool,
    all_blocks: bool,
) -> None:
    """Show the rates of a block by season, with likely ranges.

    \b
    Example:
      trunkwatch incidence sample_blocks --block Mill
      trunkwatch incidence sample_blocks --block Mill --season 2026 --explain new
      trunkwatch incidence sample_blocks --all-blocks
    """
    from trunkwatch.block import load, open_vineyard, trend_of
    from trunkwatch.block.words import note_sentences
    from trunkwatch.history import RATES

    if explain and explain not in RATES:
        raise click.BadParameter(f"{explain!r} is no rate: one of {', '.join(RATES)}", param_hint="--explain")
    if all_blocks:
        refuse_with(block=block, explain=explain, by=by)
        with open_vineyard(vineyard, keep_good=keep_good) as store:

            def read(label: str) -> Any:
                one = load(store, label, season, definition=definition)
                return one, trend_of(one, looks_before=looks_before)

            def show(pair: Any) -> None:
                echo_notes(note_sentences(pair[0]))
                (_table if details else _short)(*pair)

            go_through(store.blocks(), read, show, (lambda pair: _as_data(*pair)) if as_json else None)
        return
    found = load(vineyard, block, season, definition=definition, keep_good=keep_good)
    echo_notes(note_sentences(found))
    if explain:
        _explain(found, explain, looks_before, as_json=as_json)
        return
    if by:
        _by_group(found, by, as_json=as_json)
        return
    trend = trend_of(found, looks_before=looks_before)
    if as_json:
        emit_json(_as_data(found, trend))
        return
    if details:
        _table(found, trend)
        return
    _short(found, trend)


def _short(found: Any, trend: Any) -> None:
    """Say whether it gets worse, then a line a season; what else there is stands behind --details."""
    from trunkwatch.block.words import trend_note

    say(str(trend.over_years))
    if trend.change is not None:
        say(f"Since {trend.change_from}: {trend.change}.")
    say(trend.swing.sentence)
    click.echo(f"Block {found.history.block}, definition {found.history.definition}")
    click.echo(f"{'season':8}{'showing':34}{'new':14}{'ever':14}")
    for one in trend.seasons:
        if not one.look.counted:
            say(f"{one.season}    not counted: {one.look.reason}")
            continue
        cells = [_brief(one, name) for name in ("annual", "new", "ever")]
        click.echo(
            f"{f'{one.season}' + ('*' if one.look.aside else ''):8}{cells[0]:34}{cells[1]:14}{cells[2]:14}".rstrip()
        )
    for one in trend.seasons:
        if one.look.counted and one.look.aside:
            say(f"* {one.season}: {one.look.aside}.")
    say(trend_note(trend))
    say("With --details: standing, relapse and deaths too, with likely ranges.")


def _brief(one: Any, name: str) -> str:
    """Write a rate in a few signs: the share showing with its likely range, others as a share alone."""
    rate, limits = one.rates[name], one.limits[name]
    if rate.reason:
        return "-"
    share = f"{rate.cases}/{rate.vines}"
    if name != "annual":
        return f"{'at least ' if rate.at_least else ''}{100 * limits.share:.1f}%"
    return f"{share} = {100 * limits.share:.1f}% ({100 * limits.low:.1f} to {100 * limits.high:.1f})"


def _by_group(found: Any, by: str, *, as_json: bool) -> None:
    from trunkwatch.pattern.place_words import group_label
    from trunkwatch.pattern.rates_by import rates_by

    groups = rates_by(found, by)
    if as_json:
        emit_json(
            {
                "block": found.history.block,
                "by": by,
                "groups": [
                    {
                        "label": one.label,
                        "trend": one.trend.verdict,
                        "trend_words": str(one.trend),
                        "seasons": [
                            {
                                "season": year,
                                "cases": n.cases,
                                "vines": n.vines,
                                "share": n.share,
                                "low": n.low,
                                "high": n.high,
                            }
                            for year, n in one.seasons
                        ],
                    }
                    for one in groups
                ],
            }
        )
        return
    for one in groups:
        click.echo(f"{by} {group_label(by, one.label)}")
        for year, n in one.seasons:
            share = f"{100 * n.share:.1f} % ({100 * n.low:.1f}-{100 * n.high:.1f})" if n.vines else "no vine counts"
            click.echo(f"  {year}  {n.cases}/{n.vines} = {share}" if n.vines else f"  {year}  {share}")
        click.echo(f"  {one.trend}")


def _cell(limits: Any, rate: Any) -> str:
    if rate.reason:
        return "-"
    least = "at least " if rate.at_least else ""
    carried = f" ({rate.carried} carried)" if rate.carried else ""
    return f"{least}{rate.cases}/{rate.vines}{carried} = {100 * limits.share:.1f} % ({100 * limits.low:.1f}-{100 * limits.high:.1f})"


def _table(found: Any, trend: Any) -> None:
    from rich.console import Console
    from rich.table import Table

    from trunkwatch.block.words import trend_note
    from trunkwatch.history import RATES
    from trunkwatch.maps.counts import outside_line

    table = Table(title=f"Block {found.history.block}, definition {found.history.definition}")
    table.add_column("season")
    for name in RATES:
        table.add_column(name)
    for one in trend.seasons:
        if one.look.counted:
            mark = "*" if one.look.aside else ""
            table.add_row(f"{one.season}{mark}", *[_cell(one.limits[name], one.rates[name]) for name in RATES])
        else:
            table.add_row(str(one.season), f"not counted: {one.look.reason}", *[""] * (len(RATES) - 1))
    console = Console(width=max(150, Console().width))
    console.print(table)
    for one in trend.seasons:
        if one.look.counted and one.look.aside:
            click.echo(f"* {one.season}: {one.look.aside}.")
    if any(rate.carried for one in trend.seasons for rate in one.rates.values()):
        click.echo("Carried: damage noted before, not cut and not recorded again this season.")
    outside = outside_line(found.history, found.season)
    if outside:
        click.echo(f"{outside}.")
    if trend.change is not None:
        click.echo(f"Since {trend.change_from}: {trend.change}.")
    click.echo(str(trend.over_years))
    click.echo(trend.swing.sentence)
    click.echo(trend_note(trend))


def _explain(found: Any, name: str, looks_before: int, *, as_json: bool) -> None:
    from trunkwatch.block.vine_now import last_evidence
    from trunkwatch.history import left_out, names_of, rate

    shown = rate(found.history, name, found.season, looks_before=looks_before)  # type: ignore[arg-type]
    cases, vines = names_of(found.history, shown.numerator), names_of(found.history, shown.denominator)
    out = left_out(found.history, shown)
    grid = found.history.grid
    seen = {vine: last_evidence(found.reading, grid.cell(*vine), found.as_of) for vine in cases}
    if as_json:
        emit_json(
            {
                "rate": name,
                "season": found.season,
                "meaning": shown.meaning,
                "cases": cases,
                "vines": vines,
                "last_seen": [seen[vine] for vine in cases],
                "left_out": [{"reason": one.reason, "vines": one.vines} for one in out],
                "reason": shown.reason,
            }
        )
        return
    click.echo(f"{shown}: {shown.meaning}")
    click.echo(f"cases, last seen ({len(cases)}): {_places(cases, seen)}")
    click.echo(f"other vines that count: {len(vines) - len(cases)}")
    for one in out:
        click.echo(f"left out, {one.reason} ({len(one.vines)}): {_places(one.vines)}")


def _places(vines: Any, seen: Any = None) -> str:
    by_row: dict[str, list[str]] = {}
    for row, position in vines:
        day = (seen or {}).get((row, position), "")
        by_row.setdefault(row, []).append(f"{position} ({day})" if day else str(position))
    return "; ".join(f"row {row}: {', '.join(places)}" for row, places in by_row.items()) or "none"


def _as_data(found: Any, trend: Any) -> dict[str, Any]:
    from trunkwatch.block.words import trend_note
    from trunkwatch.history import RATES

    seasons = []
    for one in trend.seasons:
        told: dict[str, Any] = {
            "season": one.season,
            "counted": one.look.counted,
            "compared": one.look.compared,
            "reason": one.look.reason,
            "looks": one.look.looks,
            "missing": one.missing,
            "dead": one.dead,
            "young": one.young,
        }
        for name in RATES:
            rate, limits = one.rates[name], one.limits[name]
            told[name] = {
                "cases": rate.cases,
                "seen": rate.seen,
                "carried": rate.carried,
                "vines": rate.vines,
                "at_least": rate.at_least,
                "share": limits.share,
                "low": limits.low,
                "high": limits.high,
                "reason": rate.reason,
            }
        seasons.append(told)
    return {
        "block": found.history.block,
        "definition": found.history.definition,
        "seasons": seasons,
        "swing": trend.swing.sentence,
        "over_years": str(trend.over_years),
        "note": trend_note(trend),
    }
