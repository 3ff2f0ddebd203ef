"""trunkwatch sheet."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli import options
from trunkwatch.cli.figures import check_ending, check_printed, write_printed
from trunkwatch.cli.options import (
    block_option,
    echo_notes,
    out_option,
    season_option,
    seed_option,
    size_option,
    vineyard_argument,
    write_page,
)


@click.command("sheet")
@vineyard_argument
@block_option
@season_option
@click.option("--phone", is_flag=True, help="The page for a phone in the row, one file.")
@click.option(
    "--app",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="The same as an app to install, for a web host with https.",
)
@click.option(
    "--language",
    type=click.Choice(["en", "es"]),
    default="en",
    show_default=True,
    help="Of the lists for the crew; that the phone page opens in.",
)
@click.option(
    "--look",
    type=click.Choice(["dormant", "spring", "summer"]),
    help="Phone: which symptoms come first (those of today's inspection). Recheck: the inspection to be repeated (the season's last).",
)
@click.option(
    "--paper",
    type=click.Choice(["findings", "strip", "lists", "buds"]),
    help="A list for findings, rows as strips, the lists for the crew, or a form to count cut buds on.",
)
@size_option
@click.option(
    "--recheck",
    type=click.IntRange(2),
    metavar="N",
    help="Draw N vines for a blind recheck, half of them with findings; on paper, or with --phone or --app.",
)
@seed_option
@out_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    phone: bool,
    app: Path | None,
    language: str,
    look: str | None,
    paper: str | None,
    size: str | None,
    recheck: int | None,
    seed: int,
    out: Path | None,
) -> None:
    """Write a sheet to take into the row: for a phone, on paper, for the crew, or for a recheck.

    Without --season a phone is for today's inspection, paper for the last season on record.

    An ending .pdf of --out prints a sheet of paper, where a browser engine (Chromium or Chrome) is
    installed.

    \b
    Example:
      trunkwatch sheet my_vines --block North --phone --out north.html
      trunkwatch sheet my_vines --block North --paper findings --size Letter --out findings.html
      trunkwatch sheet my_vines --block North --paper buds --out buds.html
      trunkwatch sheet my_vines --block North --paper lists --language es --out lists.html
      trunkwatch sheet my_vines --block North --paper lists --out crew.pdf
      trunkwatch sheet my_vines --block North --recheck 40 --look summer --out second_look.html
      trunkwatch sheet my_vines --block North --recheck 40 --look summer --phone --out recheck.html
    """
    on_phone = phone or app is not None
    if sum([phone, app is not None, paper is not None]) + (recheck is not None and not on_phone) != 1:
        raise click.UsageError(
            "which sheet? one of --phone, --app FOLDER, --paper KIND, --recheck N; a recheck on the phone is --recheck N --phone"
        )
    if phone:
        check_ending(out, (".html",))
    else:
        check_printed(out)
    from trunkwatch.block import open_vineyard
    from trunkwatch.cli.file_names import file_stems
    from trunkwatch.intake.handed_over import block_mark
    from trunkwatch.surveys.to_walk import to_walk
    from trunkwatch.vineyard.manner import in_force

    with open_vineyard(vineyard) as store:
        now = _now(store, block) if on_phone and season is None and recheck is None else (season, look)
        found = to_walk(store, block, now[0])
        size = size or in_force().size
        page = _lists(store, found, season, size, language) if paper == "lists" else ""
        page = _buds(store, found, size) if paper == "buds" else page
        name, labels = str(found.reading.records.block.get("vineyard") or ""), store.blocks()
        mark = block_mark(store, found.history.block)
        standing = _standing(store, found, season) if on_phone else None
        cut_buds = _bud_facts(store, found) if on_phone else None
    stem = f"{file_stems(labels)[found.history.block]}_{found.season}"
    drawn = _drawn(found, recheck, look=look, seed=seed) if recheck is not None else None
    if on_phone:
        _phone(
            found,
            name,
            labels,
            mark,
            standing,
            cut_buds,
            drawn,
            app=app,
            language=language,
            look=look or now[1] or "summer",
            out=out or Path(f"{'recheck' if drawn else 'phone'}_{stem}.html"),
        )
        return
    if drawn is not None:
        _second_look(drawn, size=size, out=out or Path(f"second_look_{stem}.html"))
        return
    write_printed(out or Path(f"{paper}_{stem}.html"), page or _paper(found, str(paper), size))


def _now(store: Any, block: str | None) -> tuple[int, str]:
    """Return the season and the inspection that today belongs to where the block lies: a phone is carried from today on."""
    from trunkwatch.block.opening import block_line
    from trunkwatch.vineyard.calendar import hemisphere_of, look_of, season_of

    side = hemisphere_of(block_line(store, block))
    return season_of(options.today(), side), look_of(options.today(), side)


def _lists(store: Any, found: Any, season: int | None, size: Any, language: str) -> str:
    """Write the lists for the crew: the work that is planned, and what stands on its vines."""
    from trunkwatch.sheets.crew_lists import crew_lists, last_season

    through = last_season(found, options.today())
    return crew_lists(
        found.reading, through, size=size, language=language, through=through, standing=_standing(store, found, season)
    )


def _standing(store: Any, found: Any, season: int | None) -> Any:
    """Return what stands on the vines: of a season that was asked for as it was then, else what all pages say now."""
    from trunkwatch.block import load
    from trunkwatch.sheets.crew_lists import standing_of
    from trunkwatch.surveys.to_walk import last_noted

    noted = last_noted(found.reading)
    on_record = noted is not None and (season is None or season <= noted)
    looked_at = (
        load(store, found.history.block, season if on_record else None) if found.history.counted_seasons else None
    )
    return standing_of(looked_at)


def _buds(store: Any, found: Any, size: Any) -> str:
    from trunkwatch.cold.of_store import cultivars_of
    from trunkwatch.sheets.bud_form import bud_form

    return bud_form(found.history.block, found.season, cultivars_of(store, found.history.block), size=size)


def _bud_facts(store: Any, found: Any) -> Any:
    from trunkwatch.sheets.field_buds import bud_facts

    return bud_facts(store, found)


def _drawn(found: Any, vines: int, *, look: str | None, seed: int) -> Any:
    from trunkwatch.sheets.second_look import draw_second_look

    return draw_second_look(found.reading, found.season, vines, look=look, rng=seed)


def _second_look(drawn: Any, *, size: Any, out: Path) -> None:
    from trunkwatch.sheets.second_look import second_look_page
    from trunkwatch.sheets.second_look_words import second_look_notes

    write_printed(out, second_look_page(drawn, size=size))
    echo_notes(second_look_notes(drawn))


def _paper(found: Any, paper: str, size: Any) -> str:
    from trunkwatch.sheets.paper import findings_list, row_strips

    if paper == "strip":
        return row_strips(found, size=size)
    return findings_list(
        found.history, found.season, training=str(found.reading.records.block.get("training") or ""), size=size
    )


def _phone(
    found: Any,
    name: str,
    labels: tuple[str, ...],
    mark: Any,
    standing: Any,
    cut_buds: Any,
    drawn: Any,
    *,
    app: Path | None,
    language: str,
    look: str,
    out: Path,
) -> None:
    from trunkwatch.sheets.field_page import field_data, field_page, vineyard_id, write_app_folder

    data = field_data(
        found,
        identity=vineyard_id(name, labels),
        look=look,
        language=language,
        mark=mark,
        today=options.today(),
        standing=standing,
        buds=cut_buds,
        recheck=drawn,
    )
    if app is not None:
        for path in write_app_folder(data, app):
            click.echo(str(path))
    else:
        write_page(out, field_page(data))
    if drawn is not None:
        from trunkwatch.sheets.second_look_words import second_look_notes

        echo_notes(second_look_notes(drawn))
