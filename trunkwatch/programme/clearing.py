"""Which kept results nothing names any more, and the rule by which they are cleared."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from trunkwatch.block import open_vineyard
from trunkwatch.errors import FileError, TrunkwatchError
from trunkwatch.programme.catalogue import Grower
from trunkwatch.programme.content import Contents, content_part
from trunkwatch.programme.in_use import alone
from trunkwatch.programme.work import contents_of

__all__ = ["OLDER_THAN_DAYS", "UNNAMED_MB", "Cleared", "clear_results"]

#: Days for which a result stays that nothing names: who goes back to earlier records finds it again.
OLDER_THAN_DAYS = 30.0
#: Megabytes that such results may take together; beyond it the oldest go first.
UNNAMED_MB = 500.0
#: Hours after which a file that a run left half written is taken away.
_HALF_HOURS = 24.0
_DAY, _MB = 86400.0, 1e6


@dataclass(frozen=True, slots=True)
class Cleared:
    """What became of a folder of results.

    Attributes
    ----------
    named, unnamed, cleared : int
        Results that the present records name, results that nothing names and that stay, and results taken away.
    megabytes : float
        Of those taken away.
    unread : tuple of str
        Growers whose vineyard could not be read: what theirs is cannot be told, so nothing is cleared.
    """

    named: int
    unnamed: int
    cleared: int
    megabytes: float
    unread: tuple[str, ...] = ()


def clear_results(
    folder: Path,
    growers: Sequence[Grower],
    cache: Path,
    *,
    older_than_days: float = OLDER_THAN_DAYS,
    at_most_mb: float = UNNAMED_MB,
) -> Cleared:
    """Take away what no present record names and what is old, or too much together; what is named always stays.

    A result is named by the records of a block as they stand, whatever was asked of them, and by this version of the program.

    Parameters
    ----------
    folder : Path
        Of the programme.
    growers : sequence of Grower
        All of them: what is of one who is left out here would be nobody's.
    cache : Path
        Folder of results.
    older_than_days : float
        Age from which a result goes that nothing names.
    at_most_mb : float
        Megabytes of younger ones that may stay.

    Raises
    ------
    FileError
        If a run is under way, or a file cannot be taken away.
    """
    if not cache.is_dir():
        return Cleared(0, 0, 0, 0.0)
    files = [path for path in cache.glob("*.json") if path.is_file()]  # what comes later is nobody's concern here
    parts, unread = _named(folder, growers, cache)
    with alone(cache) as nobody:
        if not nobody:
            raise FileError(f"a run that uses {cache} is under way: clear when it is done")
        unnamed = [path for path in files if path.stem.partition("-")[0] not in parts and path.stem not in parts]
        if unread:
            return Cleared(len(files) - len(unnamed), len(unnamed), 0, 0.0, unread)
        gone = _by_rule(unnamed, older_than_days, at_most_mb)
        half = [path for path in cache.glob(".*.part") if _age(path) > _HALF_HOURS / 24]
        taken = 0.0
        for path in (*gone, *half):
            taken += path.stat().st_size
            try:
                path.unlink()
            except OSError as error:
                raise FileError(f"{path} cannot be deleted: {error.strerror}") from error
        return Cleared(len(files) - len(unnamed), len(unnamed) - len(gone), len(gone), taken / _MB)


def _named(folder: Path, growers: Sequence[Grower], cache: Path) -> tuple[set[str], tuple[str, ...]]:
    """Return how names of results begin that the present records name, and whose vineyard cannot be read."""
    parts: set[str] = set()
    unread = []
    for grower in growers:
        try:
            with open_vineyard(folder / grower.path) as store:
                contents = Contents(store, cache)
                for block in store.blocks():
                    parts |= {content_part(content) for content in contents_of(contents, block)}
                parts.add(contents.name)
        except (TrunkwatchError, OSError):
            unread.append(grower.name)
    return parts, tuple(unread)


def _by_rule(unnamed: Sequence[Path], older_than_days: float, at_most_mb: float) -> list[Path]:
    """Return what goes: what is old, and of the rest the oldest until the others fit."""
    newest_first = sorted(unnamed, key=_age)
    gone, size = [], 0.0
    for path in newest_first:
        size += path.stat().st_size / _MB
        if _age(path) > older_than_days or size > at_most_mb:
            gone.append(path)
    return gone


def _age(path: Path) -> float:
    """Days since a file was written."""
    return (time.time() - path.stat().st_mtime) / _DAY
