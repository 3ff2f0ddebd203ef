"""What is done with one block, in a process of its own: kinds of work, each from records to data that JSON can hold."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from trunkwatch.block import open_vineyard
from trunkwatch.block.opening import Readings
from trunkwatch.block.spoken_to import manner_of
from trunkwatch.decide.outlook import VineyardSteps
from trunkwatch.errors import NothingWrittenError, TrunkwatchError
from trunkwatch.peers.gather import rows_of_block
from trunkwatch.programme.content import block_content, key_of, vineyard_content
from trunkwatch.programme.handout import About, handout_html
from trunkwatch.programme.like_rows import rows_data
from trunkwatch.programme.overview import overview, unscouted
from trunkwatch.programme.road import Job
from trunkwatch.renewal.costs import costs_of
from trunkwatch.report import report_html
from trunkwatch.report.block_page import map_html
from trunkwatch.report.deciding import decided_if_priced
from trunkwatch.report.shown_photos import photos_of_map, photos_of_report
from trunkwatch.store import Store
from trunkwatch.vineyard.manner import AMERICAN, in_force, speaking

__all__ = ["block_work", "jobs_of"]

#: The vineyard that this process read last, under its path and what stood in it.
_OPEN: dict[tuple[str, str], tuple[Store, VineyardSteps]] = {}


def jobs_of(
    path: Path, kind: str, ask: Callable[[str], dict[str, Any] | None], *, keep_good: bool = False
) -> dict[str, Job | None]:
    """Return the work on each block of a vineyard, with the key of its result; None where nothing is asked of a block.

    Where prices are written, forecast and plan lean on the other blocks of the vineyard: the key is then of all of them.

    Parameters
    ----------
    path : Path
        Vineyard file or folder.
    kind : str
        One of the kinds of `block_work`.
    ask : callable
        Takes the name of a block; gives the options of that kind of work.
    keep_good : bool
        As in `open_vineyard`.

    Raises
    ------
    TrunkwatchError
        If the vineyard cannot be read.
    """
    jobs: dict[str, Job | None] = {}
    with open_vineyard(path, keep_good=keep_good) as store:
        whole = vineyard_content(store)
        for label in store.blocks():
            options = ask(label)
            if options is None:
                jobs[label] = None
                continue
            content = block_content(store, label)
            if kind not in ("overview", "rows") and _priced(store, label):
                content = f"{content} {whole}"
            jobs[label] = Job(
                key_of(f"{kind} {label} {content}", options), (kind, str(path), whole, label, options, keep_good)
            )
    return jobs


def _priced(store: Store, block: str) -> bool:
    """Tell whether there are prices; where they cannot be read, the report says so, and leans on all the same."""
    try:
        return costs_of(store.frame("costs", block)).enough
    except TrunkwatchError:
        return True


def block_work(
    kind: str, path: str, whole: str, block: str, options: dict[str, Any], keep_good: bool = False
) -> dict[str, Any]:
    """Do one kind of work on a block; where its records stand in the way, the reason is the result.

    Raises
    ------
    TrunkwatchError
        If the vineyard was written to since the work was listed: its result would be kept under another key.
    """
    store, steps = _opened(path, whole, keep_good=keep_good)
    try:
        with speaking(AMERICAN if kind == "overview" else manner_of(store, block)):  # an overview is data
            return _KINDS[kind](store, steps, block, **options)
    except TrunkwatchError as error:
        return {"block": block, "reason": str(error), "unwritten": isinstance(error, NothingWrittenError)}


def _opened(path: str, whole: str, *, keep_good: bool) -> tuple[Store, VineyardSteps]:
    if (path, whole) not in _OPEN:
        for store, _ in _OPEN.values():
            store.close()
        _OPEN.clear()
        store = open_vineyard(path, keep_good=keep_good)
        if vineyard_content(store) != whole:
            store.close()
            raise TrunkwatchError(f"{path} was written to while it was read: run the command again")
        _OPEN[path, whole] = store, VineyardSteps(Readings(store))
    return _OPEN[path, whole]


def _overview(store: Store, _steps: VineyardSteps, block: str, **options: Any) -> dict[str, Any]:
    return overview(store, block, **options)


def _report(
    store: Store, steps: VineyardSteps, block: str, *, season: int | None, definition: str | None, permutations: int, seed: int
) -> dict[str, Any]:  # fmt: skip
    found = steps.readings.season(block, season, definition=definition)
    decided = decided_if_priced(store, found, seed=seed, steps=steps)
    page = report_html(
        found, permutations=permutations, seed=seed, decided=decided, shown=photos_of_report(store, found)
    )
    drawn = map_html(found, photos=photos_of_map(store, found))
    return {"block": block, "season": found.season, "pages": {"report": page, "map": drawn}}


def _handout(
    store: Store, steps: VineyardSteps, block: str, *, season: int | None, definition: str | None, about: dict[str, Any], size: Any, seed: int
) -> dict[str, Any]:  # fmt: skip
    found = steps.readings.season(block, season, definition=definition)
    decided = decided_if_priced(store, found, seed=seed, steps=steps)
    page = handout_html(
        found, decided, About(**about), unscouted=unscouted(found), size=size or in_force().size, seed=seed
    )
    return {"block": block, "season": found.season, "pages": {"handout": page}}


def _rows(store: Store, _steps: VineyardSteps, block: str) -> dict[str, Any]:
    """Return the counts that blocks are set beside each other by."""
    return {"block": block, "rows": rows_data(rows_of_block(store, block, "", block))}


_KINDS: dict[str, Callable[..., dict[str, Any]]] = {
    "overview": _overview,
    "report": _report,
    "handout": _handout,
    "rows": _rows,
}
