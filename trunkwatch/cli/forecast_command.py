"""trunkwatch forecast."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.every_block import all_blocks_option, go_through, refuse_with
from trunkwatch.cli.options import (
    block_option,
    cards_option,
    counts_option,
    definition_option,
    echo_notes,
    emit_json,
    json_option,
    season_option,
    seed_option,
    steps_with,
    vineyard_argument,
)


@click.command("forecast")
@vineyard_argument
@block_option
@all_blocks_option
@season_option
@definition_option
@click.option("--chances", is_flag=True, help="List the chances learnt, with their priors and sources.")
@cards_option
@counts_option
@seed_option
@json_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    definition: str | None,
    chances: bool,
    cards: Path | None,
    own_key: Path | None,
    cache: Path | None,
    seed: int,
    as_json: bool,
    all_blocks: bool,
) -> None:
    """Say what to expect of the next season, and how good such forecasts were before.

    A short record leans on the other blocks of the same vineyard and, with --cards, on forecast cards of growers who
    agreed to it; the answer says on how many. Other vineyards in the same file are not used.

    \b
    Example:
      trunkwatch forecast sample_blocks --block Mill --chances
      trunkwatch forecast sample_blocks --all-blocks
      trunkwatch forecast my_vines.gpkg --block North --cards cards
    """
    from trunkwatch.block import open_vineyard
    from trunkwatch.decide.outlook import outlook

    if all_blocks:
        refuse_with(block=block)
    with open_vineyard(vineyard) as store:
        steps = steps_with(store, cards, own_key, cache)

        def read(label: str | None) -> Any:
            found = steps.readings.season(label, season, definition=definition)
            others = steps.others(found.history.block, found.history.definition)
            leans = steps.leans_on(found.history.block, found.history.definition, found.season)
            return found, outlook(found, others, seed=seed), leans

        def show(read: Any) -> None:
            _show(*read, chances=chances)

        if all_blocks:
            go_through(store.blocks(), read, show, (lambda read: _data(*read[1:])) if as_json else None)
            return
        pair = read(block)
    if as_json:
        emit_json(_data(*pair[1:]))
        return
    show(pair)


def _show(found: Any, told: Any, leans: Any, *, chances: bool) -> None:
    from trunkwatch.block.words import note_sentences
    from trunkwatch.decide.outlook_words import leans_on_sentence, outlook_details, outlook_sentences

    echo_notes(note_sentences(found))
    click.echo(f"Season {told.season}, block {told.block}: a projection, not advice")
    for sentence in outlook_sentences(told):
        click.echo(f"  {sentence}")
    click.echo("  Behind it:")
    for sentence in outlook_details(told):
        click.echo(f"    {sentence}")
    _tested(told)
    if chances:
        _list(told)
    click.echo(f"  {leans_on_sentence(leans)} (seed {told.seed})")


def _tested(told: Any) -> None:
    """List the seasons foretold beside what came, and the scores beside those of two plain rules."""
    tested = told.tested
    if tested.why_not is not None:
        return
    click.echo(
        "  Season by season, vines seen with symptoms (new cases), predicted with a 90 % range from the seasons before, and what came.\n"
        "  Counted are vines that stood there the season before and were not cut since; damage only carried on is not seen:"
    )
    for one in tested.seasons:
        all_, new = one.forecast.seen, one.forecast.new
        click.echo(
            f"    {one.season}: {all_.middle:.0f} [{all_.low90} to {all_.high90}] ({new.middle:.0f} [{new.low90} to {new.high90}]), "
            f"came {one.seen} ({one.new})"
        )
    many = len(tested.seasons)
    click.echo(
        f"  Of {many} seasons the 50 % range held {sum(one.inside50 for one in tested.seasons)} "
        f"(new cases {sum(one.new_inside50 for one in tested.seasons)}), "
        f"the 90 % limits {sum(one.inside90 for one in tested.seasons)} "
        f"(new cases {sum(one.new_inside90 for one in tested.seasons)})."
    )
    click.echo(
        f"  Log score, smaller is better: this forecast {tested.log_score:.4f}, one rate for all vines {tested.log_constant:.4f}, "
        f"two rates by last season's status {tested.log_last:.4f}. Vines seen over vines predicted: "
        f"{tested.observed_over_expected:.2f}."
    )


def _list(told: Any) -> None:
    from trunkwatch.forecast.priors import PRIORS

    for name, prior in PRIORS.items():
        events, vines = told.estimates.counts.events[name], told.estimates.counts.vines[name]
        click.echo(
            f"  {prior.what}: {100 * told.estimates.mean(name):.1f} % a year (record {events} of {vines}; prior {100 * prior.mean:g} %, "
            f"weight {prior.weight:g} vines: {prior.source})"
        )


def _data(told: Any, leans: Any) -> dict[str, Any]:
    from dataclasses import asdict

    from trunkwatch.decide.outlook_words import no_back_test_words, not_kept_words

    tested = told.tested
    near = asdict(told.estimates.near)
    del near["new"], near["seasons"]
    return {
        "block": told.block,
        "season": told.season,
        "seen": asdict(told.forecast.seen),
        "carried": asdict(told.forecast.carried),
        "new": asdict(told.forecast.new),
        "trend_of_odds": told.estimates.trend_of_odds(),
        "vines": told.forecast.vines,
        "half_priors": told.half.seen.middle,
        "double_priors": told.double.seen.middle,
        "chances": {name: told.estimates.mean(name) for name in told.estimates.counts.events},
        "season_sd": told.estimates.season_sd,
        "neighbours": near | {"reason": not_kept_words(told.estimates.near)},
        "seed": told.seed,
        "leans_on": asdict(leans),
        "back_test": {
            "reason": no_back_test_words(tested),
            "brier": tested.brier,
            "brier_constant": tested.brier_constant,
            "brier_last": tested.brier_last,
            "log_score": tested.log_score,
            "log_constant": tested.log_constant,
            "log_last": tested.log_last,
            "auc_all": tested.auc_all,
            "auc_new": tested.auc_new,
            "observed_over_expected": tested.observed_over_expected,
            "calibration": [asdict(one) for one in tested.calibration],
            "seasons": [
                {
                    "season": one.season,
                    "seen": one.seen,
                    "new": one.new,
                    "forecast": asdict(one.forecast.seen),
                    "forecast_new": asdict(one.forecast.new),
                }
                for one in tested.seasons
            ],
        },
    }
