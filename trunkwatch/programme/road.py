"""One road over many blocks: any executor, and results kept by what they were made of."""

import json
import multiprocessing
import os
import threading
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from trunkwatch.errors import FileError, TrunkwatchError
from trunkwatch.spreadsheets.write import replace_file

__all__ = [
    "Job",
    "Keeps",
    "KeptResults",
    "MakeExecutor",
    "Outcome",
    "Walked",
    "over_blocks",
    "processes",
    "usual_workers",
]

#: Makes an executor; it is asked again where one broke.
MakeExecutor = Callable[[], Executor]
#: How often work may be under way while its executor breaks before it is given an executor to itself.
_SUSPECT = 2
_GIVEN_UP = "its process was ended, twice with others and once by itself: is there enough memory?"


@dataclass(frozen=True, slots=True)
class Job:
    """Work on one block.

    Attributes
    ----------
    key : str
        What the result is made of, as `content.key_of` gives it; equal keys have equal results.
    asked : tuple
        What the work is called with; it can be pickled.
    """

    key: str
    asked: tuple[Any, ...]


class Keeps(Protocol):
    """What keeps results from run to run."""

    def read(self, key: str) -> dict[str, Any] | None:
        """Return what is kept under a key."""

    def keep(self, key: str, data: dict[str, Any]) -> dict[str, Any]:
        """Keep a result, and return what stays in memory of it."""


class KeptResults:
    """A folder of results as JSON, one file a key; without a folder nothing is kept.

    Parameters
    ----------
    folder : Path or None
        Made where it is not there.
    """

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder

    def read(self, key: str) -> dict[str, Any] | None:
        """Return a kept result; what is damaged is as if it were not there."""
        if self.folder is None:
            return None
        try:
            kept = json.loads((self.folder / f"{key}.json").read_bytes())
        except (OSError, ValueError):
            return None
        return kept if isinstance(kept, dict) else None

    def keep(self, key: str, data: dict[str, Any]) -> dict[str, Any]:
        """Keep a result, and return it as it will be read again: kept or not, the same is said of it."""
        written = json.dumps(data, ensure_ascii=False)
        if self.folder is not None:
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise FileError(
                    f"{self.folder} cannot be made: {error.strerror}; --cache names another folder"
                ) from error
            replace_file(self.folder / f"{key}.json", written.encode())
        told = json.loads(written)
        assert isinstance(told, dict)  # noqa: S101 - narrows the type
        return told


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a job: data that can be written as JSON, or why there are none."""

    data: dict[str, Any] | None
    reason: str = ""
    kept: bool = False  # read from an earlier run


@dataclass(frozen=True, slots=True)
class Walked:
    """What became of all jobs, in their order."""

    outcomes: tuple[Outcome, ...]

    @property
    def computed(self) -> int:
        """How many were worked out in this run."""
        return sum(one.data is not None and not one.kept for one in self.outcomes)

    @property
    def kept(self) -> int:
        """How many an earlier run had left."""
        return sum(one.kept for one in self.outcomes)


def usual_workers() -> int:
    """Return how many processors this program may use."""
    counted = os.process_cpu_count() if hasattr(os, "process_cpu_count") else os.cpu_count()
    return counted or 1


def processes(workers: int) -> MakeExecutor:
    """Return what makes a pool of processes, which end when the program that made them is gone."""
    return lambda: ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), _end_with_parent)


def over_blocks(
    jobs: Sequence[Job],
    work: Callable[..., dict[str, Any]],
    *,
    executor: MakeExecutor,
    kept_in: Path | Keeps | None = None,
    progress: Callable[[float], None] = lambda _share: None,
    at_once: int = 1,
    each: Callable[[int, Outcome], Outcome | None] = lambda _number, _outcome: None,
) -> Walked:
    """Do work on many blocks.

    A result is kept the moment it is there, so a run that was ended goes on where it was. Where an executor breaks (a
    process was ended from outside, or memory ran out) another is made; work that breaks one by itself is given up.

    Parameters
    ----------
    jobs : sequence of Job
        In the order of the outcomes.
    work : callable
        Takes `Job.asked`; a function of a module. What it raises is the reason why there are no data.
    executor : callable
        Makes a standard executor: `processes`, or that of a cluster.
    kept_in : Path or Keeps, optional
        Folder of results, or what keeps them in another form; nothing is kept where left out.
    progress : callable
        Called with the share that is done.
    at_once : int
        How much work the executor does at the same time.
    each : callable
        Called with the place of a job and what became of it, as soon as that is known; what it returns is kept in memory
        in its place: pages of a region do not fit there.

    Raises
    ------
    FileError
        If a result cannot be written.
    """
    done: dict[int, Outcome] = {}
    keeps = KeptResults(kept_in) if kept_in is None or isinstance(kept_in, Path) else kept_in

    def note(number: int, outcome: Outcome) -> None:
        done[number] = each(number, outcome) or outcome
        progress(len(done) / len(jobs))

    for number, job in enumerate(jobs):
        earlier = keeps.read(job.key)
        if earlier is not None:
            note(number, Outcome(earlier, kept=True))
    waiting = [number for number in range(len(jobs)) if number not in done]
    suspected: Counter[int] = Counter()
    while waiting:
        suspects = [number for number in waiting if suspected[number] >= _SUSPECT]
        batch = [number for number in waiting if suspected[number] < _SUSPECT] or suspects[:1]
        lost = _one_round(jobs, batch, work, executor, keeps, note)
        # Work is taken in order: what was under way when the executor broke is the first of what was lost.
        suspected.update(lost[: at_once + 1])
        if lost and batch == suspects[:1]:
            note(lost[0], Outcome(None, _GIVEN_UP))
        waiting = [number for number in range(len(jobs)) if number not in done]
    return Walked(tuple(done[number] for number in range(len(jobs))))


def _one_round(
    jobs: Sequence[Job],
    batch: Sequence[int],
    work: Callable[..., dict[str, Any]],
    executor: MakeExecutor,
    keeps: Keeps,
    note: Callable[[int, Outcome], None],
) -> list[int]:
    """Do what an executor can before it breaks; return what was lost with it, in order."""
    lost: list[int] = []
    with executor() as pool:
        try:
            futures: dict[Future[dict[str, Any]], int] = {}
            for number in batch:
                try:
                    futures[pool.submit(work, *jobs[number].asked)] = number
                except BrokenExecutor:
                    lost.append(number)
            for future in as_completed(list(futures)):
                number = futures.pop(future)  # let go of: results of a region do not fit into memory
                error = future.exception()
                if isinstance(error, BrokenExecutor):
                    lost.append(number)
                elif error is not None:
                    note(number, Outcome(None, _why(error)))
                else:
                    note(number, Outcome(keeps.keep(jobs[number].key, future.result())))
        except BaseException:  # nothing can be kept, or the user stops: what waits is not begun
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    return sorted(lost)


def _why(error: BaseException) -> str:
    return str(error) if isinstance(error, TrunkwatchError) else f"{type(error).__name__}: {error}"


def _end_with_parent() -> None:
    """End this process when the one that made it is gone: nobody else would."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
