"""What is wrong or odd in notes, with the place where it stands."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

__all__ = ["DayFault", "Fault", "Weight", "folded"]

Weight = Literal["fault", "note"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to mend (a fault) or to know (a note).

    A fault keeps its file from being taken. A note tells what was read in a way the writer
    may not have meant, or what looks odd in the vineyard and may well be true.

    Attributes
    ----------
    about : tuple of str
        Block, or block and row, whose own record is at fault, or which a line names in vain.
    waits : bool
        Whether the line would be good if what it names (`about`) could be laid out.
    lines : int
        How many lines it stands for, once `folded`; 0 where no line is left out for it.
    """

    weight: Weight
    problem: str
    file: str = ""
    line: int = 0  # 1 is the heading; 0 where no line applies
    column: str = ""
    value: str = ""
    expected: str = ""
    about: tuple[str, ...] = ()
    waits: bool = False
    lines: int = 1

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


@dataclass(frozen=True, slots=True)
class DayFault(Fault):
    """A day that could be read if it were said how days are written in the file."""


def folded(faults: Iterable[Fault]) -> list[Fault]:
    """Tell a cause once: lines that name the same block or row in vain become one fault with their count.

    Where the record of that block or row is itself at fault, the lines wait for it; otherwise they
    name what is not there. The order is kept, each group at its first line.
    """
    listed = list(faults)
    broken = {fault.about: fault for fault in listed if fault.about and not fault.waits and fault.weight == "fault"}
    groups: dict[tuple[str, ...], list[Fault]] = {}
    for fault in listed:
        if fault.waits:
            groups.setdefault(fault.about, []).append(fault)
    out = []
    for fault in listed:
        if not fault.waits:
            out.append(fault)
        elif groups[fault.about][0] is fault:
            cause = broken.get(fault.about) or broken.get(fault.about[:1])
            out.append(_together(groups[fault.about], cause))
    return out


def _together(group: Sequence[Fault], cause: Fault | None) -> Fault:
    first, count = group[0], len(group)
    many = f"{count:,} lines" if count > 1 else "1 line"
    if cause is not None:
        named = f"row {first.about[1]} of block {first.about[0]}" if len(first.about) > 1 else f"block {first.about[0]}"
        verb = "wait" if count > 1 else "waits"
        where = f"{cause.place or named} fixed first"
        return replace(first, problem=f"{many} of {named} {verb} for it", value="", expected=where, lines=count)
    return first if count == 1 else replace(first, problem=f"{first.problem}: {many}, this is the first", lines=count)
