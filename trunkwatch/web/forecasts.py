"""A grower's own forecast at the desk: brought once for everybody here, kept in memory, and always shown with its age.

It is the desk's and not one browser's: who plans in the morning and who ticks rows at noon look at one plan. It is no record, so that
it never reaches the vineyard file; it ends with the program, with the next one, or when somebody leaves it out.
"""

import datetime as dt
import re
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd
from flask import Blueprint, current_app, redirect, render_template, request
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.access.audit import Done
from trunkwatch.cold.ahead import MOST_DAYS, days_that_count, refuse_other_days
from trunkwatch.cold.words import day_words
from trunkwatch.errors import FaultyNotesError, FileError, TrunkwatchError
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.days_ahead import read_days_ahead
from trunkwatch.web.allowed import done, visitor
from trunkwatch.web.imports import turn_to_read
from trunkwatch.web.security import own_page
from trunkwatch.web.vineyard import today

__all__ = ["Brought", "Forecasts", "forecast_in_use", "forecast_lines", "forecasts", "without_options"]

forecasts = Blueprint("forecasts", __name__)

ENDINGS = (".csv", ".xlsx", ".xlsm", ".txt")
#: Lines of a forecast beyond which a file is something else: the days of a station, which are records and come in by Import.
MOST_LINES = 400
#: Letters that are taken of what is pasted, and hours after which a forecast is called old (our own convention).
MOST_PASTED, OLD_HOURS = 200_000, 24
MOST_FAULTS = 20
PASTED = "what was pasted"


@dataclass(frozen=True, slots=True)
class Brought:
    """A forecast that somebody brought: its days, the name of the file, who brought it (empty where nobody is named), and when."""

    days: pd.DataFrame = field(repr=False)
    name: str
    who: str
    at: dt.datetime


@dataclass(slots=True)
class Forecasts:
    """The forecast of this desk; None where there is none."""

    held: Brought | None = None


def now() -> dt.datetime:
    """Return the time on this machine."""
    return dt.datetime.now().astimezone()


def _here() -> Forecasts:
    found: Forecasts = current_app.extensions["forecast"]
    return found


def forecast_in_use(day: dt.date) -> pd.DataFrame | None:
    """Return the days of the forecast, where one of them still counts on a day."""
    held = _here().held
    return held.days if held is not None and days_that_count(held.days, day) else None


def forecast_lines(day: dt.date) -> tuple[str, ...]:
    """Say which forecast is in use, who brought it and how old it is; nothing where there is none."""
    held = _here().held
    if held is None:
        return ()
    old = now() - held.at
    by = f" by {held.who}" if held.who else ""
    lines = [
        f"Your own forecast, {held.name}: brought{by} on {day_words(held.at.date(), year=False)} at {held.at:%H:%M}, {_age(old)}."
    ]
    if not days_that_count(held.days, day):
        lines.append(f"None of its days lies 1 to {MOST_DAYS} days after today: it counts for nothing any more.")
    elif old > dt.timedelta(hours=OLD_HOURS):
        lines.append("That is more than a day: bring a newer one before you plan by it.")
    return tuple(lines)


def _age(old: dt.timedelta) -> str:
    minutes = int(old.total_seconds() // 60)
    for size, word in ((1440, "day"), (60, "hour"), (1, "minute")):
        if minutes >= size:
            many = minutes // size
            return f"{many} {word}{'s' if many != 1 else ''} ago"
    return "just now"


@forecasts.get("/forecast")
def ask() -> str:
    """Show the form, and which forecast is in use."""
    return _page(request.args.get("next", ""), [])


def _page(back: str, wrong: list[str]) -> str:
    return render_template(
        "forecast.html",
        back=own_page(back or "/weeks"),
        wrong=wrong,
        lines=forecast_lines(dt.date.fromisoformat(today())),
        most=MOST_DAYS,
        form=request.form,
    )


@forecasts.post("/forecast")
def bring() -> BaseResponse | tuple[str, int]:
    """Take a forecast, from a file or pasted, in place of the one before."""
    back = request.form.get("next", "")
    sent, pasted = request.files.get("file"), request.form.get("pasted", "")
    try:
        if sent is not None and sent.filename:
            name = Path(sent.filename.replace("\\", "/")).name[:80]
            ending = Path(name).suffix.casefold()
            if ending not in ENDINGS:
                raise FileError(f"{name!r}: a file that ends in {', '.join(ENDINGS)} is needed")
            days = _read(sent.read(), ending, name)
        elif pasted.strip():
            if len(pasted) > MOST_PASTED:
                raise FileError(f"{len(pasted):,} letters were pasted; at most {MOST_PASTED:,} are taken: bring a file")
            days, name = _read(pasted.strip().encode(), ".csv", PASTED), PASTED
        else:
            raise FileError("there is no file and nothing is pasted: choose a file, or paste its lines")
        refuse_other_days(days, dt.date.fromisoformat(today()))
    except FaultyNotesError as error:
        return _page(back, [without_options(str(one)) for one in error.faults[:MOST_FAULTS]]), 422
    except TrunkwatchError as error:
        text = without_options(str(error))
        return _page(back, [text[:1].upper() + text[1:]]), 422
    _here().held = Brought(days, name, visitor().name, now())
    done(Done.FORECAST, file=name, days=len(days))
    return redirect(own_page(back or "/weeks"))


@forecasts.post("/forecast/leave")
def leave() -> BaseResponse:
    """Leave the forecast out, for everybody."""
    if _here().held is not None:
        _here().held = None
        done(Done.NO_FORECAST)
    return redirect(own_page(request.form.get("next", "") or "/weeks"))


def _read(raw: bytes, ending: str, name: str) -> pd.DataFrame:
    """Read a forecast in a process with limits, as every other file that comes to the desk.

    Raises
    ------
    TrunkwatchError
        If it cannot be read, or is no forecast.
    """
    columns = _columns(request.form.get("columns", ""))
    units = request.form.get("units", "")[:40]
    with tempfile.TemporaryDirectory(prefix="trunkwatch-forecast-") as folder:
        path = Path(folder) / f"forecast{ending}"
        path.write_bytes(raw)
        try:
            with turn_to_read():
                days: pd.DataFrame = apart(read_days_ahead, path, columns, units)
        except FaultyNotesError:
            raise
        except TrunkwatchError as error:
            raise type(error)(str(error).replace(path.name, name)) from error
    if len(days) > MOST_LINES:
        raise FileError(
            f"{name} holds {len(days):,} days, more than a forecast can ({MOST_LINES}): the measured days of a station come in by Import"
        )
    return days


def _columns(text: str) -> dict[str, str]:
    """Read which column is which, NAME=HEADING, parted by semicolons.

    Raises
    ------
    FileError
        If a part is none.
    """
    found = {}
    for part in filter(None, (one.strip() for one in text[:400].split(";"))):
        name, mark, heading = (one.strip() for one in part.partition("="))
        if not (name and mark and heading):
            raise FileError(f"Columns: {part!r} cannot be read; write t_min_c=Low; t_max_c=High")
        found[name] = heading
    return found


#: What the terminal calls an option, and what the desk calls the same.
_OF_DESK = (
    (r"--(?:forecast-)?map (\w+)=HEADING says which( it is)?", r"say which under Columns: \1=its heading"),
    (r"give it as in --units '([^']+)' or --units '([^']+)'", r"choose it under Units"),
    (r"--units (\w) turns it", r"choose F under Units"),
    (r"\(--stand-in, one of ([^)]+)\)", r'(field "Stand-in": \1)'),
    (r"\(--stand-in (\w+)\)", r'(field "Stand-in")'),
    (r"load the station(?:'|&#39;)s days( of past years)?( from \w+ on)? \(`trunkwatch load[^`]*`\)", r"bring in the days of a station\1\2 by Import"),
    (r", or give --date", ""),
    (r" \((--[a-z-]+(, )?)+\)", ""),
)  # fmt: skip


def without_options(line: str) -> str:
    """Return a sentence of the terminal with the desk's own word for each option that it names."""
    for option, word in _OF_DESK:
        line = re.sub(option, word, line)
    return line
