"""What a mapping file says, as it was read: sheets, words, days, sides and blocks."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.book.plan import Choice
from trunkwatch.spreadsheets.located import word_key

__all__ = ["Kept", "KeptSheet", "label_key"]


@dataclass(frozen=True, slots=True)
class KeptSheet:
    """What the mapping says of one sheet."""

    name: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    columns: Mapping[str, str] = field(default_factory=dict)

    def choice(self, name: str, otherwise: Choice, allowed: tuple[str, ...] = ()) -> Choice:
        """Return what the mapping says of one thing, else what was understood.

        Raises
        ------
        RecordError
            If it is none of what is allowed.
        """
        value = str(self.values.get(name, "")).strip()
        plain = value.replace("_", " ") if allowed else value
        if not plain or plain == "ask":
            return otherwise
        if allowed and plain not in allowed:
            raise RecordError(
                f"sheet {self.name!r}: the mapping says {name} = {value!r}, which is none of {', '.join(allowed)}"
            )
        return Choice(plain, "said")


@dataclass(frozen=True, slots=True)
class Kept:
    """A whole mapping file; `raw` is what it holds, for what is written back."""

    raw: Mapping[str, Any] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, raw: Mapping[str, Any], file: str) -> "Kept":
        """Check the form of a mapping file.

        Raises
        ------
        RecordError
            If a part of it is not what it should be.
        """
        for name, part in raw.items():
            if name not in ("sheet", "words", "days", "sides", "block"):
                raise RecordError(
                    f"{file} has a part {name!r}, which no mapping has: sheet, words, days, sides and block are known"
                )
            if not isinstance(part, dict):
                raise RecordError(f"{file}: {name} is {part!r}; a table [{name}] is needed")
        for name in ("words", "days", "sides"):
            for key, value in raw.get(name, {}).items():
                if not isinstance(value, str):
                    raise RecordError(f"{file}: {name}, {key!r} is {value!r}; text in quotation marks is needed")
        return cls(raw, {label_key(key): str(value) for key, value in raw.get("words", {}).items()})

    def has_sheet(self, name: str) -> bool:
        """Tell whether the mapping names a sheet."""
        return name in self.raw.get("sheet", {})

    def sheet(self, name: str, shape: str) -> KeptSheet:
        """Return what is said of a sheet: by its name, else by the headings of one that is like it."""
        sheets: Mapping[str, Mapping[str, Any]] = self.raw.get("sheet", {})
        own = sheets.get(name)
        if own is not None and (not own.get("shape") or own["shape"] == shape):
            return KeptSheet(
                name, {key: str(value) for key, value in own.items() if key != "columns"}, own.get("columns", {})
            )
        for other in sheets.values():
            if shape and other.get("shape") == shape:
                values = {
                    key: str(value) for key, value in other.items() if key not in ("columns", "block", "day", "row")
                }
                return KeptSheet(name, values, other.get("columns", {}))
        return KeptSheet(name)

    def of_word(self, context: str, word: str) -> str:
        """Return the meaning that is given to a word, "" where there is none."""
        return self.words.get(label_key(f"{context}: {word}" if context else word), "")

    def of_day(self, key: str) -> str:
        """Return the day that is given to a year, a month or a look."""
        return str(self.raw.get("days", {}).get(key, "")).strip()

    def of_side(self, side: str) -> str:
        """Return the arm that is on a side."""
        return str(self.raw.get("sides", {}).get(side, "")).strip()

    def of_block(self, label: str) -> Mapping[str, Any]:
        """Return the facts of a block."""
        found: Mapping[str, Any] = self.raw.get("block", {}).get(label, {})
        return found


def label_key(label: str) -> str:
    """Return the form in which equal labels of words are equal."""
    context, mark, word = label.rpartition(": ")
    return f"{' '.join(context.split()).casefold()}{mark}{word_key(word)}"
