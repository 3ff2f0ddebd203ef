"""Whose turn it is to write, among the threads of this process: first come, first served.

The lock of a file alone knows no order. Opening a file, reading what waits in its log, and forcing the log to disk take
as long for one writer as for ten. So writers who stand in line behind each other may share a turn: the first one opens,
each does its own part while the others wait, and the last one forces all of it to disk at once. Nobody is answered
before that, and nobody is passed over: who cannot share a turn, or came for another file, ends it.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

__all__ = ["LONGEST_SHARED_S", "MOST_TOGETHER", "Turns"]

Work = TypeVar("Work")
#: Writers that share a turn at most, and the seconds after which nobody else joins: who came first waits for all of them.
MOST_TOGETHER, LONGEST_SHARED_S = 32, 0.1


@dataclass(slots=True)
class _Shared:
    """A turn that several writers share: what they work on, since when, and how it ended."""

    work: Any
    began: float
    members: int = 1
    done: threading.Event = field(default_factory=threading.Event)
    error: BaseException | None = None

    @property
    def has_room(self) -> bool:
        return self.members < MOST_TOGETHER and time.monotonic() - self.began < LONGEST_SHARED_S


@dataclass(slots=True, eq=False)
class _Ticket:
    """A place in the line, for which purpose turns may be shared, and the shared turn that was handed on to it."""

    purpose: object = None
    ready: threading.Event = field(default_factory=threading.Event)
    shared: _Shared | None = None


class Turns:
    """Turns of the threads of this process, by the name of what they write.

    Parameters
    ----------
    wait_s : float
        The longest wait in seconds; after it a writer goes on without, and the lock of the file decides.
    """

    def __init__(self, wait_s: float) -> None:
        self._wait_s = wait_s
        self._guard = threading.Lock()
        self._lines: dict[Path, deque[_Ticket]] = {}

    @contextmanager
    def alone(self, name: Path) -> Iterator[None]:
        """Wait for a turn that nobody shares."""
        ticket = self._join(name, None)
        try:
            self._await(ticket)
            yield
        finally:
            self._leave(name, ticket)

    @contextmanager
    def together(
        self,
        name: Path,
        purpose: object,
        *,
        begin: Callable[[], Work],
        end: Callable[[Work], None],
        more: Callable[[Work], bool],
    ) -> Iterator[Work]:
        """Wait for a turn, which others with the same purpose may share who stand next in the line.

        Parameters
        ----------
        name : Path
            Of the line.
        purpose : object
            What it must equal to share a turn.
        begin : callable
            Makes what is worked on, by the first one.
        end : callable
            Ends it, by the last one; when it has returned, all are done. What it raises, every one raises that has
            raised nothing itself.
        more : callable
            Tells whether others may work on after this one.
        """
        ticket = self._join(name, purpose)
        try:
            self._await(ticket)
            if ticket.shared is None:
                ticket.shared = _Shared(begin(), time.monotonic())
            yield ticket.shared.work
        except BaseException:
            self._finish(name, ticket, end, more)
            raise
        if (shared := self._finish(name, ticket, end, more)) is not None:
            shared.done.wait()
            if shared.error is not None:
                raise shared.error

    def _finish(
        self, name: Path, ticket: _Ticket, end: Callable[[Work], None], more: Callable[[Work], bool]
    ) -> _Shared | None:
        """Hand the turn on to who may share it, or end it; return it where it had begun."""
        shared = ticket.shared
        if shared is None:
            self._leave(name, ticket)
            return None
        try:
            if shared.has_room and more(shared.work) and self._hand_on(name, ticket, shared):
                return shared
            end(shared.work)
        except BaseException as error:  # noqa: BLE001 - whoever shared the turn raises it
            shared.error = error
        shared.done.set()
        self._leave(name, ticket)
        return shared

    def _join(self, name: Path, purpose: object) -> _Ticket:
        ticket = _Ticket(purpose)
        with self._guard:
            line = self._lines.setdefault(name, deque())
            line.append(ticket)
            if line[0] is ticket:
                ticket.ready.set()
        return ticket

    def _await(self, ticket: _Ticket) -> None:
        if not ticket.ready.wait(self._wait_s):
            with self._guard:
                ticket.purpose = None  # from now on it has a turn of its own, or none

    def _hand_on(self, name: Path, ticket: _Ticket, shared: _Shared) -> bool:
        with self._guard:
            line = self._lines[name]
            if line[0] is not ticket or len(line) < 2 or ticket.purpose is None or line[1].purpose != ticket.purpose:
                return False
            line.popleft()
            shared.members += 1
            line[0].shared = shared
            line[0].ready.set()
            return True

    def _leave(self, name: Path, ticket: _Ticket) -> None:
        with self._guard:
            line = self._lines[name]
            line.remove(ticket)
            if line:
                line[0].ready.set()
            else:
                self._lines.pop(name)
