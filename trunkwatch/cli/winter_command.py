"""trunkwatch winter."""

from pathlib import Path

import click

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
@season_option
@definition_option
@json_option
def command(vineyard: Path, block: str | None, season: int | None, definition: str | None, as_json: bool) -> None:
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
    from trunkwatch.pattern.winter_words import sign_words, winter_sentences

    with open_vineyard(vineyard) as store:
        loaded = load(store, block, None, definition=definition)
        wanted = season or loaded.season
        from dataclasses import replace

        loaded.history.index_of(wanted)
        name = loaded.history.block
        margins = margins_of(store, name, loaded.history.seasons[-1])
        found = winter_sheet(replace(loaded, season=wanted), store.frame("weather", name), margins)
    if as_json:
        emit_json({"block": found.block, "season": found.season, "answer": found.answer, "look_at": found.look_at,
                   "new_cases": found.new, "later_seasons": found.later, "cold_over_disease": found.weight,
                   "signs": [{"name": one.name, "speaks": one.speaks, "found": one.state, "cold_over_disease": one.weight,
                              "text": sign_words(one)} for one in found.signs]})  # fmt: skip
        return
    click.echo(f"Block {found.block}: winter or disease")
    for sentence in winter_sentences(found):
        click.echo(f"  {sentence}")
