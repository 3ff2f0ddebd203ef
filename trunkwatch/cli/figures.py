"""Pages and figures written by the ending of their file: HTML, SVG, PNG, PDF."""

from collections.abc import Callable
from pathlib import Path

import click

from trunkwatch.cli.options import write_page

__all__ = ["FIGURES", "PAGES", "check_ending", "check_printed", "write_figure", "write_printed"]

#: Endings of figures and of pages.
FIGURES = (".html", ".svg", ".png", ".pdf")
PAGES = (".html", ".pdf")


def check_ending(out: Path | None, known: tuple[str, ...]) -> str:
    """Return the ending of a file; refuse one that is not known, before anything is worked out.

    Raises
    ------
    FileError
        With the endings that are known.
    """
    from trunkwatch.errors import FileError

    ending = out.suffix.casefold() if out is not None else known[0]
    if ending == ".htm":
        ending = ".html"
    if ending not in known:
        raise FileError(f"{out} has the ending {ending!r}; expected: one of {', '.join(known)}")
    return ending


def check_printed(out: Path | None) -> None:
    """Refuse, before a page is worked out, an ending that is not known or that this machine cannot print."""
    if check_ending(out, PAGES) == ".pdf":
        from trunkwatch.cli.printing import engine

        engine()


def write_figure(out: Path, drawing: str, page: Callable[[], str]) -> None:
    """Write a drawing by the ending of its file: a page around it, the drawing, or an image or sheet of it.

    Raises
    ------
    FileError
        If the ending is not known.
    MissingExtraError
        If an image or a sheet needs a browser engine and none is installed.
    """
    ending = check_ending(out, FIGURES)
    if ending == ".svg":
        write_page(out, f'<?xml version="1.0" encoding="UTF-8"?>\n{_alone(drawing)}\n')
    elif ending == ".html":
        write_page(out, page())
    else:
        from trunkwatch.cli.printing import image_of, sheet_of_drawing
        from trunkwatch.spreadsheets.write import replace_file

        data = image_of(_alone(drawing)) if ending == ".png" else sheet_of_drawing(_alone(drawing))
        out.parent.mkdir(parents=True, exist_ok=True)
        replace_file(out, data)
        click.echo(str(out))


def write_printed(out: Path, page: str, *, err: bool = False) -> None:
    """Write a page, or print it to PDF where the file is to be one, and say where; errors as of `write_figure`."""
    from trunkwatch.spreadsheets.write import replace_file

    if check_ending(out, PAGES) == ".pdf":
        from trunkwatch.cli.printing import printed

        data = printed(page)
    else:
        data = page.encode()
    out.parent.mkdir(parents=True, exist_ok=True)
    replace_file(out, data)
    click.echo(str(out), err=err)


def _alone(drawing: str) -> str:
    """Return a drawing as a file of its own takes it: with the name of its language."""
    return (
        drawing
        if "xmlns=" in drawing.split(">", 1)[0]
        else drawing.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    )
