"""trunkwatch settings."""

from pathlib import Path

import click

from trunkwatch.cli.options import block_option, emit_json, json_option, say, vineyard_argument

_MEANS = {"spelling": "Spelling", "units": "Units", "paper": "Paper"}


@click.command("settings")
@vineyard_argument
@block_option
@click.option(
    "--spelling", type=click.Choice(["american", "british", "australian"]), help="Of pages, sheets and terminal."
)
@click.option(
    "--units", type=click.Choice(["metric", "us"]), help="Meters and Celsius, or feet, inches and Fahrenheit."
)
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="Of sheets to print.")
@click.option("--vineyard", "owner", metavar="NAME", help="Vineyard, where the file holds several.")
@json_option
def command(vineyard: Path, block: str | None, owner: str | None, *, as_json: bool, **wished: str | None) -> None:
    """Show how the people of a vineyard are spoken to, or set it: spelling, units and paper.

    Records stay metric, and codes, columns, --json and exports never change. What is typed is in the unit
    that the field names: heights of cuts are in cm.

    \b
    Example:
      trunkwatch settings my_vines
      trunkwatch settings my_vines --units us --spelling american --paper Letter
    """
    from trunkwatch.block import open_vineyard
    from trunkwatch.block.spoken_to import manner_of, settings_of
    from trunkwatch.intake.settings import set_manner
    from trunkwatch.vineyard.manner import SETTINGS, speaking

    given = {name: value.casefold() for name, value in wished.items() if value is not None}
    if given:
        set_manner(vineyard, given, vineyard=owner)
    with open_vineyard(vineyard) as store:
        chosen = block or _block_of(store, owner)
        manner, written = manner_of(store, chosen), settings_of(store, chosen)
    if as_json:
        emit_json({name: {"value": getattr(manner, name), "set": name in written} for name in SETTINGS})
        return
    with speaking(manner):
        for name in SETTINGS:
            value = manner.size if name == "paper" else getattr(manner, name)
            say(f"{_MEANS[name]}: {value}" + ("" if name in written else " (not set)"))


def _block_of(store: "object", owner: str | None) -> str | None:
    """Return a block of a vineyard that is named."""
    from trunkwatch.errors import RecordError

    if owner is None:
        return None
    names = store.names()  # type: ignore[attr-defined]
    for one in names.blocks:
        if owner in names.names_of_vineyard(one.vineyard):
            return str(names.outside(one))
    raise RecordError(f"no vineyard {owner!r}; expected: one of {', '.join(filter(None, names.vineyards))}")
