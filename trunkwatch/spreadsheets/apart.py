"""Reading what others wrote in a process of its own, with limits on its time and its memory.

A file can be made, or damaged, so that reading it takes days or all memory. Whoever reads it here
loses a process that nobody else waits for: the desk goes on answering, and the file is refused in
one sentence.

One helper process is started at the first file and lives as long as its parent. It has only
loaded the program; for every file it forks a reader, which is quick and starts from a process
without threads. Where a system knows no fork, each reader is a process of its own.
"""

import atexit
import contextlib
import importlib
import os
import pickle
import signal
import socket
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

from trunkwatch import errors
from trunkwatch.errors import FaultyNotesError, FileError, TrunkwatchError

__all__ = ["MOST_BYTES", "MOST_SECONDS", "apart"]

#: Seconds and bytes that reading one file may take.
MOST_SECONDS, MOST_BYTES = 10.0, 1_000_000_000
#: Of a large file so much more a million bytes, beyond the first million: an estate of forty blocks is one file, too.
SECONDS_A_MB, BYTES_A_BYTE = 3.0, 40
#: What a reader may give back, in bytes; more would fill the memory of who asked.
MOST_ANSWER = 400_000_000
_LENGTH = struct.Struct("!Q")
_HELPER = "trunkwatch.spreadsheets.apart"
_INSIDE = False  # whether this process is a reader itself
_HAS_FORK = hasattr(os, "fork") and hasattr(socket, "AF_UNIX") and hasattr(socket, "send_fds")

T = TypeVar("T")


def apart(work: Callable[..., T], path: Path, *words: Any, seconds: float | None = None, **named: Any) -> T:
    """Return ``work(path, *words, **named)``, done in a process of its own.

    Parameters
    ----------
    work : callable
        A function of a module, by whose name the other process finds it.
    path : Path
        The file or folder that is read, for the message.
    *words, **named
        What else it takes.
    seconds : float, optional
        How long it may take; where left out, as long as a file of its size may.

    Raises
    ------
    FileError
        If the limit of time or memory is reached, or the reading breaks off.
    TrunkwatchError
        What `work` raises.
    """
    beyond = max(0, _size(path) - 1_000_000)
    seconds = MOST_SECONDS + SECONDS_A_MB * beyond / 1e6 if seconds is None else seconds
    if _INSIDE:
        with _within(seconds):
            return work(path, *words, **named)
    most = MOST_BYTES + BYTES_A_BYTE * beyond
    job = pickle.dumps((work.__module__, work.__qualname__, (path, *words), named, seconds, most, _folder()))
    try:
        raw = _by_helper(work.__module__, job, seconds) if _HAS_FORK else _by_process(job, seconds)
    except TimeoutError as error:
        raise _too_slow(path, seconds) from error
    given: T = _answer(raw, path, seconds)
    return given


def _folder() -> str | None:
    """Return the folder that this program is in, from which paths count; None where it is gone."""
    try:
        return str(Path.cwd())
    except OSError:
        return None


def _size(path: Path) -> int:
    """Return the bytes of a file, or of the files of a folder together."""
    try:
        return (
            sum(one.stat().st_size for one in path.iterdir() if one.is_file()) if path.is_dir() else path.stat().st_size
        )
    except OSError:
        return 0


def _too_slow(path: Path, seconds: float) -> FileError:
    return FileError(
        f"{path.name} cannot be read within {seconds:.3g} seconds, the limit for a file of its size, and was left alone: "
        "save what is filled as CSV, in several files"
    )


def _answer(raw: bytes, path: Path, seconds: float) -> Any:
    """Return what a reader gave back, or raise what it raised."""
    if not raw:
        raise FileError(
            f"{path.name} cannot be read: the reading broke off, for want of memory perhaps; save it anew, or as CSV"
        )
    kind, value = pickle.loads(raw)  # noqa: S301 - from a process of our own
    if kind == "done":
        return value
    if kind == "faults":
        raise FaultyNotesError(value)
    if kind == "memory":
        raise FileError(
            f"{path.name} needs more memory than a file of its size may ({MOST_BYTES / 1e9:g} GB and more for a large one), and was left alone: "
            "save what is filled as CSV, in several files"
        )
    if kind == "slow":
        raise _too_slow(path, value or seconds)
    if kind == "error":
        name, text = value
        raise getattr(errors, name)(text)
    raise FileError(
        f"{path.name} is damaged in a way that is not understood ({value}): save it anew from where it came"
    )


# ---- The helper and the readers it forks -----------------------------------------------------------------------


class _Helper:
    """The process that forks readers, and the line to it."""

    def __init__(self) -> None:
        ours, theirs = socket.socketpair()
        with theirs:
            self.process = subprocess.Popen(  # noqa: S603 - this program itself
                [sys.executable, "-c", f"from {_HELPER} import serve; serve({theirs.fileno()})"],
                pass_fds=(theirs.fileno(),),
                env=_surroundings(),
                stdin=subprocess.DEVNULL,
            )
        self.line = ours
        self.parent = os.getpid()

    @property
    def lives(self) -> bool:
        """Whether it is there, and this process's own."""
        return self.parent == os.getpid() and self.process.poll() is None

    def close(self) -> None:
        """Hang up: the helper then ends."""
        self.line.close()
        if self.parent == os.getpid():
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(5)


_helper: _Helper | None = None
_turn = threading.Lock()


def _surroundings() -> dict[str, str]:
    """Return the surroundings of the helper: the same program, and no threads of number libraries, which take memory."""
    one = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    place = str(Path(__file__).resolve().parent.parent.parent)
    known = os.environ.get("PYTHONPATH")
    return {**os.environ, **one, "PYTHONPATH": f"{place}{os.pathsep}{known}" if known else place}


def _reader_socket(module: str) -> socket.socket:
    """Return the line to a new reader, which has a module at hand."""
    global _helper  # noqa: PLW0603 - one helper a process
    with _turn:
        for _ in range(2):
            if _helper is None or not _helper.lives:
                _helper = _Helper()
                atexit.register(_helper.close)
            ours, theirs = socket.socketpair()
            try:
                with theirs:
                    socket.send_fds(_helper.line, [module.encode()], [theirs.fileno()])
            except OSError:  # the helper was ended from outside
                ours.close()
                _helper = None
                continue
            return ours
    raise FileError("no process can be started to read the file: close other programs and try again")


def _by_helper(module: str, job: bytes, seconds: float) -> bytes:
    # One second more than the reader gives itself, so that it is the reader that tells.
    until = time.monotonic() + seconds + 1.0
    with _reader_socket(module) as line:
        line.settimeout(60.0)  # the helper may just have been started
        pid = int.from_bytes(_exactly(line, 4) or b"\0\0\0\0", "big")
        if not pid:
            return b""
        until = max(until, time.monotonic() + seconds + 1.0)
        try:
            line.sendall(_LENGTH.pack(len(job)) + job)
            return _received(line, until)
        except TimeoutError:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
            raise
        except OSError:
            return b""


def _received(line: socket.socket, until: float) -> bytes:
    head = _exactly(line, _LENGTH.size, until)
    return _exactly(line, _LENGTH.unpack(head)[0], until) if head else b""


def _exactly(line: socket.socket, many: int, until: float | None = None) -> bytes:
    """Read so many bytes; nothing where the other end was closed before."""
    parts = bytearray()
    while len(parts) < many:
        if until is not None:
            line.settimeout(max(0.01, until - time.monotonic()))
        piece = line.recv(min(1 << 20, many - len(parts)))
        if not piece:
            return b""
        parts += piece
    return bytes(parts)


def serve(fd: int) -> None:
    """Fork a reader for each line that comes, until the parent is gone."""
    line = socket.socket(fileno=fd)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C ends the parent, and that ends this
    for module in (
        "trunkwatch.spreadsheets.folder",
        "trunkwatch.spreadsheets.handover",
        "trunkwatch.store",
        "openpyxl",
    ):
        importlib.import_module(module)
    while True:
        asked, fds, _, _ = socket.recv_fds(line, 1024, 1)
        if not fds:
            return
        # Here and not in the reader: the next reader has it already, and its time goes into the file alone.
        with contextlib.suppress(Exception):
            importlib.import_module(asked.decode())
        if os.fork() == 0:
            line.close()
            with contextlib.suppress(BaseException), socket.socket(fileno=fds[0]) as own:
                _read_for(own)
            os._exit(0)
        os.close(fds[0])


def _read_for(own: socket.socket) -> None:
    own.sendall(os.getpid().to_bytes(4, "big"))
    job = _exactly(own, _LENGTH.unpack(_exactly(own, _LENGTH.size))[0])
    raw = _done(job)
    own.sendall(_LENGTH.pack(len(raw)) + raw)


# ---- In the reader ----------------------------------------------------------------------------------------------


def _done(job: bytes) -> bytes:
    """Do a piece of work within the limits, and return what came of it."""
    global _INSIDE  # noqa: PLW0603 - what is read for a reader is read by it
    _INSIDE = True
    module, name, words, named, seconds, most, folder = pickle.loads(job)  # noqa: S301 - from the process that started this one
    if folder is not None:
        with contextlib.suppress(OSError):
            os.chdir(folder)  # the helper began where its parent was then
    _limit(seconds, most)
    answer: tuple[str, Any]
    try:
        answer = "done", getattr(importlib.import_module(module), name)(*words, **named)
        raw = pickle.dumps(answer)
        if len(raw) > MOST_ANSWER:
            raw = pickle.dumps(("memory", None))
    except FaultyNotesError as error:
        raw = pickle.dumps(("faults", error.faults))
    except TrunkwatchError as error:
        raw = pickle.dumps(("error", (type(error).__name__, str(error))))
    except _OutOfTimeError as error:
        raw = pickle.dumps(("slow", error.seconds))
    except MemoryError:
        raw = pickle.dumps(("memory", None))
    except Exception as error:  # noqa: BLE001 - whatever a damaged file makes of the libraries
        raw = pickle.dumps(("broken", _told(error)))
    with contextlib.suppress(AttributeError, ValueError):
        signal.setitimer(signal.ITIMER_REAL, 0)
    return raw


def _told(error: Exception) -> str:
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text[:200]}" if text else type(error).__name__


def _limit(seconds: float, most: int) -> None:
    """Set the limits of this process; a system without them has those of the parent, which waits no longer."""
    try:
        import resource
    except ImportError:
        return
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_DATA, (_here() + most * 8 // 10, resource.RLIM_INFINITY))
    with contextlib.suppress(ValueError, OSError):
        whole = int(seconds) + 2
        resource.setrlimit(resource.RLIMIT_CPU, (whole, whole + 1))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGALRM, _stop)
    _alarm(seconds)


class _OutOfTimeError(BaseException):
    """The time of a piece of work is over; no `except Exception` on the way may take it for a damaged file."""

    def __init__(self, seconds: float) -> None:
        super().__init__(seconds)
        self.seconds = seconds


_allowed = 0.0  # seconds of the work that the alarm stands for


def _alarm(seconds: float, allowed: float | None = None) -> None:
    global _allowed  # noqa: PLW0603 - there is one alarm in a process
    _allowed = seconds if allowed is None else allowed
    signal.setitimer(signal.ITIMER_REAL, max(0.001, seconds))


def _stop(_number: int, _frame: Any) -> None:
    raise _OutOfTimeError(_allowed)


@contextlib.contextmanager
def _within(seconds: float) -> Iterator[None]:
    """Give a part of the work its own limit of time, where the system has alarms."""
    left = signal.getitimer(signal.ITIMER_REAL)[0] if hasattr(signal, "getitimer") else 0.0
    if not left or left <= seconds:
        yield
        return
    whole, began = _allowed, time.monotonic()
    _alarm(seconds)
    try:
        yield
    finally:
        _alarm(left - (time.monotonic() - began), whole)


def _here() -> int:
    """Return the bytes of data that this process has mapped before it begins."""
    with contextlib.suppress(OSError, ValueError, IndexError):
        return int(Path("/proc/self/statm").read_text().split()[5]) * os.sysconf("SC_PAGE_SIZE")
    return 200_000_000


# ---- Without fork -----------------------------------------------------------------------------------------------


def _by_process(job: bytes, seconds: float) -> bytes:
    command = [sys.executable, "-c", f"from {_HELPER} import read_once; read_once()"]
    start = 30.0  # seconds in which the program is loaded
    try:
        done = subprocess.run(  # noqa: S603 - this program itself
            command, input=job, capture_output=True, timeout=seconds + start, env=_surroundings(), check=False
        )
    except subprocess.TimeoutExpired as error:
        raise TimeoutError from error
    return done.stdout


def read_once() -> None:
    """Do the work that stands on the standard input, and write what came of it to the standard output."""
    job = sys.stdin.buffer.read()
    out = sys.stdout.buffer
    sys.stdout = sys.stderr
    threading.Thread(target=_end_after, args=(pickle.loads(job)[4] + 1.0,), daemon=True).start()  # noqa: S301 - as above
    out.write(_done(job))
    out.flush()


def _end_after(seconds: float) -> None:
    time.sleep(seconds)
    os._exit(1)
