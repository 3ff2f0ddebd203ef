"""The options that `cold` and `weeks` share: what stands in for a cultivar, nodes, days that can be worked."""

from collections.abc import Callable
from functools import reduce
from typing import Any, TypeVar

import click

__all__ = ["winter_options"]

F = TypeVar("F", bound=Callable[..., Any])
_NODES = click.FloatRange(1, 5)
_OPTIONS = (
    click.option("--stand-in", type=click.Choice(["tender", "medium", "labrusca", "hybrid"]), help="Group that stands in for a cultivar that no model knows."),
    click.option("--most-nodes", type=_NODES, default=2.0, show_default=True, help="Nodes that a vine carries at the most, in times those you want."),
    click.option("--work-above", type=float, default=-10.0, show_default=True, metavar="C", help="Your crew prunes where the day gets as warm as this."),
    click.option("--work-rain", type=click.FloatRange(0), default=2.0, show_default=True, metavar="MM", help="... and with less rain than this."),
    click.option("--work-snow", type=click.FloatRange(0), default=40.0, show_default=True, metavar="CM", help="... and less snow on the ground."),
    click.option("--first-cut-leaves", type=_NODES, default=2.0, show_default=True, metavar="TIMES", help="Nodes that a long first cut leaves, in times those you want."),
)  # fmt: skip


def winter_options(command: F) -> F:
    """Add the options, in this order."""
    return reduce(lambda made, option: option(made), reversed(_OPTIONS), command)
