"""Lines folded to a width that a mail keeps, and days as they are typed."""

import datetime as dt
import re
import textwrap

import click

__all__ = ["WIDTH", "day_option", "say_folded"]

#: Columns that answers keep to, on paper and in a mail as well.
WIDTH = 80


def say_folded(lines: tuple[str, ...], *, indent: str = "  ") -> None:
    """Print lines, each folded; a number stays with its unit."""
    for line in lines:
        # The fold takes no-break spaces for letters.
        tied = re.sub(r"(?<=\d) (?=%|C\b|h\b)", "\u00a0", line)
        folded = textwrap.fill(
            tied, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False
        )
        click.echo(folded.replace("\u00a0", " "))


def day_option(text: str, option: str) -> dt.date:
    """Read a day as it was typed.

    Raises
    ------
    BadParameter
        If it is none.
    """
    from trunkwatch.vineyard.calendar import is_iso_date

    if not is_iso_date(text):
        raise click.BadParameter(f"{text!r} is no day: write it as YYYY-MM-DD", param_hint=option)
    return dt.date.fromisoformat(text)
