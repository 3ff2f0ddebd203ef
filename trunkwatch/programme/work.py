"""What is done with one block, in a process of its own: kinds of work, each from records to data that JSON can hold."""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from trunkwatch.block import open_vineyard
from trunkwatch.block.opening import Readings
from trunkwatch.block.spoken_to import manner_of
from trunkwatch.decide.outlook import VineyardSteps
from trunkwatch.errors import NothingWrittenError, TrunkwatchError
from trunkwatch.pattern import pattern_of
from trunkwatch.pattern.words import opening
from trunkwatch.pattern.years import years_verdict
from trunkwatch.pattern.years_words import headline_sentence
from trunkwatch.peers.gather import rows_of_block
from trunkwatch.programme.content import Contents, key_of, stamp_of
from trunkwatch.programme.handout import About, handout_html
from trunkwatch.programme.lent import LENT, lent_from, without_lent
from trunkwatch.programme.like_rows import rows_data
from trunkwatch.programme.overview import overview, unscouted
from trunkwatch.programme.road import Job
from trunkwatch.programme.vine_files import ENDING, file_data
from trunkwatch.renewal.costs import costs_of
from trunkwatch.report import report_html
from trunkwatch.report.block_page import map_html
from trunkwatch.report.deciding import decided_if_priced
from trunkwatch.report.shown_photos import photos_of_map, photos_of_report
from trunkwatch.store import Store
from trunkwatch.vineyard.file_stems import file_stems
from trunkwatch.vineyard.manner import AMERICAN, in_force, speaking

__all__ = ["block_work", "contents_of", "jobs_of"]

#: Kinds of work that lean on the other blocks of a vineyard where prices are written.
_LEANING = ("report", "handout")
#: Kinds of work that give data, which are the same however people are spoken to.
_DATA = ("overview", "vine_seasons")
#: Kinds of work whose result says under which key it is kept.
_KEYED = ("vine_seasons",)


class _Open(threading.local):
    """The vineyard that this thread read last, under its path, its stamp and what is lent; a worker of a cluster may have several threads."""

    def __init__(self) -> None:
        self.vineyards: dict[tuple[str, str, str], tuple[Store, VineyardSteps]] = {}


_OPEN = _Open()


def jobs_of(
    path: Path,
    kind: str,
    ask: Callable[[str], dict[str, Any] | None],
    *,
    keep_good: bool = False,
    cache: Path | None = None,
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
    cache : Path, optional
        Folder in which marks of records are kept.

    Raises
    ------
    TrunkwatchError
        If the vineyard cannot be read.
    """
    jobs: dict[str, Job | None] = {}
    with open_vineyard(path, keep_good=keep_good) as store:
        contents = Contents(store, cache)
        for label in store.blocks():
            options = ask(label)
            if options is None:
                jobs[label] = None
                continue
            content, leaning = contents_of(contents, label)
            if kind not in _LEANING or leaning == content:
                options, leaning = without_lent(options), content
            named = {name: value for name, value in options.items() if name != LENT[1]}
            key = key_of(leaning, {"kind": kind, **named})
            # Workers of a cluster start in folders of their own.
            jobs[label] = Job(key, (kind, str(path.resolve()), contents.stamp, label, options, keep_good, key))
        contents.keep()
    return jobs


def contents_of(contents: Contents, block: str) -> tuple[str, str]:
    """Return what results of a block are made of: its own records, and what a report leans on, which may be the same."""
    own = f"{block} {contents.block(block)}"
    return own, f"{own} {contents.vineyard()}" if _priced(contents.store, block) else own


def _priced(store: Store, block: str) -> bool:
    """Tell whether there are prices; where they cannot be read, the report says so, and leans on all the same."""
    try:
        return costs_of(store.frame("costs", block)).enough
    except TrunkwatchError:
        return True


def block_work(
    kind: str, path: str, stamp: str, block: str, options: dict[str, Any], keep_good: bool = False, key: str = ""
) -> dict[str, Any]:
    """Do one kind of work on a block; where its records stand in the way, the reason is the result.

    Raises
    ------
    TrunkwatchError
        If the vineyard was written to since the work was listed: its result would be kept under another key.
    """
    lent = options.get(LENT[0], ""), options.get(LENT[1], "")
    store, steps = _opened(path, stamp, lent, keep_good=keep_good)
    options = without_lent(options)
    try:
        with speaking(AMERICAN if kind in _DATA else manner_of(store, block)):
            return _KINDS[kind](store, steps, block, **options, **({"key": key} if kind in _KEYED else {}))
    except TrunkwatchError as error:
        return {"block": block, "reason": str(error), "unwritten": isinstance(error, NothingWrittenError)}


def _opened(path: str, stamp: str, lent: tuple[str, str], *, keep_good: bool) -> tuple[Store, VineyardSteps]:
    vineyards, name = _OPEN.vineyards, (path, stamp, lent[0])
    if name not in vineyards:
        for store, _ in vineyards.values():
            store.close()
        vineyards.clear()
        store = open_vineyard(path, keep_good=keep_good)
        if stamp_of(store) != stamp:
            store.close()
            raise TrunkwatchError(f"{path} was written to while it was read: run the command again")
        vineyards[name] = store, VineyardSteps(Readings(store), lent=lent_from(*lent))
    return vineyards[name]


def _overview(store: Store, _steps: VineyardSteps, block: str, **options: Any) -> dict[str, Any]:
    return overview(store, block, **options)


def _report(
    store: Store,
    steps: VineyardSteps,
    block: str,
    *,
    season: int | None,
    definition: str | None,
    permutations: int,
    seed: int,
) -> dict[str, Any]:
    found = steps.readings.season(block, season, definition=definition)
    decided = decided_if_priced(store, found, seed=seed, steps=steps)
    page = report_html(
        found, permutations=permutations, seed=seed, decided=decided, shown=photos_of_report(store, found)
    )
    drawn = map_html(found, photos=photos_of_map(store, found))
    return {"block": block, "season": found.season, "pages": {"report": page, "map": drawn}}


def _handout(
    store: Store,
    steps: VineyardSteps,
    block: str,
    *,
    season: int | None,
    definition: str | None,
    about: dict[str, Any],
    size: Any,
    seed: int,
) -> dict[str, Any]:
    found = steps.readings.season(block, season, definition=definition)
    decided = decided_if_priced(store, found, seed=seed, steps=steps)
    page = handout_html(
        found, decided, About(**about), unscouted=unscouted(found), size=size or in_force().size, seed=seed
    )
    return {"block": block, "season": found.season, "pages": {"handout": page}}


def _rows(store: Store, _steps: VineyardSteps, block: str) -> dict[str, Any]:
    """Return the counts that blocks are set beside each other by."""
    return {"block": block, "rows": rows_data(rows_of_block(store, block, "", block))}


def _pattern(
    _store: Store,
    steps: VineyardSteps,
    block: str,
    *,
    season: int | None,
    definition: str | None,
    permutations: int,
    seed: int,
) -> dict[str, Any]:
    """Return what `pattern` says of a block first."""
    found = steps.readings.season(block, season, definition=definition)
    told = pattern_of(found, permutations=permutations, seed=seed)
    years = years_verdict(told)
    return {
        "block": block,
        "season": found.season,
        "definition": found.history.definition,
        "cases": told.n_cases,
        "vines": told.n_vines,
        "words": list(told.words),
        "sentence": opening(told),
        "years": headline_sentence(years) if years is not None else None,
    }


def _vine_seasons(
    store: Store,
    steps: VineyardSteps,
    block: str,
    *,
    definition: str | None,
    grower: str,
    region: str,
    folder: str,
    key: str,
) -> dict[str, Any]:
    found = steps.readings.season(block, definition=definition)
    place = f"{folder}/{file_stems(store.blocks())[block]}{ENDING}"
    return file_data(found, {"key": key, "grower": grower, "region": region, "file": place})


_KINDS: dict[str, Callable[..., dict[str, Any]]] = {
    "overview": _overview,
    "report": _report,
    "handout": _handout,
    "rows": _rows,
    "pattern": _pattern,
    "vine_seasons": _vine_seasons,
}
