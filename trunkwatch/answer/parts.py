"""What a page shows of the answer: the five lines, the list of this winter, and the vines that are flagged only."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.answer.five import Answer
from trunkwatch.answer.five_words import LISTS, five_lines, long_ago, reason_words, task_words
from trunkwatch.answer.tasks import Task, ToDo

__all__ = ["FIRST", "answer_parts", "listed", "on_the_list"]

#: Vines of the list that are shown unfolded.
FIRST = 12
_OTHERS = (
    (ToDo.FLAG, "1 vine shows without dead wood on record: flag it, do not cut", "{} vines show without dead wood on record: flag them, do not cut"),
    (ToDo.KEEP_SHOOT, "Keep the new shoot on 1 vine at suckering", "Keep the new shoot on {} vines at suckering"),
    (ToDo.WATCH, "1 vine showed before, not this year: keep an eye on it", "{} vines showed before, not this year: keep an eye on them"),
)  # fmt: skip


def listed(found: Answer) -> list[Task]:
    """Return the vines to walk to this winter: cut, replant, look again, finish training, clean up."""
    wanted = {todo for group in LISTS for todo in group}
    return [task for task in found.tasks if task.todo in wanted]


def on_the_list(found: Answer) -> NDArray[np.bool_]:
    """Return which vines of the block are on this winter's list, (rows, stations)."""
    grid = found.season.history.grid
    marked = np.zeros(grid.shape, dtype=bool)
    for task in listed(found):
        marked[grid.cell(task.row, task.position)] = True
    return marked


def answer_parts(found: Answer) -> dict[str, Any]:
    """Return lines and lists for the templates answer.html and tasks.html."""
    others = []
    for todo, one, more in _OTHERS:
        vines = [task for task in found.tasks if task.todo is todo]
        if vines:
            others.append((one if len(vines) == 1 else more.format(len(vines)), _by_row(vines)))
    return {
        "five": five_lines(found),
        "tasks": [
            (task, (*task_words(task), reason_words(task, found.season.season), long_ago(task, found.season.season)))
            for task in listed(found)
        ],
        "others": others,
        "most": FIRST,
    }


def _by_row(tasks: list[Task]) -> str:
    rows: dict[str, list[str]] = {}
    for task in tasks:
        rows.setdefault(task.row, []).append(str(task.position))
    return "; ".join(f"row {row}: {', '.join(vines)}" for row, vines in rows.items())
