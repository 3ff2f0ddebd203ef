"""Vine-seasons of a block as one Parquet file, which says in itself what it was made of (extra `region`)."""

import json
from base64 import b64decode, b64encode
from collections.abc import Iterable
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from trunkwatch.block import BlockSeason
from trunkwatch.block.vine_seasons import VINE_SEASONS, vine_seasons
from trunkwatch.errors import FileError, MissingExtraError
from trunkwatch.history import RATES, BlockHistory, rates
from trunkwatch.pattern.on_record import names_on_record
from trunkwatch.spreadsheets.write import replace_file
from trunkwatch.vineyard.tables import number_or_none

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

__all__ = ["ENDING", "VINE_FILES", "VineFiles", "check_region", "file_bytes", "file_data", "vine_table"]

#: Folder of the files, in the folder of the programme: one a grower in it, one file a block in that.
VINE_FILES = "vine_seasons"
ENDING = ".parquet"
#: Columns after those of the export: whose the vine is, what is on record of it, and what it counts in.
_OF_PROGRAMME = (
    "grower",
    "region",
    "cultivar",
    "rootstock",
    "planted",
    "counted",
    "compared",
    "inspections",
    *RATES,
    "ever_at_least",
)
#: Of these what is on record of the plant, as `names_on_record` has it.
_OF_PLANT = ("cultivar", "rootstock")
_MARK = b"trunkwatch"
_NUMBERS = {"position": "int32", "season": "int16", "planted": "int16", "plant": "int16", "finding_count": "int16"}


def check_region(*, asked: bool) -> None:
    """Refuse where the extra is not installed.

    Parameters
    ----------
    asked : bool
        Whether the files are to be asked, too, and not only written.

    Raises
    ------
    MissingExtraError
        In one sentence, with what to install.
    """
    missing = [name for name in ("pyarrow", *(["duckdb"] if asked else [])) if find_spec(name) is None]
    if missing:
        raise MissingExtraError(f"vine-seasons as Parquet need {missing[0]}: pip install 'trunkwatch[region]'")


def vine_table(found: BlockSeason, grower: str, region: str) -> "pd.DataFrame":
    """Return a line a position and season, with what the vine counts in.

    Parameters
    ----------
    found : BlockSeason
        The block, up to the last season that `incidence` shows.
    grower, region : str
        Name in the programme, and the word for the region.

    Returns
    -------
    DataFrame
        Columns of `VINE_SEASONS` without coordinates; grower and region; cultivar and rootstock of the plant, empty where nothing
        is written; year in which the block was planted; whether the season counts and is compared, and the classes of its inspections; and for each rate whether the
        vine is in the numerator, missing where it is not in the denominator: sums of these are the counts of `incidence`.
    """
    import pandas as pd

    history = found.history
    frame = vine_seasons(history)
    there = history.grid.exists
    many = int(there.sum())
    names = names_on_record(history)
    planted = number_or_none(found.block.get("planted"))
    columns: dict[str, Any] = {
        "grower": grower,
        "region": region,
        **{name: names[name][:, there].ravel() for name in _OF_PLANT},
        "planted": pd.array([pd.NA if planted is None else int(planted)] * len(frame), dtype="Int16"),
        "counted": np.repeat([look.counted for look in history.looks], many),
        "compared": np.repeat([look.compared for look in history.looks], many),
        "inspections": np.repeat([" ".join(sorted(look.classes)) for look in history.looks], many),
    }
    return frame.assign(**columns, **_counts_in(history))


def _counts_in(history: BlockHistory) -> dict[str, Any]:
    import pandas as pd

    there = history.grid.exists
    found = rates(history)
    columns: dict[str, Any] = {}
    for name in RATES:
        inside = np.concatenate([one[name].denominator[there] for one in found])
        cases = np.concatenate([one[name].numerator[there] for one in found])
        columns[name] = pd.arrays.BooleanArray(cases & inside, ~inside)
    columns["ever_at_least"] = np.repeat([one["ever"].at_least for one in found], int(there.sum()))
    return columns


def file_bytes(frame: "pd.DataFrame", told: dict[str, Any]) -> bytes:
    """Return a table as a Parquet file that carries what is told of it.

    Raises
    ------
    MissingExtraError
        If pyarrow is not installed.
    """
    check_region(asked=False)
    import pyarrow as pa
    from pyarrow import parquet

    table = pa.Table.from_pandas(frame[[*VINE_SEASONS, *_OF_PROGRAMME]], schema=_schema(), preserve_index=False)
    out = BytesIO()
    parquet.write_table(
        table.replace_schema_metadata({_MARK: json.dumps(told, ensure_ascii=False).encode()}), out, compression="zstd"
    )
    return out.getvalue()


def _schema() -> "pa.Schema":
    import pyarrow as pa

    truths = {"looked_at", "counted", "compared", "ever_at_least", *RATES}
    return pa.schema(
        [
            (name, pa.bool_() if name in truths else getattr(pa, _NUMBERS[name])() if name in _NUMBERS else pa.string())
            for name in (*VINE_SEASONS, *_OF_PROGRAMME)
        ]
    )


def file_data(found: BlockSeason, told: dict[str, Any]) -> dict[str, Any]:
    """Return the file of a block as data that JSON can hold.

    Parameters
    ----------
    found : BlockSeason
        The block, up to the last season that `incidence` shows.
    told : dict
        What the file says of itself: its key, grower, region and place in the folder at least.
    """
    frame = vine_table(found, told["grower"], told["region"])
    told = {"block": found.history.block, "season": found.season, "lines": len(frame), **told}
    return told | {"parquet": b64encode(file_bytes(frame, told)).decode()}


class VineFiles:
    """A folder of such files, as what keeps them from run to run: a file stays as long as its key is that of its block.

    Parameters
    ----------
    folder : Path
        Made where it is not there.
    """

    def __init__(self, folder: Path) -> None:
        check_region(asked=False)
        self.folder = folder
        self._there = {told["key"]: told for told in map(self._told, self.files()) if told is not None}

    def files(self) -> list[Path]:
        """Return all files of the folder that are ours, in order."""
        return [path for path in sorted(self.folder.glob(f"*/*{ENDING}")) if path.is_file()]

    def read(self, key: str) -> dict[str, Any] | None:
        """Return what a file says of itself, without its vines."""
        return self._there.get(key)

    def keep(self, key: str, data: dict[str, Any]) -> dict[str, Any]:
        """Write the file of a block in the place of an earlier one.

        Raises
        ------
        FileError
            If it cannot be written.
        """
        if "parquet" not in data:
            return data  # why there is none is worked out anew: it costs next to nothing
        path = self.folder / data["file"]
        told = {name: value for name, value in data.items() if name != "parquet"}
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise FileError(f"{path.parent} cannot be made: {error.strerror}") from error
        replace_file(path, b64decode(data["parquet"]))
        return told | {"key": key}

    def left_over(self, named: Iterable[str]) -> list[Path]:
        """Return files of blocks that are not among those named, by their place in the folder."""
        wanted = {self.folder / place for place in named}
        return [path for path in self.files() if path not in wanted and self._told(path) is not None]

    def _told(self, path: Path) -> dict[str, Any] | None:
        """Return what a file says of itself; None where it is damaged, or of somebody else."""
        from pyarrow import ArrowException, parquet

        try:
            told = json.loads((parquet.read_metadata(path).metadata or {})[_MARK])
        except (OSError, ValueError, KeyError, ArrowException):
            return None
        if not isinstance(told, dict) or not isinstance(told.get("key"), str):
            return None
        return told | {"file": path.relative_to(self.folder).as_posix()}
