"""trunkwatch before."""

import itertools
from contextlib import nullcontext
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.every_block import all_blocks_option, go_through, refuse_with
from trunkwatch.cli.options import (
    block_option,
    definition_option,
    echo_notes,
    emit_json,
    json_option,
    season_option,
    seed_option,
    vineyard_argument,
)


@click.command("before")
@vineyard_argument
@block_option
@all_blocks_option
@season_option
@definition_option
@click.option(
    "--margin",
    type=click.FloatRange(0, 50, min_open=True, max_open=True),
    default=2.0,
    show_default=True,
    metavar="POINTS",
    help="How near the share showing is to be known, in points of a hundred, to either side.",
)
@click.option(
    "--follow",
    type=click.FloatRange(0, 100, min_open=True),
    multiple=True,
    default=(10.0, 30.0),
    show_default=True,
    metavar="PERCENT",
    help="Of the new cases, the share that follows the next vine in the row; may be given several times.",
)
@click.option(
    "--runs", type=click.IntRange(10, 1000), default=50, show_default=True, help="Simulated records for each share."
)
@click.option("--rows-only", is_flag=True, help="Only which rows to scout; nothing is simulated.")
@seed_option
@json_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    definition: str | None,
    margin: float,
    follow: tuple[float, ...],
    runs: int,
    seed: int,
    *,
    rows_only: bool,
    as_json: bool,
    all_blocks: bool,
) -> None:
    """Before a survey: which rows to scout, and how many more seasons until spread could show.

    Rows are whole rows, spread over the block; how alike the vines of a row are is taken from the last survey.

    \b
    Example:
      trunkwatch before sample_blocks --block Mill
      trunkwatch before sample_blocks --block Mill --margin 4 --rows-only
      trunkwatch before sample_blocks --all-blocks --rows-only
    """
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.surveys.before import survey_plan

    if all_blocks:
        refuse_with(block=block)
    with open_vineyard(vineyard) as store:

        def read(label: str | None) -> Any:
            loaded = load(store, label, season, definition=definition)
            plan = survey_plan(loaded, margin=margin / 100, seed=seed)
            # One bar for all blocks; of a single one the bar is of its simulated records.
            told = None if rows_only else _simulated(loaded, follow, runs, seed, quiet=all_blocks)
            return loaded, plan, told

        if all_blocks:
            go_through(store.blocks(), read, _show, (lambda one: _data(*one[1:])) if as_json else None)
            return
        one = read(block)
    if as_json:
        emit_json(_data(*one[1:]))
        return
    _show(one)


def _show(one: Any) -> None:
    from trunkwatch.block.words import note_sentences
    from trunkwatch.pattern.when_told_words import when_sentences
    from trunkwatch.surveys.before_words import plan_sentences

    loaded, plan, told = one
    echo_notes(note_sentences(loaded))
    click.echo(f"Block {plan.block}: before the next survey")
    for sentence in (*plan_sentences(plan), *(when_sentences(told) if told is not None else ())):
        click.echo(f"  {sentence}")


def _simulated(loaded: Any, follow: tuple[float, ...], runs: int, seed: int, *, quiet: bool) -> Any:
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.pattern.when_told import when_told

    number = itertools.count(1)
    with nullcontext(lambda _: None) if quiet else waiting("Simulated records") as progress:
        return when_told(
            loaded,
            shares=[one / 100 for one in follow],
            runs=runs,
            seed=seed,
            done=lambda: progress(next(number) / (len(follow) * runs)),
        )


def _data(plan: Any, told: Any) -> dict[str, Any]:
    from trunkwatch.pattern.when_told import WhyNotTold

    data: dict[str, Any] = {
        "block": plan.block,
        "season": plan.last,
        "margin": plan.margin,
        "rows": plan.rows,
        "vines": plan.vines,
        "showing": asdict(plan.alike) if plan.alike is not None else None,
        "within_margin": _rows(plan.within_margin),
        "doubling": _rows(plan.doubling),
        "to_find": _rows(plan.to_find),
    }
    if told is None:
        data["spread"] = None
    elif isinstance(told, WhyNotTold):
        data["spread"] = {
            "seasons": told.seasons,
            "new_cases": told.new,
            "reason": "two seasons and a new case are needed",
        }
    else:
        data["spread"] = [
            {
                "share_following": one.share,
                "seasons": one.seasons,
                "cases": one.cases,
                "new_cases_a_season": one.new_a_season,
                "more_seasons": one.more,
                "told": one.told,
                "told_or_short_zones": one.hinted,
                "enough_after": one.enough_after,
                "runs": one.runs,
            }
            for one in told
        ]
    return data


def _rows(chosen: Any) -> dict[str, Any] | None:
    return None if chosen is None else {"rows": chosen.rows, "vines": chosen.vines, "every": chosen.every}
