"""The options of commands that take the user's own forecast of the coming days."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

__all__ = ["days_ahead", "forecast_options"]

F = TypeVar("F", bound=Callable[..., Any])
_file = click.option("--forecast", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
                     help="Your own forecast of the coming days, with a station's headings; never stored.")  # fmt: skip
_units = click.option("--forecast-units", default="", metavar="UNITS",
                      help="Of a forecast whose headings name none: 'C, mm', 'F, in'.")  # fmt: skip
_columns = click.option("--forecast-map", multiple=True, metavar="NAME=COLUMN",
                        help="Which column of the forecast is date, t_min_c, t_max_c, rain_mm, snow_cm; may be repeated.")  # fmt: skip


def forecast_options(command: F) -> F:
    """Add the options of a forecast."""
    return _file(_units(_columns(command)))


def days_ahead(path: Path | None, units: str, columns: tuple[str, ...]) -> Any:
    """Read the forecast; None without one.

    Raises
    ------
    UsageError
        If it is said how to read a forecast, and there is none.
    """
    from trunkwatch.spreadsheets.days_ahead import read_days_ahead

    if path is None:
        if units or columns:
            raise click.UsageError(
                "--forecast-units and --forecast-map say how to read a forecast: give it with --forecast FILE"
            )
        return None
    named = {}
    for text in columns:
        name, mark, heading = (part.strip() for part in text.partition("="))
        if not (name and mark and heading):
            raise click.BadParameter(f"{text!r}: NAME=COLUMN is needed", param_hint="--forecast-map")
        named[name] = heading
    return read_days_ahead(path, named, units)
