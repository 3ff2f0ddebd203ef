"""Several files of a folder changed in one step: all of them new or all of them old, whenever the program is ended.

New versions are written and forced to disk in a hidden folder beside the files, with a list of what each file was and
what it becomes. The list gets its name last, by one renaming: with it the step counts. Then each version takes the
place of its file, and the list is removed. Whoever comes next and finds a list puts in place what is not there yet;
where there is none, what lies in the hidden folder never counted and is thrown away.

A file that somebody changed in between is neither what it was nor what it becomes: it is never written over.
"""

import contextlib
import errno
import hashlib
import json
import logging
import os
import secrets
from dataclasses import asdict, dataclass
from pathlib import Path

from trunkwatch import rights
from trunkwatch.errors import FileError

__all__ = ["STEP", "OneStep", "finish", "is_waiting", "replace_file", "waiting", "why"]

_LOG = logging.getLogger("trunkwatch")
#: The hidden folder of new versions, and the list in it by which they count.
STEP, LIST = ".trunkwatch.step", "step.json"
#: How names begin of single files that a step writes; who has the turn may throw them away.
_PART = ".trunkwatch-"


@dataclass(frozen=True, slots=True)
class _Change:
    """What a file was and what it becomes; sizes and sums of nothing where it was not there."""

    name: str
    old_size: int | None
    old_sha256: str | None
    size: int
    sha256: str

    def was(self, data: bytes | None) -> bool:
        """Whether these are the bytes of before."""
        return _sum(data) == (self.old_size, self.old_sha256)

    def becomes(self, data: bytes | None) -> bool:
        """Whether these are the new bytes."""
        return _sum(data) == (self.size, self.sha256)


def _sum(data: bytes | None) -> tuple[int | None, str | None]:
    return (None, None) if data is None else (len(data), hashlib.sha256(data).hexdigest())


class OneStep:
    """New versions of files of one folder, put in place together; whoever makes one has the turn to write.

    Parameters
    ----------
    folder : Path
        What an earlier program left unfinished in it is finished first.

    Raises
    ------
    FileError
        If that cannot be finished.
    """

    def __init__(self, folder: Path) -> None:
        finish(folder)
        self.folder = folder
        self._old: dict[str, bytes | None] = {}
        self._new: dict[str, bytes] = {}

    def new(self, path: Path) -> bytes | None:
        """Return the new version of a file; None where it has none."""
        return self._new.get(path.name)

    def made(self) -> list[Path]:
        """Return the files that have a new version."""
        return [self.folder / name for name in self._new]

    def read(self, path: Path) -> bytes | None:
        """Return what a file will be, as far as is known yet; None where it will not be there.

        Raises
        ------
        FileError
            If it cannot be read.
        """
        if path.name in self._new:
            return self._new[path.name]
        if path.name not in self._old:
            self._old[path.name] = _bytes(path)
        return self._old[path.name]

    def write(self, path: Path, data: bytes) -> None:
        """Have a new version of a file put in place with the others."""
        self.read(path)
        self._new[path.name] = data

    def put_in_place(self) -> None:
        """Put all new versions in place, or none.

        Raises
        ------
        FileError
            If the folder cannot be written to, or a file was changed meanwhile: then all is as it was. If the step
            counts, and a version could not be put in place yet: the message says so.
        """
        for name in self._new:
            self._refuse_to_lose(self.folder / name)
        if len(self._new) == 1:
            ((name, data),) = self._new.items()
            _replace(self.folder / name, data, f"{_PART}{secrets.token_hex(8)}.part")
        elif self._new:
            _prepare(self.folder, self._new, self._old)
            finish(self.folder, after_kill=False)

    def _refuse_to_lose(self, path: Path) -> None:
        if _bytes(path) != self._old[path.name]:
            raise FileError(
                f"{path.name} was changed by another program while it was to be written: nothing was changed; try again"
            )
        place = rights.real_path(path)
        for needed in (place.parent, *([place] if place.exists() else [])):
            if not os.access(needed, os.W_OK):
                raise FileError(
                    f"{needed} is read-only: change its permissions, or copy the folder; nothing was changed"
                )


def replace_file(path: Path, data: bytes) -> None:
    """Write a new file beside the old one and put it in its place, so that neither is ever half.

    Raises
    ------
    FileError
        If the folder cannot be written to.
    """
    _replace(path, data, f".{secrets.token_hex(8)}.part")


def _replace(path: Path, data: bytes, part_name: str) -> None:
    place = rights.real_path(path)
    part = place.with_name(part_name)
    try:
        _write_as(part, place, data)
        part.replace(place)
        _sync_folder(place.parent)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise FileError(f"{path} cannot be written: {why(error)}; nothing of it was changed") from error
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def is_waiting(folder: Path) -> bool:
    """Tell whether a step counts that was not finished."""
    return (folder / STEP / LIST).exists()


def waiting(folder: Path) -> dict[str, Path]:
    """Return new versions that count and are not in place yet, by the names of their files.

    Raises
    ------
    FileError
        If a file was changed since, or a version or the list is damaged.
    """
    found = {}
    for change in _listed(folder):
        version = folder / STEP / change.name
        data = _bytes(version)
        if data is None:  # in place already, and what was changed since is somebody's own
            continue
        present = _bytes(folder / change.name)
        if change.becomes(present):
            continue
        if not change.becomes(data):
            raise FileError(
                f"{version} is damaged, and was to become {change.name}: delete it to keep {change.name} as it is"
            )
        if not change.was(present):
            raise FileError(
                f"{change.name} was {'deleted' if present is None else 'changed'} after a program that was writing it was "
                f"ended; the version that waits for its place is {version}: delete that one to keep {change.name} as it "
                f"is, or move it over {change.name} to take it"
            )
        found[change.name] = version
    return found


def finish(folder: Path, *, after_kill: bool = True) -> None:
    """Put in place what counts, and throw away what does not; the caller has the turn to write.

    Parameters
    ----------
    folder : Path
        The folder.
    after_kill : bool
        Whether another program began the step, so that it is worth a word.

    Raises
    ------
    FileError
        If a file was changed since, or cannot be replaced; what counts is kept and waits.
    """
    for stale in folder.glob(f"{_PART}*.part"):
        stale.unlink(missing_ok=True)  # left by a program that was ended
    if not (folder / STEP).exists():
        return
    versions = waiting(folder)
    try:
        for name, version in versions.items():
            _place(version, rights.real_path(folder / name))
    except (OSError, FileError) as error:
        reason = why(error) if isinstance(error, OSError) else str(error)
        raise FileError(
            f"{name} cannot be put in place: {reason}. All that was to be written is kept in {folder / STEP}, counts as "
            "written, and is put in place as soon as that can be done; close the file in other programs"
        ) from error
    _sweep(folder)
    if versions and after_kill:
        _LOG.warning("%s: a program was ended while it wrote; what it wrote was put in place", folder)


def _prepare(folder: Path, new: dict[str, bytes], old: dict[str, bytes | None]) -> None:
    """Write all new versions, and the list by which they count."""
    step = folder / STEP
    part = step / f"{LIST}.part"
    changes = [_Change(name, *_sum(old[name]), len(data), str(_sum(data)[1])) for name, data in new.items()]
    try:
        step.mkdir()
    except OSError as error:
        raise FileError(f"{folder} cannot be written to: {why(error)}; nothing was changed") from error
    try:
        rights.same_rights(step, folder)
        for name, data in new.items():
            _write_as(step / name, rights.real_path(folder / name), data)
        _write_as(part, step / LIST, json.dumps([asdict(change) for change in changes], indent=1).encode())
        _sync_folder(step)
        _sync_folder(folder)
        part.replace(step / LIST)
    except OSError as error:
        _sweep(folder)
        raise FileError(f"{folder} cannot be written to: {why(error)}; nothing was changed") from error
    except BaseException:
        if not is_waiting(folder):
            _sweep(folder)
        raise
    _sync_folder(step)


def _listed(folder: Path) -> list[_Change]:
    path = folder / STEP / LIST
    raw = _bytes(path)
    if raw is None:
        return []
    try:
        return [_Change(**one) for one in json.loads(raw)]
    except (ValueError, TypeError) as error:
        raise FileError(
            f"{path} is damaged, so that nobody can tell what was to be written: compare the files beside it with those of "
            f"{folder}, take over what you want to keep, and delete {folder / STEP}"
        ) from error


def _place(version: Path, place: Path) -> None:
    """Put a version in the place of its file; a link may lead to another disk."""
    try:
        version.replace(place)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        replace_file(place, version.read_bytes())
        version.unlink()
    _sync_folder(place.parent)


def _sweep(folder: Path) -> None:
    """Remove the hidden folder, the list first."""
    step = folder / STEP
    try:
        (step / LIST).unlink(missing_ok=True)
        for path in step.iterdir():
            path.unlink()
        step.rmdir()
    except FileNotFoundError:
        return
    except OSError as error:
        raise FileError(f"{step} cannot be removed: {why(error)}; remove it by hand") from error


def _bytes(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise FileError(f"{path.name} cannot be read: {why(error)}") from error


def _write_as(part: Path, place: Path, data: bytes) -> None:
    """Write a file that will take a place, with the rights of what is there, and force it to disk."""
    with os.fdopen(rights.empty_part(part, place), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    rights.same_rights(part, place)


def _sync_folder(folder: Path) -> None:
    """Force to disk which names a folder holds, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        with contextlib.suppress(OSError):  # some network disks know nothing of it; the files themselves are on disk
            os.fsync(handle)
    finally:
        os.close(handle)


#: What to do about what the system says.
_WAYS = {
    errno.ENOSPC: "make room on the disk and try again",
    errno.EDQUOT: "make room and try again",
    errno.EFBIG: "raise the limit for the size of a file, or write to another place",
    errno.EROFS: "copy the folder to where it can be written",
    errno.EACCES: "change the permissions, or copy the folder",
    errno.EPERM: "change the permissions, or copy the folder",
}


def why(error: OSError) -> str:
    """Say what stood in the way of writing, and what helps."""
    told = error.strerror or str(error)
    return f"{told} ({_WAYS[error.errno]})" if error.errno in _WAYS else told
