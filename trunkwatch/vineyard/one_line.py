"""Rows that stand on one line of posts: 7A, and 7B behind it where an alley or another cultivar begins."""

import math
import re
from collections.abc import Iterable, Sequence
from itertools import pairwise

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.tables import Record, number_in

__all__ = ["divided_label", "halves_of", "line_numbers", "refuse_strangers", "share_a_line"]

_DIVIDED = re.compile(r"(.*\d)[\s.\-/]*([A-Za-z])")


def divided_label(label: str) -> tuple[str, str]:
    """Return number and letter of a label such as 7A, ("", "") of any other."""
    found = _DIVIDED.fullmatch(label.strip())
    return (found[1], found[2].casefold()) if found else ("", "")


def halves_of(labels: Iterable[str]) -> dict[str, list[str]]:
    """Return the labels that differ in a letter behind the same number, by that number, where no row bears it alone: 7A and 7B."""
    every = list(labels)
    found: dict[str, list[str]] = {}
    for label in every:
        number, letter = divided_label(label)
        if letter:
            found.setdefault(number, []).append(label)
    bare = {label.strip() for label in every}
    return {number: own for number, own in found.items() if len(own) > 1 and number not in bare}


def share_a_line(before: Record, after: Record) -> bool:
    """Tell whether two rows have the same row_order, or, where none is written, the same across_m."""
    orders = [number_in(record, "row_order") for record in (before, after)]
    if not any(math.isnan(order) for order in orders):
        return orders[0] == orders[1]
    metres = [number_in(record, "across_m") for record in (before, after)]
    return metres[0] == metres[1]  # nan is no place


def line_numbers(ordered: Sequence[Record]) -> list[int]:
    """Number the lines of posts from 0, one number for each row; rows are given in the order of the ground."""
    numbers = [0] * len(ordered)
    for place, (before, after) in enumerate(pairwise(ordered), 1):
        numbers[place] = numbers[place - 1] + (not share_a_line(before, after))
    return numbers


def refuse_strangers(block: str, before: Record, after: Record) -> None:
    """Refuse two rows in one place that nobody would have put on one line.

    Raises
    ------
    RecordError
        If they are not parts of one row by their labels, and it is not written where the second begins.
    """
    numbers = [divided_label(str(record["row"])) for record in (before, after)]
    if numbers[0][0] and numbers[0][0] == numbers[1][0] and numbers[0][1] != numbers[1][1]:
        return
    if not math.isnan(number_in(after, "start_m")):
        return
    column = "across_m" if math.isnan(number_in(after, "row_order")) else "row_order"
    raise RecordError(
        f"block {block!r}, row {after['row']!r}: {column} is {number_in(after, column):g} as in row {before['row']!r}; "
        "expected: another place for each row; or, on one line of posts, labels such as 7A and 7B, or the start_m at which it begins"
    )
