"""All growers of a programme in one run: what is asked of each block, and what became of it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from trunkwatch.errors import FaultyNotesError, TrunkwatchError
from trunkwatch.programme.catalogue import Grower, read_catalogue, write_catalogue
from trunkwatch.programme.handout import About
from trunkwatch.programme.road import Job, Outcome, over_blocks, processes
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
    "shown_most",
    "write_pages",
]

#: Folder of kept results, in the folder of the programme.
CACHE = ".results"


@dataclass(frozen=True, slots=True)
class How:
    """How blocks are gone through.

    Attributes
    ----------
    workers : int
        Processes.
    cache : Path, optional
        Folder of kept results; nothing is kept where left out.
    progress : callable
        Called with the share that is done.
    """

    workers: int = 1
    cache: Path | None = None
    progress: Callable[[float], None] = field(default=lambda _share: None)


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


def over_growers(folder: Path, growers: Sequence[Grower], kind: str, ask: Ask, how: How) -> tuple[GrowerRun, ...]:
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
    """
    listed: list[tuple[Grower, dict[str, Job | None], str]] = []
    for grower in growers:
        try:
            listed.append((grower, _jobs(folder / grower.path, kind, grower, ask), ""))
        except (TrunkwatchError, OSError) as error:
            listed.append((grower, {}, _why(error)))
    every = [job for _, jobs, _ in listed for job in jobs.values() if job is not None]
    walked = iter(
        over_blocks(
            every, block_work, executor=processes(how.workers), kept_in=how.cache, progress=how.progress, at_once=how.workers
        ).outcomes
    )  # fmt: skip
    return tuple(
        GrowerRun(grower, {label: next(walked) for label, job in jobs.items() if job is not None}, reason, tuple(jobs))
        for grower, jobs, reason in listed
    )


def _jobs(path: Path, kind: str, grower: Grower, ask: Ask) -> dict[str, Job | None]:
    return jobs_of(path, kind, lambda block: ask(grower, block))


def _why(error: Exception) -> str:
    if isinstance(error, FaultyNotesError):
        return f"{error}; `trunkwatch check` lists all"
    return str(error)


def handouts(
    folder: Path, growers: Sequence[Grower], how: How, *, each_block: bool, like: Like | None = None, **options: Any
) -> tuple[GrowerRun, ...]:  # fmt: skip
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
    **options
        season, definition, size and seed.
    """
    asked = {"season": options["season"], "definition": options["definition"]}
    seen = {one.grower.name: one for one in over_growers(folder, growers, "overview", lambda _g, _b: asked, how)}
    picks = {name: shown_most([one.data(label) for label in one.blocks]) for name, one in seen.items()}

    wanted = {
        (run.grower.name, block): (data["season"], data["definition"])
        for run in seen.values() for block in run.blocks
        if (data := run.data(block)).get("definition") and (each_block or block == picks[run.grower.name][0])
    }  # fmt: skip
    alike = like(wanted) if like is not None else {}

    def ask(grower: Grower, block: str) -> dict[str, Any] | None:
        picked, several = picks[grower.name]
        if not each_block and block != picked:
            return None
        sentence, picture = alike.get((grower.name, block), ("", ""))
        about = About(grower.name, grower.call, grower.sees, sentence, several and not each_block, picture)
        return {"about": asdict(about), **options}

    runs = over_growers(folder, growers, "handout", ask, how)
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


def write_pages(runs: Sequence[GrowerRun], names: Sequence[str], out: Path) -> dict[tuple[str, str], list[Path]]:
    """Write the pages of all blocks, those of each grower into a folder of their own, no two under one name.

    Parameters
    ----------
    runs : sequence of GrowerRun
        With pages.
    names : sequence of str
        All growers of the programme in order: who comes later changes no name.
    out : Path
        Folder.

    Returns
    -------
    dict of (grower, block) to list of Path

    Raises
    ------
    FileError
        If the folder cannot be written to.
    """
    folders = page_folders(names)
    written: dict[tuple[str, str], list[Path]] = {}
    for one in runs:
        stems = file_stems(one.labels)
        for block in one.blocks:
            data = one.data(block)
            for name, page in data.get("pages", {}).items():
                path = out / folders[one.grower.name] / f"{name}_{stems[block]}_{data['season']}.html"
                path.parent.mkdir(parents=True, exist_ok=True)
                replace_file(path, page.encode())
                written.setdefault((one.grower.name, block), []).append(path)
    return written


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
