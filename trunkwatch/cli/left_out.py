"""What was taken and what was left out, told at the end of `load` and `log --file`."""

from collections import Counter
from collections.abc import Iterable, Sequence

import click

from trunkwatch.vineyard.faults import Fault, folded

__all__ = ["echo_faults", "echo_taken", "lines_left_out"]

#: So many faults are printed one by one; of more, the first few of each cause.
_ALL, _FEW = 20, 3


def lines_left_out(faults: Iterable[Fault]) -> int:
    """Return how many lines were left out, each counted once whatever is wrong with it."""
    places: dict[tuple[str, int], int] = {}
    for fault in faults:
        if fault.weight == "fault" and fault.line:
            place = (fault.file, fault.line)
            places[place] = max(fault.lines, places.get(place, 0))
    return sum(places.values())


def echo_faults(faults: Iterable[Fault]) -> None:
    """Print faults and notes on stderr: all of few; of many the first of each cause, and how many are like them."""
    listed = folded(faults)
    shown: Counter[tuple[str, str, str]] = Counter()
    for fault in listed:
        cause = (fault.weight, fault.problem, fault.column)
        shown[cause] += 1
        if len(listed) <= _ALL or shown[cause] <= _FEW:
            click.echo(f"{fault.weight}: {fault}", err=True)
    for (weight, problem, column), count in shown.items():
        if len(listed) > _ALL and count > _FEW:
            where = f" (column {column})" if column else ""
            click.echo(f"{weight}: {count - _FEW:,} more: {problem}{where}", err=True)


def echo_taken(taken: int, faults: Sequence[Fault], tables: Iterable[str]) -> None:
    """Print how much was taken and left out, where anything was left out."""
    left = lines_left_out(faults)
    files = {fault.file for fault in faults if fault.weight == "fault" and not fault.line}
    if not left and not files:
        return
    not_whole = f"; not read, or not whole: {', '.join(sorted(files))}" if files else ""
    click.echo(f"{taken:,} taken, {left:,} left out{not_whole}")
    if "symptoms" in tables:
        click.echo(
            "note: where a survey covers a vine whose finding was left out, the vine counts as scouted and sound: fix "
            "the lines and load the file again",
            err=True,
        )
