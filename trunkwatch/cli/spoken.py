"""The terminal speaks as the vineyard that a verb opens says; data keep their form."""

import contextlib
import sys
from collections.abc import Iterator, Sequence
from typing import Any

from trunkwatch.vineyard.manner import following
from trunkwatch.vineyard.spelling import spelled

__all__ = ["Spelled", "hands_out_data", "speaking_to_people"]

#: Options and verbs that hand out data: these never change with a setting.
_DATA = frozenset({"--json", "--json-schema"})
_DATA_VERBS = frozenset({"export"})


class Spelled:
    """A stream that spells what is printed as the manner in force does, and is the stream beneath in all else."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: Any) -> int:
        """Write text; bytes are refused by the stream beneath as ever."""
        written = spelled(text) if isinstance(text, str) else text
        self._stream.write(written)
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def hands_out_data(arguments: Sequence[str]) -> bool:
    """Tell whether a command line asks for data, and not for words."""
    return bool(_DATA.intersection(arguments)) or bool(_DATA_VERBS.intersection(arguments[:1]))


@contextlib.contextmanager
def speaking_to_people(arguments: Sequence[str]) -> Iterator[None]:
    """Follow the settings of the vineyards that are opened, and spell what is printed."""
    if hands_out_data(arguments):
        yield
        return
    with following(), contextlib.redirect_stdout(Spelled(sys.stdout)), contextlib.redirect_stderr(Spelled(sys.stderr)):
        yield
