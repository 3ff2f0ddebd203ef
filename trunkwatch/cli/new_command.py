"""trunkwatch new."""

import shlex
import sys
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.figures import write_figure
from trunkwatch.cli.options import say, vineyard_argument
from trunkwatch.vineyard import codes

#: As `trunkwatch.ground.COMPASS`; written here so that the list of verbs needs no map programs.
SIDES = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")


@click.command("new")
@vineyard_argument
@click.option("--block", required=True, help="Label of the block.")
@click.option("--rows", type=click.IntRange(1, 2000), help="Number of rows.")
@click.option(
    "--vines",
    type=click.IntRange(1, 5000),
    help="Positions in each row; change rows.csv where rows differ.",
)
@click.option(
    "--from-points",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="In place of rows and vines: a point of every vine, or a line of every row. CSV with lon and lat, GeoJSON, GeoPackage, GPX, KML.",
)
@click.option("--crs", default="", metavar="EPSG:N", help="What x and y of the CSV are, such as EPSG:25832.")
@click.option("--layer", default="", help="Layer of a file that has several.")
@click.option(
    "--accuracy-m",
    type=click.FloatRange(min=0, min_open=True),
    help="Accuracy of the points, as the receiver tells it.",
)
@click.option(
    "--first-row-at",
    type=click.Choice(SIDES),
    metavar="SIDE",
    help="Side that row 1 lies at: west, north, southeast ...",
)
@click.option("--first-vine-at", type=click.Choice(SIDES), metavar="SIDE", help="End that position 1 stands at.")
@click.option("--numbering", type=click.Choice(list(codes.NUMBERING)), help="Which end rows are numbered from.")
@click.option("--no-point-is-missing", is_flag=True, help="A position without a point holds no vine.")
@click.option("--keep-points", is_flag=True, help="Keep the points of straight rows as well.")
@click.option(
    "--draw",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Only draw what the points give, as .html, .svg, .png or .pdf; nothing is written into the vineyard.",
)
@click.option("--planted", type=int, help="Year of planting.")
@click.option("--training", type=click.Choice(list(codes.TRAININGS)), help="Training system.")
@click.option("--row-spacing-m", type=float, help="Meters between rows.")
@click.option("--vine-spacing-m", type=float, help="Meters between vines in a row.")
@click.option(
    "--hemisphere",
    type=click.Choice(list(codes.HEMISPHERES)),
    help="Side of the equator; needed where no latitude is given.",
)
@click.option("--latitude", type=float, help="First vine of the first row.")
@click.option("--longitude", type=float, help="First vine of the first row.")
@click.option("--row-bearing-deg", type=float, help="The way positions grow, clockwise from true north.")
@click.option(
    "--rows-go",
    type=click.Choice(list(codes.ROWS_GO)),
    help="Where the next row lies when you face that way.",
)
@click.option("--cultivar", help="Cultivar.")
@click.option("--grafted", type=click.Choice(["yes", "no"]), help="Grafted, or on its own roots.")
@click.option(
    "--units", type=click.Choice(["metric", "us"]), help="Of pages: meters and Celsius, or feet and Fahrenheit."
)
@click.option("--spelling", type=click.Choice(["american", "british", "australian"]), help="Of pages.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="Of sheets to print.")
@click.option(
    "--vineyard", "--name", "vineyard_name", help="Name of the vineyard; that of the folder or file if left out."
)
def command(
    vineyard: Path,
    rows: int | None,
    vines: int | None,
    from_points: Path | None,
    crs: str,
    layer: str,
    accuracy_m: float | None,
    first_row_at: str | None,
    first_vine_at: str | None,
    no_point_is_missing: bool,
    keep_points: bool,
    draw: Path | None,
    vineyard_name: str | None,
    units: str | None,
    spelling: str | None,
    paper: str | None,
    **block: Any,
) -> None:
    """Start a vineyard in a folder or a .gpkg file, or add a block to one.

    The block is given by its rows and vines, or found from points: of every vine (rows may curve,
    vines may be missing), or lines of its rows with --vine-spacing-m. Draw it first, look it over,
    and turn its numbering if need be; then run it again without --draw.

    \b
    Example:
      trunkwatch new my_vines --block North --rows 12 --vines 40 \\
          --planted 2008 --training bilateral --row-spacing-m 2.5 --vine-spacing-m 1.5 \\
          --hemisphere north
      trunkwatch new my_vines --block Slope --from-points vines.csv \\
          --first-row-at west --first-vine-at south --draw slope.html
    """
    from trunkwatch.intake import start_file, start_folder
    from trunkwatch.store import is_shared, shown_path

    record = {name: value for name, value in block.items() if value is not None}
    if vineyard_name is not None:
        record["vineyard"] = vineyard_name
    is_file = vineyard.suffix.casefold() == ".gpkg" or is_shared(vineyard)
    start = start_file if is_file else start_folder
    if from_points is None:
        of_points = {
            "--crs": crs,
            "--layer": layer,
            "--accuracy-m": accuracy_m,
            "--first-row-at": first_row_at,
            "--first-vine-at": first_vine_at,
            "--no-point-is-missing": no_point_is_missing,
            "--keep-points": keep_points,
            "--draw": draw,
        }
        if named := [name for name, value in of_points.items() if value]:
            raise click.UsageError(f"{', '.join(named)} goes with --from-points FILE")
        if rows is None or vines is None:
            raise click.UsageError("--rows and --vines are needed, or --from-points FILE")
        hemisphere = _hemisphere(block["hemisphere"], block["latitude"])
        record |= {"hemisphere": hemisphere} if hemisphere else {}
        written = start(vineyard, record, rows, vines)
    else:
        laid = _laid(
            from_points,
            record,
            rows,
            vines,
            crs=crs,
            layer=layer,
            accuracy_m=accuracy_m,
            first_row_at=first_row_at or "",
            first_vine_at=first_vine_at or "",
            gaps=no_point_is_missing,
            keep_points=keep_points,
        )
        for sentence in laid.sentences:
            say(sentence)
        if draw is not None:
            _draw(laid, draw)
            return
        written = start(vineyard, laid.found.record, laid.found.rows, plants=laid.found.plants)
    wished = {"units": units, "spelling": spelling, "paper": paper}
    if any(wished.values()):
        _set(vineyard, {name: value.casefold() for name, value in wished.items() if value}, vineyard_name)
    for path in written:
        click.echo(shown_path(path))
    file, label = (
        shlex.quote(shown_path(vineyard)),
        shlex.quote(str(record["block"] if from_points is None else laid.found.record["block"])),
    )
    click.echo("Next, what was scouted and what was found, by day; or a spreadsheet of notes:", err=True)
    click.echo(f"  trunkwatch log {file} survey --block {label} --date YYYY-MM-DD --covered all", err=True)
    click.echo(
        f"  trunkwatch log {file} finding --block {label} --row 1 --position 1 --date YYYY-MM-DD --symptom dead_arm",
        err=True,
    )
    click.echo(f"  trunkwatch load {file} NOTES.xlsx", err=True)


def _set(vineyard: Path, wished: dict[str, str], name: str | None) -> None:
    from trunkwatch.intake.settings import set_manner

    set_manner(vineyard, wished, vineyard=name)


def _laid(path: Path, record: dict[str, Any], rows: int | None, vines: int | None, **how: Any) -> Any:
    """Lay a block out from a file; what the points tell cannot be given beside them."""
    from trunkwatch.intake.from_points import laid_from_file

    given = {
        "--rows": rows,
        "--vines": vines,
        "--latitude": record.get("latitude"),
        "--longitude": record.get("longitude"),
        "--row-bearing-deg": record.get("row_bearing_deg"),
        "--rows-go": record.get("rows_go"),
        "--row-spacing-m": record.get("row_spacing_m"),
        "--hemisphere": record.get("hemisphere"),
    }
    if named := [name for name, value in given.items() if value is not None]:
        raise click.UsageError(f"{', '.join(named)} and --from-points contradict each other: the points tell it")
    return laid_from_file(path, record, vine_m=record.pop("vine_spacing_m", None), **how)


def _draw(laid: Any, out: Path) -> None:
    from trunkwatch.maps.layout_page import layout_page, layout_svg

    name = str(laid.found.record["block"])
    drawing = layout_svg(
        laid.grid, laid.placed, empty=laid.found.missing, unsure=laid.doubts, line=laid.sentences[0].split(": ", 1)[-1]
    )
    write_figure(out, drawing, lambda: layout_page(drawing, name, laid.sentences, laid.doubts))


def _in_a_terminal() -> bool:
    return sys.stdin.isatty()


def _hemisphere(written: str | None, latitude: float | None) -> str | None:
    """Return the side of the equator; ask for it in a terminal where nothing tells it."""
    if latitude is not None:
        if written and written != ("south" if latitude < 0 else "north"):
            raise click.UsageError(
                f"--hemisphere {written} and --latitude {latitude:g} contradict each other: give one of them"
            )
        return written
    if written:
        return written
    if _in_a_terminal():
        return str(click.prompt("Side of the equator", type=click.Choice(list(codes.HEMISPHERES))))
    raise click.UsageError(
        "--hemisphere north or --hemisphere south is needed (or --latitude): it says which season a day belongs to "
        "and which inspection is made on it"
    )
