"""Work on more machines than this one: an executor that hands it to a scheduler of Dask (extra `cluster`)."""

import logging
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future
from importlib import import_module
from importlib.metadata import version
from importlib.util import find_spec
from typing import Any

from trunkwatch import __version__
from trunkwatch.block.program_mark import program_mark
from trunkwatch.errors import FileError, MissingExtraError, TrunkwatchError
from trunkwatch.programme.road import MakeExecutor, processes

__all__ = ["check_workers", "executor_of", "same_program"]

#: How long a scheduler, and its first worker, are waited for.
_SECONDS = 20
#: Packages that numbers hang on, beside this one.
_COUNTED_WITH = ("numpy", "scipy", "pandas")
_ENDED = "its worker was ended each time it was tried: is there enough memory on the workers?"


def executor_of(workers: int | str) -> MakeExecutor:
    """Return what makes the executor: a number of processes on this machine, or the address of a scheduler.

    Raises
    ------
    MissingExtraError
        If an address is given and Dask is not installed.
    """
    if isinstance(workers, int):
        return processes(workers)
    check_workers(workers)
    return lambda: _Cluster(workers)


def check_workers(workers: int | str | None) -> None:
    """Refuse the address of a scheduler where Dask is not installed.

    Raises
    ------
    MissingExtraError
        In one sentence, with what to install.
    """
    if isinstance(workers, str) and find_spec("distributed") is None:
        raise MissingExtraError(
            f"--workers {workers} needs dask: pip install 'trunkwatch[cluster]'; a number takes processes of this machine"
        )


def same_program(mark: str, work: Callable[..., dict[str, Any]], *asked: Any) -> dict[str, Any]:
    """Do work on a worker if its program is the one that asks: a result is kept under the mark of that program.

    Raises
    ------
    TrunkwatchError
        If it is another one, or the work says so.
    """
    here = _mark()
    if here != mark:
        raise TrunkwatchError(
            f"a worker runs another program ({here}, here {mark}): install the same version on all machines"
        )
    return work(*asked)


def _mark() -> str:
    """Name the program and the packages that numbers hang on."""
    program = f"trunkwatch {__version__} {program_mark()[:8]}"
    return ", ".join((program, *(f"{name} {version(name)}" for name in _COUNTED_WITH)))


class _Cluster(Executor):
    """The workers of a scheduler; a worker that is ended loses nothing, for its work is given to another."""

    def __init__(self, address: str) -> None:
        client: Any = import_module("distributed").Client
        logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what is wrong is said here, in a sentence
        try:
            self._client = client(address, timeout=_SECONDS, set_as_default=False)
        except (OSError, ValueError) as error:
            raise FileError(
                f"no scheduler answers at {address}: `dask scheduler` starts one; what was done so far is kept"
            ) from error
        try:
            self._client.wait_for_workers(1, timeout=_SECONDS)
        except TimeoutError as error:
            self._client.close()
            raise FileError(f"the scheduler at {address} has no workers: `dask worker {address}` starts one") from error
        self._inner = self._client.get_executor(pure=False)
        self._asks = _mark()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Give work to the cluster."""
        outer: Future[Any] = Future()
        inner = self._inner.submit(same_program, self._asks, fn, *args, **kwargs)
        inner.add_done_callback(lambda done: _hand_on(done, outer))
        return outer

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: ARG002 - as the standard has it
        """Let the cluster go; what is still under way is of no use to anybody."""
        self._inner.shutdown(wait=False)
        self._client.close()


def _hand_on(done: Future[Any], outer: Future[Any]) -> None:
    """Say what became of work as a pool of processes would."""
    if done.cancelled():
        outer.set_exception(BrokenExecutor("the scheduler is gone"))
        return
    error = done.exception()
    if error is None:
        outer.set_result(done.result())
    else:
        outer.set_exception(TrunkwatchError(_ENDED) if type(error).__name__ == "KilledWorker" else error)
