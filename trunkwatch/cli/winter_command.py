"""trunkwatch winter."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.every_block import all_blocks_option, go_through, refuse_with
from trunkwatch.cli.options import (
    block_option,
    definition_option,
    emit_json,
    json_option,
    season_option,
    vineyard_argument,
)


@click.command("winter")
@vineyard_argument
@block_option
@all_blocks_option
@season_option
@definition_option
@json_option
def command(
    vineyard: Path, block: str | None, season: int | None, definition: str | None, as_json: bool, all_blocks: bool
) -> None:
    """Winter or disease: every sign of a season with what it speaks for.

    The winter is set beside the others on file (weather.csv): by how far its nights came to what the buds stood, where a model of
    hardiness serves, and by buds that were counted; else by its coldest night. The new cases are set beside those of other seasons. Signs that come more
    often with one than with the other are weighed together; where they do not weigh enough it says so.

    \b
    Example:
      trunkwatch winter sample_blocks --block Hollow --season 2021
    """
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.cold.margins import margins_of
    from trunkwatch.pattern.cold_or_disease import winter_sheet

    if all_blocks:
        refuse_with(block=block)
    with open_vineyard(vineyard) as store:

        def read(label: str | None) -> Any:
            loaded = load(store, label, None, definition=definition)
            wanted = season or loaded.season
            loaded.history.index_of(wanted)
            name = loaded.history.block
            margins = margins_of(store, name, loaded.history.seasons[-1])
            return winter_sheet(replace(loaded, season=wanted), store.frame("weather", name), margins)

        if all_blocks:
            go_through(store.blocks(), read, _show, _data if as_json else None)
            return
        found = read(block)
    if as_json:
        emit_json(_data(found))
    else:
        _show(found)


def _data(found: Any) -> dict[str, Any]:
    from trunkwatch.pattern.winter_words import sign_words

    return {
        "block": found.block,
        "season": found.season,
        "answer": found.answer,
        "look_at": found.look_at,
        "new_cases": found.new,
        "later_seasons": found.later,
        "cold_over_disease": found.weight,
        "signs": [
            {
                "name": one.name,
                "speaks": one.speaks,
                "found": one.state,
                "cold_over_disease": one.weight,
                "text": sign_words(one),
            }
            for one in found.signs
        ],
    }


def _show(found: Any) -> None:
    from trunkwatch.pattern.winter_words import winter_sentences

    click.echo(f"Block {found.block}: winter or disease")
    for sentence in winter_sentences(found):
        click.echo(f"  {sentence}")
