"""What forecast cards lend to the reports and handouts of a programme: counts in one file, that all workers read."""

import json
from collections.abc import Sequence
from hashlib import blake2b
from pathlib import Path
from typing import Any

from trunkwatch.cards import CardFolder, read_folder
from trunkwatch.cards.keys import read_key
from trunkwatch.cards.lend import lent_counts
from trunkwatch.decide.outlook import LentCounts
from trunkwatch.errors import FileError
from trunkwatch.forecast.season_counts import SeasonCounts
from trunkwatch.programme.cards_run import KEYS
from trunkwatch.spreadsheets.write import replace_file
from trunkwatch.vineyard.file_stems import file_stems

__all__ = ["LENT", "Lender", "lent_from", "without_lent"]

#: Options of work that say what is lent; the second is a place and no part of what a result is made of.
LENT = ("lent", "lent_in")


class Lender:
    """The forecast cards of a folder, as options of the work for each grower: all but the grower's own.

    Parameters
    ----------
    folder : Path
        Of the programme, whose growers' keys tell their own cards.
    names : sequence of str
        All growers of the programme in order.
    cards : Path
        Folder of cards.
    cache : Path
        Where the counts are put.
    day : str
        On which the consents of the cards must hold.

    Attributes
    ----------
    found : CardFolder
        The cards that count, and those left out.

    Raises
    ------
    FileError
        If the folder of cards cannot be read.
    """

    def __init__(self, folder: Path, names: Sequence[str], cards: Path, cache: Path, day: str) -> None:
        self._keys, self._stems, self._cache = folder / KEYS, file_stems(names), cache
        self.found: CardFolder = read_folder(cards, "forecast", day)

    def options(self, grower: str) -> dict[str, Any]:
        """Return the options of work that leans on the cards of others.

        Raises
        ------
        FileError
            If the counts cannot be written, or the grower's key cannot be read.
        """
        path = self._keys / f"{self._stems[grower]}.key"
        own = read_key(path).public("forecast") if path.exists() else ""
        lent = lent_counts(card for card in self.found.cards if card.grower != own)
        told = json.dumps(
            [
                {
                    "definition": one.definition,
                    "grower": one.grower,
                    "seasons": [season.as_data() for season in one.seasons],
                }
                for one in lent
            ]
        )
        mark = blake2b(told.encode(), digest_size=16).hexdigest()
        place = self._cache / f"lent-{mark}.json"
        if not place.exists():
            try:
                self._cache.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise FileError(
                    f"{self._cache} cannot be made: {error.strerror}; --cache names another folder"
                ) from error
            replace_file(place, told.encode())
        return {"lent": mark, "lent_in": str(self._cache.resolve())}


def lent_from(mark: str, folder: str) -> tuple[LentCounts, ...]:
    """Read what a lender put.

    Raises
    ------
    FileError
        If it cannot be read: a worker sees another folder.
    """
    if not mark:
        return ()
    path = Path(folder) / f"lent-{mark}.json"
    try:
        listed = json.loads(path.read_bytes())
    except (OSError, ValueError) as error:
        raise FileError(f"{path} cannot be read: workers must see the folder of results under the same path") from error
    return tuple(
        LentCounts(one["definition"], one["grower"], tuple(SeasonCounts.of_data(season) for season in one["seasons"]))
        for one in listed
    )


def without_lent(options: dict[str, Any]) -> dict[str, Any]:
    """Return options without what is lent: where nothing leans on others, cards change no result."""
    return {name: value for name, value in options.items() if name not in LENT}
