"""The commands run on written tables, and what they print of each vine parsed back from JSON and HTML as printed."""

import json
import re
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from unittest.mock import patch

from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

Vine = tuple[str, int]

#: No limit on crew-days and on the loss of a year, so that all that is proposed is printed.
NO_LIMITS = "name,value\nmost_loss_pct,100\n"
#: Invented prices, with which strategies are compared and the work follows the best of them.
PRICES = "price_per_t,900\nyield_t_ha,9\ncrew_hour,28\nreplant_vine,11\n"
SPACING = {"vine_spacing_m": 1.5, "row_spacing_m": 2.5}


class NothingPrintedError(Exception):
    """A command refused; what it said."""


class Printed:
    """The commands on one block: each returns what it prints, parsed.

    Parameters
    ----------
    folder : Path
        Where pages go.
    block, definition, season
        As the commands take them; season None where none is asked for.
    """

    def __init__(self, folder: Path, block: str, definition: str, season: int | None) -> None:
        self._folder, self._block = folder, block
        self._season = [] if season is None else ["--season", str(season)]
        self._definition = ["--definition", definition]

    def _run(self, *words: str) -> str:
        done = CliRunner().invoke(
            main, [words[0], "vineyard", "--block", self._block, *words[1:]], catch_exceptions=False
        )
        if done.exit_code:
            raise NothingPrintedError(done.output.strip())
        return done.stdout

    def _page(self, *words: str) -> str:
        page = self._folder / "page.html"
        self._run(*words, "--out", str(page))
        return page.read_text("utf-8")

    def map(self) -> tuple[dict[str, Any], str]:
        """Return the data of the map page, and the sentence that stands for its picture."""
        page = self._page("map", *self._season, *self._definition)
        (sentence,) = re.findall(r"<desc[^>]*>(.*?)</desc>", page)
        return _data(page), str(sentence)

    def plan(self, *, prices: bool) -> dict[str, Any]:
        """Return the plan without limits of hours and loss, by the rules alone or by money."""
        costs = self._folder / "costs.csv"
        costs.write_text(NO_LIMITS + (PRICES if prices else ""))
        limits = ["--costs", str(costs), "--crew-days", "10000", "--futures", "20"]
        return dict(json.loads(self._run("plan", *self._season, *self._definition, *limits, "--json")))

    def winter_list(self) -> list[dict[str, Any]]:
        """Return the vines of this winter with what is printed of each, those that are only flagged too."""
        found = json.loads(self._run("answer", *self._season, *self._definition, "--details", "--json"))
        return list(found["list"])

    def look_again(self) -> set[Vine]:
        """Return the vines that the list of this winter says are to be looked at again, under the usual definition."""
        try:
            found = json.loads(self._run("answer", *self._season, "--details", "--json"))
        except NothingPrintedError:
            return set()
        return {
            (line["row"], line["position"]) for line in found["list"] if "look again" in (line["do"], *line["also"])
        }

    def crew_lists(self) -> dict[str, list[dict[str, str]]]:
        """Return the lines of the lists for the crew, by the name of the list."""
        page = self._page("sheet", *self._season, "--paper", "lists")
        names = re.findall(r"<h1>(.*?): block ", page)
        return {
            name: [dict(zip(table[0], line, strict=True)) for line in table[1:]]
            for name, table in zip(names, Tables.of(page), strict=True)
        }

    def phone(self, walked: int) -> dict[str, Any]:
        """Return the data of the page for a phone in a season that is to be walked."""
        return _data(self._page("sheet", "--season", str(walked), "--phone"))

    def history(self, vine: Vine) -> list[dict[str, str]]:
        """Return every record of a vine as printed."""
        return list(json.loads(self._run("history", "--row", vine[0], "--position", str(vine[1]), "--json")))

    def cases(self) -> dict[Vine, str]:
        """Return the vines behind the annual rate that show, with the day on which each was last seen."""
        found = json.loads(self._run("incidence", *self._season, *self._definition, "--explain", "annual", "--json"))
        return {(row, position): day for (row, position), day in zip(found["cases"], found["last_seen"], strict=True)}


@contextmanager
def printed_of(
    tables: dict[str, list[dict[str, Any]]], block: str, definition: str, season: int | None
) -> Iterator[Printed]:
    """Hand out the commands over tables that are in no folder: read once, for all of them."""
    store = Store.in_memory()
    spaced = {**tables, "blocks": [{**SPACING, **line} for line in tables["blocks"]]}
    store.append({name: frame_of(name, lines) for name, lines in spaced.items() if lines}, named=True)

    frames: dict[tuple[Any, ...], Any] = {}
    read = store.frame

    def frame(*names: object, **options: object) -> Any:
        """Return a table, read once for all commands; a copy each time."""
        key = *names, *sorted(options.items())
        if key not in frames:
            frames[key] = read(*names, **options)
        return frames[key].copy()

    @contextmanager
    def at_hand(*_: object, **__: object) -> Iterator[Store]:
        yield store

    with (
        tempfile.TemporaryDirectory() as folder,
        patch.object(store, "frame", frame),
        patch("trunkwatch.block.open_vineyard", at_hand),
        patch("trunkwatch.block.opening.open_vineyard", at_hand),
    ):
        yield Printed(Path(folder), block, definition, season)
    store.close()


def _data(page: str) -> dict[str, Any]:
    """Return the data that a page carries for its script."""
    (found,) = re.findall(r'<script type="application/json" id="data">(.*?)</script>', page, flags=re.DOTALL)
    return dict(json.loads(found))


class Tables(HTMLParser):
    """The tables of a page, as lines of cells of text."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[list[list[str]]] = []
        self._in_cell = False

    @classmethod
    def of(cls, page: str) -> list[list[list[str]]]:
        """Return every table of a page, its heading first."""
        parser = cls()
        parser.feed(page)
        return parser.found

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:  # noqa: ARG002 - the parser's
        if tag == "table":
            self.found.append([])
        elif tag == "tr" and self.found:
            self.found[-1].append([])
        elif tag in ("td", "th") and self.found:
            self.found[-1][-1].append("")
            self._in_cell = True

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self._in_cell = False

    def handle_data(self, data: str) -> None:
        if self._in_cell:
            self.found[-1][-1][-1] += data.replace("\xa0", " ")
