"""What was understood of a workbook, line by line on the terminal, and the way to take it."""

import shlex
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trunkwatch.cli.left_out import echo_faults
from trunkwatch.cli.options import say

if TYPE_CHECKING:
    from trunkwatch.intake.add import Added
    from trunkwatch.intake.bring_book import Understood
    from trunkwatch.spreadsheets.book.plan import BlockFacts, Choice, SheetPlan

__all__ = ["load_book"]

#: So many words are shown; all of them stand in the mapping file.
_WORDS_SHOWN = 60
_LOOKS_SHOWN = 40
_SURE = {"ask": "  <- ASKED", "proposed": "  (proposed)", "certain": "", "said": ""}


def load_book(
    vineyard: Path, path: Path, mapping: Path | None, *, yes: bool, take_changes: bool, keep_good: bool
) -> "Added":
    """Show what was understood of a workbook, and take it where it was confirmed.

    Raises
    ------
    click.ClickException
        If something is asked, stands in the way, or waits to be confirmed; nothing was taken then.
    """
    from trunkwatch.intake.bring_book import (
        is_changed,
        kept_place,
        mapping_place,
        take_book,
        understand_book,
        write_mapping,
    )

    draft = mapping_place(vineyard)
    place = mapping or draft
    edited = mapping or (draft if draft.is_file() and not yes else None)  # what was written into it is not lost
    understood = understand_book(vineyard, path, edited)
    _echo_plan(understood)
    plan = understood.plan
    stops = understood.stopping and not keep_good
    changed = bool(yes and not mapping and draft.is_file() and is_changed(draft, understood))
    if plan.asked or plan.proposed or stops or changed or not (mapping or yes):
        if not changed and (plan.asked or plan.proposed or not mapping):  # nothing new: the file stays as it was left
            write_mapping(place, understood, vineyard, path)
        raise click.ClickException(
            _way_out(
                understood, vineyard, path, place, yes=yes, stops=bool(stops), changed=changed, edited=bool(edited)
            )
        )
    added = take_book(vineyard, understood, take_changes=take_changes, keep_good=keep_good)
    kept = kept_place(vineyard)
    write_mapping(kept, understood, vineyard, path)
    click.echo(f"what the words mean is kept in {kept} for the next workbook")
    echo_faults(added.notes)  # by cause: a workbook of years makes many alike
    return replace(added, notes=())


def _way_out(
    understood: "Understood",
    vineyard: Path,
    path: Path,
    place: Path,
    *,
    yes: bool,
    stops: bool,
    changed: bool,
    edited: bool,
) -> str:
    """Say why nothing was taken, and how it will be."""
    command = shlex.join(["trunkwatch", "load", str(vineyard), str(path)])
    by_file = f"`{command} --mapping {shlex.quote(str(place))}` takes it"
    if stops:
        return (
            f"{_many(understood.stopping, 'kind')} of error {'stands' if understood.stopping == 1 else 'stand'} in the way; nothing of {path.name} was imported. Fix them in the workbook, or "
            f"--keep-good imports the rest; what the words mean stands in {place}"
        )
    asked, proposed = understood.plan.asked, understood.plan.proposed
    if asked:
        return (
            f"nothing was imported yet: {_many(len(asked), 'answer')} {'is' if len(asked) == 1 else 'are'} missing (the first: {asked[0][0]}). Look {place} over, write an answer "
            f'for each "ask", then {by_file}'
        )
    if proposed:
        not_yes = "--yes takes only what is certain; " if yes else ""
        return f"nothing was imported yet: {not_yes}{_many(len(proposed), 'proposal')} {'waits' if len(proposed) == 1 else 'wait'} for you. Look {place} over, change what is wrong, then {by_file}"
    if changed:
        return f"nothing was imported yet: {place} says other things than --yes would take; {by_file} as the file says"
    if edited:
        return f"nothing was imported yet: {by_file} as {place} says"
    return f"nothing was imported yet: all is certain; `{command} --yes` takes it (or change what is wrong in {place} and give it with --mapping)"


def _echo_plan(understood: "Understood") -> None:
    plan = understood.plan
    click.echo(f"{plan.file}: {_many(len(plan.sheets), 'sheet')}")
    for sheet in plan.sheets:
        _echo_sheet(sheet)
    _echo_words(understood)
    for day in plan.days:
        say(f"day of {day.key!r}: {_choice(day.meaning)} ({day.count:,} cells)")
    for side, choice in plan.sides:
        say(f"side {side}: {_choice(choice)}")
    for block in plan.blocks:
        _echo_block(block)
    looks = understood.made.looks
    for look in looks[:_LOOKS_SHOWN]:
        say(
            f"{look.block} on {look.day}: {look.looked_at:,} vines scouted, {look.sick:,} with symptoms, {look.no_vine:,} without a vine"
        )
    if len(looks) > _LOOKS_SHOWN:
        click.echo(f"and {len(looks) - _LOOKS_SHOWN:,} looks more")
    for cause in (*plan.causes, *understood.made.causes):
        click.echo(f"{'fault' if cause.stops else 'note'}: {cause}", err=True)


def _echo_sheet(sheet: "SheetPlan") -> None:
    if sheet.layout.value == "left out":
        say(f"sheet {sheet.name}: left out, {sheet.layout.why or 'as the mapping says'}")
        return
    kinds = {
        "table": "a table, one line a vine or finding",
        "matrix": "a matrix, rows by vines",
        "lists": "lists of positions",
    }
    say(f"sheet {sheet.name}: {kinds[sheet.layout.value]}{_why(sheet.layout)}; {sheet.entries:,} cells")
    for name in ("block", "row", "day", "order", "blank", "colours", "lines_are", "hyphens", "fill_down"):
        choice = getattr(sheet, name)
        if choice.value:
            label = {
                "colours": "colors",
                "lines_are": "a line is",
                "blank": "blank cells",
                "order": "day order",
                "fill_down": "fill down",
            }.get(name, name)
            say(f"{label}: {_choice(choice)}", "  ")
    for column in sheet.columns:
        if column.role not in ("cell", "label"):
            on = f" on {column.day}" if column.day else ""
            why = f": {column.why}" if column.why else ""
            say(f"column {column.heading}: {column.role}{on}{_SURE[column.sure]}{why}", "  ")
    for note in sheet.notes:
        say(f"note: {note}", "  ")


def _echo_words(understood: "Understood") -> None:
    from trunkwatch.spreadsheets.book.plan import word_label

    words = understood.plan.words
    if words:
        click.echo(f"{_many(len(words), 'distinct word')}:")
    for word in words[:_WORDS_SHOWN]:
        say(f"{word_label(word.context, word.word)[:60]!r} {_times(word.count)}: {_choice(word.meaning)}", "  ")
    if len(words) > _WORDS_SHOWN:
        unknown = sum(word.meaning.sure == "ask" for word in words[_WORDS_SHOWN:])
        click.echo(
            f"  and {len(words) - _WORDS_SHOWN:,} more, {unknown:,} of them unknown: all stand in the mapping file"
        )


def _many(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count:,} times"


def _echo_block(block: "BlockFacts") -> None:
    last = max(high for _, _, high in block.rows)
    say(
        f"block {block.label} will be made: {_many(len(block.rows), 'row')} ({block.rows[0][0]} to {block.rows[-1][0]}), positions up to {last:,}, as far as the workbook names them"
    )
    say(f"hemisphere: {_choice(block.hemisphere)}", "  ")
    if block.rows_between.value:
        say(f"rows between: {_choice(block.rows_between)}", "  ")
    if block.divided_rows.value:
        say(f"divided rows: {_choice(block.divided_rows)}", "  ")
    for note in block.notes:
        say(f"note: {note}", "  ")


def _choice(choice: "Choice") -> str:
    value = "unknown" if choice.value == "ask" else choice.value
    return f"{value}{_SURE[choice.sure]}{_why(choice)}"


def _why(choice: "Choice") -> str:
    return f": {choice.why}" if choice.why else ""
