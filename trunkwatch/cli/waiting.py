"""How far a long job is, on the error stream of a terminal: with an end in sight, and only where it takes its time."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["waiting"]

#: Jobs that are done sooner show nothing.
SECONDS_OF_PATIENCE = 1.0


@contextmanager
def waiting(what: str) -> Iterator[Callable[[float], None]]:
    """Give what is to be called with the share of a job that is done; it draws a bar once the job has taken a second.

    Nothing is drawn where the error stream is no terminal: what is read by a program stays as it is.

    Parameters
    ----------
    what : str
        What is being done, in a word or two.
    """
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import Progress

    began = time.monotonic()
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=1.0, visible=False)
        yield lambda share: bar.update(task, completed=share, visible=time.monotonic() - began > SECONDS_OF_PATIENCE)
