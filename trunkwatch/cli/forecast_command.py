"""trunkwatch forecast."""

from pathlib import Path
from typing import Any

import click

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


@click.command("forecast")
@vineyard_argument
@block_option
@season_option
@definition_option
@click.option("--chances", is_flag=True, help="List the chances learnt, with their priors and sources.")
@seed_option
@json_option
def command(
    vineyard: Path, block: str | None, season: int | None, definition: str | None, chances: bool, seed: int, as_json: bool
) -> None:  # fmt: skip
    """Say what to expect of the next season, and how good such forecasts were before.

    \b
    Example:
      trunkwatch forecast sample_blocks --block Mill --chances
    """
    from trunkwatch.season import load, open_vineyard
    from trunkwatch.season.outlook import outlook, outlook_sentences, steps_of_vineyard

    with open_vineyard(vineyard) as store:
        found = load(store, block, season, definition=definition)
        others = steps_of_vineyard(store, found.history.block, found.history.definition)
    told = outlook(found, others, seed=seed)
    if as_json:
        emit_json(_data(told))
        return
    echo_notes(found.notes)
    click.echo(f"Season {told.season}, block {told.block}: a projection, not advice")
    for sentence in outlook_sentences(told):
        click.echo(f"  {sentence}")
    if chances:
        _list(told)
    click.echo(f"  (seed {told.seed}; {told.estimates.borrowed} other blocks leant on)")


def _list(told: Any) -> None:
    from trunkwatch.forecast.priors import PRIORS

    for name, prior in PRIORS.items():
        events, vines = told.estimates.counts.events[name], told.estimates.counts.vines[name]
        click.echo(
            f"  {prior.what}: {100 * told.estimates.mean(name):.1f} % a year (record {events} of {vines}; prior {100 * prior.mean:g} %, "
            f"weight {prior.weight:g} vines: {prior.source})"
        )


def _data(told: Any) -> dict[str, Any]:
    from dataclasses import asdict

    tested = told.tested
    return {
        "block": told.block, "season": told.season, "showing": asdict(told.forecast.showing), "new": asdict(told.forecast.new),
        "vines": told.forecast.vines, "half_priors": told.half.showing.middle, "double_priors": told.double.showing.middle,
        "chances": {name: told.estimates.mean(name) for name in told.estimates.counts.events}, "season_sd": told.estimates.season_sd,
        "neighbours": asdict(told.estimates.near), "seed": told.seed,
        "back_test": {
            "reason": tested.reason, "brier": tested.brier, "brier_constant": tested.brier_constant, "brier_last": tested.brier_last,
            "log_score": tested.log_score, "log_constant": tested.log_constant, "auc_all": tested.auc_all, "auc_new": tested.auc_new,
            "observed_over_expected": tested.observed_over_expected,
            "seasons": [{"season": one.season, "showing": one.showing, "new": one.new, "forecast": asdict(one.forecast.showing)} for one in tested.seasons],
        },
    }  # fmt: skip
