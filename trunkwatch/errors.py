"""Everything that can stand in the way, as one tree.

::

    TrunkwatchError            what is wrong, with the value at fault, and the way out
    |-- FileError              a file or folder that cannot be read or written
    |   |-- NotAVineyardError  it is there, but holds no vineyard
    |   |-- OldSchemaError     written by an earlier version: `trunkwatch upgrade`
    |   `-- NewerSchemaError   written by a later version
    |-- RecordError            a record that cannot stand
    |   |-- NothingWrittenError  nothing is on record of the block yet
    |   |-- UnknownBlockError
    |   `-- UnknownVineError
    |-- AccessError          a person, right, code or phone that cannot be
    |   `-- HandoverError    a hand-over of another vineyard, or not signed as it should be
    |-- FaultyNotesError       carries all faults: file, line, column, value, expected
    `-- MissingExtraError      an optional package is needed; names the command

Wrong arguments to a statistic are plain ``ValueError``.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trunkwatch.vineyard.faults import Fault

__all__ = [
    "AccessError",
    "FaultyNotesError",
    "FileError",
    "HandoverError",
    "MissingExtraError",
    "NewerSchemaError",
    "NotAVineyardError",
    "NothingWrittenError",
    "OldSchemaError",
    "RecordError",
    "SupersededError",
    "TrunkwatchError",
    "UnknownBlockError",
    "UnknownVineError",
]


class TrunkwatchError(Exception):
    """Root of all errors that trunkwatch raises on purpose."""


class FileError(TrunkwatchError):
    """A file or folder that cannot be read or written."""


class NotAVineyardError(FileError):
    """The path is there, but holds no vineyard."""


class OldSchemaError(FileError):
    """The file was written by an earlier version and must be upgraded first."""


class NewerSchemaError(FileError):
    """The file was written by a later version."""


class RecordError(TrunkwatchError):
    """A record that cannot stand."""


class SupersededError(RecordError):
    """A record that was corrected or taken back since.

    Attributes
    ----------
    id, values : str
        Id and values, in short, of what stands now; both empty where it was taken back.
    """

    def __init__(self, text: str, stands: str = "", values: str = "") -> None:
        super().__init__(text)
        self.id: str = stands
        self.values: str = values


class NothingWrittenError(RecordError):
    """Nothing is on record of the block yet: no survey, finding or work."""


class UnknownBlockError(RecordError):
    """No block of that name."""


class UnknownVineError(RecordError):
    """No such row or position in the block."""


class AccessError(TrunkwatchError):
    """A person, a right, a code or a phone that cannot be."""


class HandoverError(AccessError):
    """A hand-over of another vineyard, or one that is not signed as it should be."""


class FaultyNotesError(TrunkwatchError):
    """Notes with faults; nothing of them was taken.

    Attributes
    ----------
    faults : tuple of Fault
        All of them, in the order of files and lines.
    """

    def __init__(self, faults: Sequence["Fault"]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        first = self.faults[0] if self.faults else "no fault given"
        more = f" (and {len(self.faults) - 1} more)" if len(self.faults) > 1 else ""
        super().__init__(f"{first}{more}")


class MissingExtraError(TrunkwatchError, ImportError):
    """An optional package is needed; the message names the command that installs it."""
