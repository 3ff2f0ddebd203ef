"""trunkwatch card."""

import datetime as dt
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.options import block_option, definition_option, echo_notes, say, today, vineyard_type

_TASKS = ("key", "make", "show", "withdraw", "check")


@click.command("card")
@click.argument("path", type=vineyard_type)
@click.argument("task", type=click.Choice(_TASKS))
@block_option
@definition_option
@click.option(
    "--for",
    "kinds",
    multiple=True,
    type=click.Choice(["pool", "forecast"]),
    help="With make and withdraw: what the card is for; may be given twice.",
)
@click.option(
    "--key",
    "key_file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="With make and withdraw: your key.",
)
@click.option("--until", default="", metavar="DATE", help="With make: last day on which the card may be used.")
@click.option(
    "--region",
    default="",
    metavar="WORD",
    help="With make: a word of the pool's list of regions, never a place; none is told if left out.",
)
@click.option(
    "--add",
    "add",
    multiple=True,
    type=click.Choice(["rootstock", "training"]),
    help="With make: what a pool card tells beside cultivar and five years that hold the planting.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="With make and withdraw: where cards go.  [default: cards]",
)
@click.option("--yes", is_flag=True, help="With make: write without asking.")
def command(path: Path, task: str, **options: Any) -> None:
    """Block cards: counts of a block, without name or place, that leave you in place of the records.

    \b
    key       PATH is your key: make it where there is none, and show what
              the keeper of a pool lists
    make      PATH is a vineyard: show all that would leave, ask, write it
    show      PATH is a card: show it whole
    withdraw  PATH is a card, or a vineyard with --block: write a void card,
              which takes it back for good
    check     PATH is a card or a folder of cards: which count, and why
              the others do not

    A pool card goes to whoever keeps a pool, for tables over five growers or more. A forecast card goes to other growers, whose
    forecasts lean on it. The key never leaves you: it signs cards and makes the names on them. Keep a copy of it; without it
    nothing can be withdrawn, and the card ends on its last day only.

    \b
    Example:
      trunkwatch card my.key key
      trunkwatch card my_vines.gpkg make --block North --for pool --region hills --until 2027-12-31 --key my.key
      trunkwatch card cards check
    """
    {"key": _key, "make": _make, "show": _show, "withdraw": _withdraw, "check": _check}[task](path, options)


def _key(path: Path, _options: dict[str, Any]) -> None:
    from trunkwatch.cards.card import KINDS
    from trunkwatch.cards.keys import made_key, read_key

    there = path.exists()
    key = read_key(path) if there else made_key(path)
    if not there:
        say(f"{path} is your key: keep it to yourself, and keep a copy.")
    for kind in KINDS:
        say(f"{kind}: {key.public(kind)}")
    say("Give these two to whoever keeps a folder of cards, for growers.txt. They tell nothing of your vineyard.")


def _make(path: Path, options: dict[str, Any]) -> None:
    from trunkwatch.cards.card import card_file, card_text
    from trunkwatch.cards.folder import REGIONS, listed_words
    from trunkwatch.cards.words import preview_lines
    from trunkwatch.errors import RecordError
    from trunkwatch.spreadsheets.write import replace_file

    if not options["kinds"] or options["key_file"] is None or not options["until"]:
        raise click.UsageError("make takes --for pool or --for forecast, --key FILE and --until DATE")
    out = options["out"] or Path("cards")
    regions = listed_words(out / REGIONS)
    if options["region"] and regions is not None and options["region"] not in regions:
        raise RecordError(f"region {options['region']!r} is none of the pool's: {', '.join(regions)}")
    cards = list(_cards(path, options))
    for card in cards:
        click.echo(f"This is all that leaves, in {card_file(card)}:")
        click.echo(card_text(card))
        for line in preview_lines(card):
            say(line)
    if not options["yes"] and not click.confirm(f"Write {len(cards)} card(s) into {out}?", err=True):
        click.echo("nothing was written", err=True)
        return
    out.mkdir(parents=True, exist_ok=True)
    for card in cards:
        replace_file(out / card_file(card), card_text(card).encode())
        click.echo(str(out / card_file(card)))


def _cards(path: Path, options: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Make the cards that were asked for; where all blocks are meant, one that has nothing to tell is named."""
    from trunkwatch.block import open_vineyard
    from trunkwatch.block.opening import Readings
    from trunkwatch.cards.keys import read_key
    from trunkwatch.cards.make import Chosen, forecast_card, pool_card
    from trunkwatch.errors import RecordError

    key = read_key(options["key_file"])
    chosen = Chosen(options["until"], _moment(), options["region"], tuple(dict.fromkeys(options["add"])))
    with open_vineyard(path) as store:
        readings = Readings(store)
        labels = store.blocks() if options["block"] is None else (options["block"],)
        for label in labels:
            for kind in dict.fromkeys(options["kinds"]):
                try:
                    season = readings.season(label, definition=options["definition"])
                    root = store.names().find(season.history.block).root
                    yield (pool_card if kind == "pool" else forecast_card)(season, root, key, chosen)
                except RecordError as error:
                    if options["block"] is not None:
                        raise
                    echo_notes((f"no {kind} card: {error}",))


def _moment() -> str:
    return dt.datetime.now(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _show(path: Path, _options: dict[str, Any]) -> None:
    from trunkwatch.cards.words import preview_lines

    card, raw = _read(path)
    click.echo(raw.decode())
    for line in preview_lines(card.told):
        say(line)


def _read(path: Path) -> tuple[Any, bytes]:
    from trunkwatch.cards.card import BadCardError, read_card
    from trunkwatch.cards.folder import LeftCard
    from trunkwatch.cards.words import left_line
    from trunkwatch.errors import FileError, RecordError

    try:
        raw = path.read_bytes()
        return read_card(raw), raw
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror}") from error
    except BadCardError as error:
        raise RecordError(left_line(LeftCard(path.name, error.why, error.value))) from error


def _withdraw(path: Path, options: dict[str, Any]) -> None:
    from trunkwatch.cards.card import card_file, card_text
    from trunkwatch.cards.keys import read_key
    from trunkwatch.cards.make import void_card
    from trunkwatch.errors import AccessError
    from trunkwatch.spreadsheets.write import replace_file

    if options["key_file"] is None:
        raise click.UsageError("withdraw takes --key FILE, the key that signed the card")
    key = read_key(options["key_file"])
    named: Sequence[tuple[str, str]]
    if path.suffix.casefold() == ".json":
        card, _ = _read(path)
        if card.grower != key.public(card.kind):
            raise AccessError(
                f"{path.name} was signed with another key than {options['key_file']}: only that one can withdraw it"
            )
        named, out = [(card.kind, card.id)], options["out"] or path.parent
    else:
        if not options["kinds"]:
            raise click.UsageError("withdraw of a vineyard's block takes --for pool or --for forecast")
        from trunkwatch.block import open_vineyard
        from trunkwatch.block.opening import block_line

        with open_vineyard(path) as store:
            root = store.names().find(str(block_line(store, options["block"])["block"])).root
        named, out = [(kind, key.block_id(kind, root)) for kind in options["kinds"]], options["out"] or Path("cards")
    out.mkdir(parents=True, exist_ok=True)
    for kind, block in named:
        void = void_card(kind, block, key, _moment())
        replace_file(out / card_file(void), card_text(void).encode())
        click.echo(str(out / card_file(void)))
    say(
        "Send it to all who have the card. From then on it counts in no table and no forecast; what was given out before stays. It is for good: a new card of the block takes a new key."
    )


def _check(path: Path, _options: dict[str, Any]) -> None:
    from trunkwatch.cards import read_folder
    from trunkwatch.cards.card import KINDS, Refused
    from trunkwatch.cards.words import left_line
    from trunkwatch.errors import RecordError

    if not path.is_dir():
        card, _ = _read(path)
        say(f"{path.name}: a {card.kind} card, whole and signed with the key {card.grower[:16]}...")
        return
    refused = set()
    for kind in KINDS:
        found = read_folder(path, kind, today())
        growers = len({card.grower for card in found.cards})
        say(
            f"{kind}: {len(found.cards)} card(s) of {growers} grower(s) count{'' if found.vouched else '; there is no growers.txt that vouches for them'}"
        )
        for one in found.left:
            if one.why is not Refused.OTHER_KIND and left_line(one) not in refused:
                say(left_line(one), "  ")
        refused |= {left_line(one) for one in found.refused}
    if refused:
        raise RecordError(f"{len(refused)} of the files in {path} are no cards that can be used")
