"""What is wrong or odd in notes, with the place where it stands."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["Fault", "Weight"]

Weight = Literal["fault", "note"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to mend (a fault) or to know (a note).

    A fault keeps its file from being taken. A note tells what was read in a way the writer
    may not have meant, or what looks odd in the vineyard and may well be true.
    """

    weight: Weight
    problem: str
    file: str = ""
    line: int = 0  # 1 is the heading; 0 where no line applies
    column: str = ""
    value: str = ""
    expected: str = ""

    @property
    def place(self) -> str:
        """File, line and column, as far as they are known."""
        parts = [self.file] if self.file else []
        if self.line:
            parts.append(f"line {self.line}")
        if self.column:
            parts.append(f"column {self.column}")
        return ", ".join(parts)

    def __str__(self) -> str:
        shown = f" ({self.value!r})" if self.value else ""
        wanted = f"; expected: {self.expected}" if self.expected else ""
        start = f"{self.place}: " if self.place else ""
        return f"{start}{self.problem}{shown}{wanted}"
