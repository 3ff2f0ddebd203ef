"""All growers of a programme in one run: what is asked of each block, and what became of it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from trunkwatch.errors import FaultyNotesError, FileError, TrunkwatchError
from trunkwatch.programme.catalogue import Grower, read_catalogue, write_catalogue
from trunkwatch.programme.cluster import executor_of
from trunkwatch.programme.handout import About
from trunkwatch.programme.in_use import under_way
from trunkwatch.programme.road import Job, Keeps, Outcome, over_blocks
from trunkwatch.programme.work import block_work, jobs_of
from trunkwatch.spreadsheets.write import replace_file
from trunkwatch.vineyard.file_stems import file_stems

__all__ = [
    "CACHE",
    "GrowerRun",
    "How",
    "handouts",
    "note_read",
    "over_growers",
    "page_folders",
    "page_writer",
    "shown_most",
]

#: Folder of kept results, in the folder of the programme.
CACHE = ".results"


@dataclass(frozen=True, slots=True)
class How:
    """How blocks are gone through.

    Attributes
    ----------
    workers : int or str
        Processes of this machine, or the address of a scheduler of Dask.
    cache : Path, optional
        Folder of kept results; nothing is kept where left out.
    progress : callable
        Called with the share that is done.
    """

    workers: int | str = 1
    cache: Path | None = None
    progress: Callable[[float], None] = field(default=lambda _share: None)

    @property
    def at_once(self) -> int:
        """How much work an executor that breaks may have had under way."""
        return self.workers if isinstance(self.workers, int) else 1


@dataclass(frozen=True, slots=True)
class GrowerRun:
    """What became of the blocks of one grower.

    Attributes
    ----------
    grower : Grower
        Who.
    blocks : mapping of str to Outcome
        By block, in the order of the vineyard.
    reason : str
        Why none of them could be gone through; empty where they were.
    labels : tuple of str
        All blocks of the vineyard.
    """

    grower: Grower
    blocks: Mapping[str, Outcome]
    reason: str = ""
    labels: tuple[str, ...] = ()

    def data(self, block: str) -> dict[str, Any]:
        """Return what is known of a block, or the reason alone."""
        outcome = self.blocks[block]
        return outcome.data if outcome.data is not None else {"block": block, "reason": outcome.reason}


#: What blocks like those of the pages show: sentence and picture by grower and block.
Like = Callable[[Mapping[tuple[str, str], tuple[int, str]]], Mapping[tuple[str, str], tuple[str, str]]]
#: Options of a kind of work for a block of a grower; None where nothing is asked of it.
Ask = Callable[[Grower, str], dict[str, Any] | None]
#: Takes a grower, all labels of the vineyard, and the data of a block; gives what stays in memory of them.
PutAway = Callable[[Grower, tuple[str, ...], dict[str, Any]], dict[str, Any]]


def over_growers(
    folder: Path,
    growers: Sequence[Grower],
    kind: str,
    ask: Ask,
    how: How,
    *,
    put_away: PutAway | None = None,
    keeps: Keeps | None = None,
) -> tuple[GrowerRun, ...]:
    """Do one kind of work on the blocks of all growers; what cannot be read stops nobody else.

    Parameters
    ----------
    folder : Path
        Of the programme.
    growers : sequence of Grower
        In the order of the outcome.
    kind : str
        One of the kinds of `trunkwatch.programme.work`.
    ask : callable
        Gives the options for each block.
    how : How
        How they are gone through.
    put_away : callable, optional
        Takes a grower, all labels of the vineyard, and the data of a block as soon as they are there; what it returns is what
        stays in memory.
    keeps : Keeps, optional
        What keeps results, in place of the folder of `how`.

    Raises
    ------
    TrunkwatchError
        If no executor can be had, or a result cannot be written.
    """
    with under_way(how.cache):
        listed: list[tuple[Grower, dict[str, Job | None], str]] = []
        for grower in growers:
            try:
                listed.append((grower, _jobs(folder / grower.path, kind, grower, ask, how), ""))
            except (TrunkwatchError, OSError) as error:
                listed.append((grower, {}, _why(error)))
        every = [(grower, tuple(jobs), job) for grower, jobs, _ in listed for job in jobs.values() if job is not None]

        def each(number: int, outcome: Outcome) -> Outcome | None:
            if put_away is None or outcome.data is None:
                return None
            grower, labels, _ = every[number]
            return replace(outcome, data=put_away(grower, labels, outcome.data))

        walked = over_blocks(
            [job for _, _, job in every],
            block_work,
            executor=executor_of(how.workers),
            kept_in=keeps or how.cache,
            progress=how.progress,
            at_once=how.at_once,
            each=each,
        )
    outcomes = iter(walked.outcomes)
    return tuple(
        GrowerRun(
            grower, {label: next(outcomes) for label, job in jobs.items() if job is not None}, reason, tuple(jobs)
        )
        for grower, jobs, reason in listed
    )


def _jobs(path: Path, kind: str, grower: Grower, ask: Ask, how: How) -> dict[str, Job | None]:
    return jobs_of(path, kind, lambda block: ask(grower, block), cache=how.cache)


def _why(error: Exception) -> str:
    if isinstance(error, FaultyNotesError):
        return f"{error}; `trunkwatch check` lists all"
    return str(error)


def handouts(
    folder: Path,
    growers: Sequence[Grower],
    how: How,
    *,
    each_block: bool,
    like: Like | None = None,
    put_away: PutAway | None = None,
    lent: Callable[[Grower], dict[str, Any]] = lambda _grower: {},
    **options: Any,
) -> tuple[GrowerRun, ...]:
    """Write the page of every grower: of the block that showed most, or of each block.

    Parameters
    ----------
    folder, growers, how
        As in `over_growers`.
    each_block : bool
        A page for each block, in place of one for the block that showed most.
    like : callable, optional
        Takes season and definition of the pages to be written by grower and block; gives a sentence and a picture of what blocks
        like them show, for those of which it may be said.
    put_away : callable, optional
        As in `over_growers`.
    lent : callable
        Gives the options that say which cards a grower's page leans on.
    **options
        season, definition, size and seed.
    """
    asked = {"season": options["season"], "definition": options["definition"]}
    seen = {one.grower.name: one for one in over_growers(folder, growers, "overview", lambda _g, _b: asked, how)}
    picks = {name: shown_most([one.data(label) for label in one.blocks]) for name, one in seen.items()}

    wanted = {
        (run.grower.name, block): (data["season"], data["definition"])
        for run in seen.values()
        for block in run.blocks
        if (data := run.data(block)).get("definition") and (each_block or block == picks[run.grower.name][0])
    }
    alike = like(wanted) if like is not None else {}

    def ask(grower: Grower, block: str) -> dict[str, Any] | None:
        picked, several = picks[grower.name]
        if not each_block and block != picked:
            return None
        sentence, picture = alike.get((grower.name, block), ("", ""))
        about = About(grower.name, grower.call, grower.sees, sentence, several and not each_block, picture)
        return {"about": asdict(about), **options, **lent(grower)}

    runs = over_growers(folder, growers, "handout", ask, how, put_away=put_away)
    return tuple(
        replace(one, reason="nothing is written down of any block yet")
        if not one.reason and not one.blocks and picks[one.grower.name][0] is None
        else one
        for one in runs
    )


def shown_most(blocks: Sequence[Mapping[str, Any]]) -> tuple[str | None, bool]:
    """Return the block with the largest share showing, and whether it was picked for that among several.

    Parameters
    ----------
    blocks : sequence of mapping
        What `overview` gives of each block of a grower.

    Returns
    -------
    (str or None, bool)
        Where no block has a share the first of which anything is written; None where there is none.
    """
    shares: dict[str, float] = {}
    for one in blocks:
        last = next((year for year in one.get("seasons", ()) if year["season"] == one["season"]), None)
        if last is not None and last["share"] is not None:
            shares[one["block"]] = last["share"]
    if shares:
        return max(shares, key=lambda block: shares[block]), len(shares) > 1
    return next((one["block"] for one in blocks if one.get("season") is not None), None), False


def page_writer(names: Sequence[str], out: Path, written: dict[tuple[str, str], list[Path]]) -> PutAway:
    """Return what writes the pages of a block as soon as they are there, each grower's into a folder of their own, no two under one name.

    Parameters
    ----------
    names : sequence of str
        All growers of the programme in order: who comes later changes no name.
    out : Path
        Folder.
    written : dict of (grower, block) to list of Path
        Filled with what was written.
    """
    folders = page_folders(names)

    def write(grower: Grower, labels: tuple[str, ...], data: dict[str, Any]) -> dict[str, Any]:
        """Write the pages; `FileError` if the folder cannot be written to."""
        stem = file_stems(labels)[data["block"]]
        for name, page in data.get("pages", {}).items():
            path = out / folders[grower.name] / f"{name}_{stem}_{data['season']}.html"
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise FileError(
                    f"{path.parent} cannot be made: {error.strerror}; --out names another folder"
                ) from error
            replace_file(path, page.encode())
            written.setdefault((grower.name, data["block"]), []).append(path)
        return {name: value for name, value in data.items() if name != "pages"}

    return write


def page_folders(names: Sequence[str]) -> dict[str, str]:
    """Return the name of the folder of each grower's pages, no two alike on any disk."""
    return file_stems(names)


def note_read(folder: Path, runs: Sequence[GrowerRun], day: str) -> None:
    """Write into the catalogue on which day vineyards were last read; what was written into it meanwhile stays."""
    growers = read_catalogue(folder)
    read = {one.grower.name for one in runs if one.labels}
    now = tuple(replace(one, last_read=day) if one.name in read else one for one in growers)
    if now != growers:
        write_catalogue(folder, now)
