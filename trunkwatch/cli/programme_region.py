"""`trunkwatch programme` over a region: patterns, vine-season files, rates over all blocks, and what is cleared."""

import contextlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.options import emit_json, say

__all__ = ["clear", "echo_pattern", "echo_rates", "echo_vine_files", "put_region", "vine_runs"]

_YOURS = "These files hold records and are yours alone: keep them as safe as the vineyards. `trunkwatch pool` makes a table to pass on."
_EXACT = "These counts are exact and yours alone: a small group tells whose it is. `trunkwatch pool` makes a table to pass on."


def vine_runs(
    folder: Path, task: str, growers: Sequence[Any], allowed: Sequence[Any], told: dict[str, Any], how: Any
) -> Any:
    """Bring the vine-season files of growers up to date."""
    from trunkwatch.programme.run import over_growers, page_folders
    from trunkwatch.programme.vine_files import VINE_FILES, VineFiles, check_region

    check_region(asked=task == "rates")
    if told["season"] is not None:
        raise click.UsageError(f"--season goes with no {task}: all seasons are in it")
    folders = page_folders([one.name for one in growers])

    def ask(grower: Any, _block: str) -> dict[str, Any]:
        return {
            "definition": told["definition"],
            "grower": grower.name,
            "region": grower.region,
            "folder": folders[grower.name],
        }

    files = VineFiles(told["out"] or folder / VINE_FILES)
    return over_growers(folder, allowed, "vine_seasons", ask, how, keeps=files)


def put_region(
    folder: Path, task: str, growers: Sequence[Any], chosen: Sequence[Any], runs: Sequence[Any], told: dict[str, Any]
) -> list[dict[str, Any]]:
    """Delete files that nobody stands behind any more, and return the rates asked for."""
    from trunkwatch.programme.in_use import under_way
    from trunkwatch.programme.run import CACHE
    from trunkwatch.programme.vine_files import VINE_FILES

    out, cache = told["out"] or folder / VINE_FILES, told["cache"] or folder / CACHE
    if len(chosen) == len(growers):
        _delete_left_over(out, cache, runs, [one.name for one in growers])
    if task != "rates":
        return []
    from trunkwatch.programme.region import block_sums, group_rates
    from trunkwatch.programme.road import usual_workers

    files = [out / data["file"] for run in runs for block in run.blocks if "file" in (data := run.data(block))]
    if not files:
        return []
    with under_way(cache):
        sums = block_sums(files, told["rate"], threads=usual_workers())
    return [_rate_data(one, told["by"], told["rate"]) for one in group_rates(sums, told["by"])]


def _delete_left_over(out: Path, cache: Path, runs: Sequence[Any], names: Sequence[str]) -> None:
    """Delete files of blocks that are gone, and of growers who agree no more; where a grower cannot be read all of theirs stay."""
    from trunkwatch.programme.in_use import alone
    from trunkwatch.programme.run import page_folders
    from trunkwatch.programme.vine_files import VineFiles

    named = [data["file"] for run in runs for block in run.blocks if "file" in (data := run.data(block))]
    folders = page_folders(names)
    unread = {
        folders[run.grower.name] for run in runs if run.reason or any("file" not in run.data(one) for one in run.blocks)
    }
    gone = [path for path in VineFiles(out).left_over(named) if path.parent.name not in unread]
    if not gone:
        return
    with alone(cache) as nobody:
        for path in gone if nobody else ():
            path.unlink(missing_ok=True)
            with contextlib.suppress(OSError):  # other files lie in it
                path.parent.rmdir()
    what = f"{len(gone)} vine-season file{'' if len(gone) == 1 else 's'} of blocks that are gone, or of growers who agree no more,"
    click.echo(
        f"note: {what} {'deleted' if nobody else f'still in {out}: another run is under way, run this again'}", err=True
    )


def _rate_data(one: Any, by: str, rate: str) -> dict[str, Any]:
    label = dict(zip(("grower", "block") if by == "block" else ("group",), one.label, strict=True))
    limits = one.limits
    return {
        "by": by,
        "rate": rate,
        **label,
        "season": one.season,
        "definition": one.definition,
        "inspections": one.inspections.split(),
        "cases": one.cases,
        "vines": one.vines,
        "at_least": one.at_least,
        "share": one.share,
        "low": None if limits is None else limits.low,
        "high": None if limits is None else limits.high,
        "blocks": one.blocks,
        "growers": one.growers,
    }


def echo_pattern(runs: Sequence[Any]) -> None:
    """Say of each block what its map shows."""
    for run in runs:
        shown = [data for block in run.blocks if not (data := run.data(block)).get("reason")]
        if shown:
            say(run.grower.name)
        for data in shown:
            if data["years"]:
                say(f"block {data['block']}: {data['years']}", "  ")
            say(
                f"block {data['block']}, season {data['season']}, {data['cases']} of {data['vines']} vines: {', '.join(data['words'])}",
                "    " if data["years"] else "  ",
            )
    say("`trunkwatch pattern VINEYARD --block B --details` prints all that stands behind the words of a block.")


def echo_vine_files(runs: Sequence[Any], out: Path) -> None:
    """Say where the files lie, and whose they are."""
    lines = [data["lines"] for run in runs for block in run.blocks if "lines" in (data := run.data(block))]
    new = sum(
        not outcome.kept for run in runs for outcome in run.blocks.values() if outcome.data and "lines" in outcome.data
    )
    say(f"{out}: {len(lines)} blocks, {sum(lines):,} lines; {new} written now, {len(lines) - new} as they were")
    say(_YOURS)


def echo_rates(rates: Sequence[Mapping[str, Any]], by: str, rate: str) -> None:
    """Print a line a group, a column a season."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    years = sorted({one["season"] for one in rates})
    headings = ("grower", "block") if by == "block" else ("group",)
    kinds = {(one["definition"], *one["inspections"]) for one in rates if one["vines"]}
    lines: dict[tuple[Any, ...], dict[int, Mapping[str, Any]]] = {}
    for one in rates:
        if one["vines"] or by == "block":
            kind = (one["definition"], " ".join(one["inspections"])) if len(kinds) > 1 else ()
            lines.setdefault((*(one[name] for name in headings), *kind), {})[one["season"]] = one
    table = Table(title=f"Rate {rate}, by {by}")
    names = (by,) if headings == ("group",) else headings
    for heading in (*names, *(("definition", "inspections") if len(kinds) > 1 else ()), *map(str, years)):
        table.add_column(heading)
    for label, by_year in sorted(lines.items()):
        told = [escape(part) if part else "not written" for part in label]
        table.add_row(*told, *(_rate_cell(by_year.get(year), by) for year in years))
    Console(width=max(120, 48 + 30 * len(years), Console().width)).print(table)
    click.echo("- nothing written; (no count) no vine counts. In brackets the likely range.")
    if by != "block":
        click.echo(
            "Likely ranges are of groups of blocks like these, a block being what was chosen: none from one block alone."
        )
    click.echo("Blocks of another age, cultivar or observer differ for that alone: the table is no ranking.")
    click.echo(_EXACT)


def _rate_cell(one: Mapping[str, Any] | None, by: str) -> str:
    if one is None:
        return "-"
    if not one["vines"]:
        return "(no count)"
    least = "at least " if one["at_least"] else ""
    told = f"{least}{one['cases']}/{one['vines']} {100 * one['share']:.1f}%"
    if one["low"] is not None and one["low"] == one["low"]:
        told += f" ({100 * one['low']:.1f} to {100 * one['high']:.1f})"
    if by == "block":
        return told
    return f"{told}, {one['blocks']} block{'' if one['blocks'] == 1 else 's'}"


def clear(folder: Path, growers: Sequence[Any], told: dict[str, Any], data: dict[str, Any], *, as_json: bool) -> None:
    """Clear kept results by the rule, and say what stays."""
    from trunkwatch.programme.clearing import clear_results
    from trunkwatch.programme.run import CACHE

    cache = told["cache"] or folder / CACHE
    done = clear_results(folder, growers, cache, older_than_days=told["older_than"], at_most_mb=told["at_most"])
    data["cleared"] = {
        "named": done.named,
        "unnamed": done.unnamed,
        "cleared": done.cleared,
        "megabytes": done.megabytes,
        "unread": list(done.unread),
    }
    if as_json:
        emit_json(data)
        return
    if done.unread:
        say(
            f"nothing cleared: {', '.join(done.unread)} cannot be read, so which results are theirs cannot be told; `trunkwatch check` lists what stands in the way"
        )
        return
    say(
        f"{cache}: {done.cleared} results cleared ({done.megabytes:.1f} MB); {done.named} of present records stay, and {done.unnamed} that nothing names "
        f"but are not older than {told['older_than']:g} days and take {told['at_most']:g} MB at most"
    )
