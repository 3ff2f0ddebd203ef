"""`--all-blocks` of the verbs that read: each block in turn, and one that cannot be read stops no other."""

from collections.abc import Callable, Sequence
from typing import Any

import click

from trunkwatch.cli.options import echo_notes, emit_json

__all__ = ["all_blocks_option", "go_through", "refuse_with"]

all_blocks_option = click.option(
    "--all-blocks",
    is_flag=True,
    help="Every block; one that cannot be read is named and left out. With --json a list, one entry a block.",
)


def refuse_with(**given: object) -> None:
    """Refuse options that are of one block beside --all-blocks."""
    wrong = [name for name, value in given.items() if value is not None and value is not False]
    if wrong:
        raise click.UsageError(f"--all-blocks goes with no --{wrong[0].replace('_', '-')}")


def go_through(
    labels: Sequence[str],
    read: Callable[[str], Any],
    show: Callable[[Any], None],
    data: Callable[[Any], Any] | None = None,
) -> None:
    """Read and show every block.

    Parameters
    ----------
    labels : sequence of str
        All blocks.
    read : callable
        Takes the name of a block, and gives what is shown; it prints nothing.
    show : callable
        Prints it.
    data : callable, optional
        Makes data of it, which are printed as one list of JSON at the end, in place of `show`.

    Raises
    ------
    RecordError
        If no block can be read.
    """
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.errors import RecordError

    listed, many = [], 0
    with waiting("Blocks") as progress:
        for number, label in enumerate(labels, 1):
            try:
                found = read(label)
            except RecordError as error:
                echo_notes((f"block {label} is left out: {error}",))
            else:
                many += 1
                if data is None:
                    show(found)
                else:
                    listed.append(data(found))
            progress(number / len(labels))
    if data is not None:
        emit_json(listed)
    if not many:
        raise RecordError("no block can be read so; `trunkwatch check` lists what stands in the way")
