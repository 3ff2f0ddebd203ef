"""trunkwatch answer."""

import math
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.every_block import all_blocks_option, go_through, refuse_with
from trunkwatch.cli.options import (
    block_option,
    definition_option,
    details_option,
    echo_notes,
    emit_json,
    json_option,
    keep_good_option,
    say,
    season_option,
    seed_option,
    vineyard_argument,
)


@click.command("answer")
@vineyard_argument
@block_option
@all_blocks_option
@season_option
@definition_option
@seed_option
@details_option
@keep_good_option
@json_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    definition: str | None,
    seed: int,
    details: bool,
    keep_good: bool,
    as_json: bool,
    all_blocks: bool,
) -> None:
    """Say how bad it is, whether it gets worse or spreads, and what to do this winter.

    \b
    Five lines, then the list of this winter's vines. With --details the vines
    that are flagged or watched only are on it too. The same lines and the same
    list open the report, the desk and the printed page.

    \b
    Example:
      trunkwatch answer sample_blocks --block Mill
      trunkwatch answer sample_blocks --all-blocks
    """
    from trunkwatch.answer.five import answer_of
    from trunkwatch.answer.five_words import five_lines
    from trunkwatch.answer.parts import listed
    from trunkwatch.block import open_vineyard
    from trunkwatch.block.words import note_sentences
    from trunkwatch.decide.outlook import VineyardSteps
    from trunkwatch.pattern import pattern_of
    from trunkwatch.report.deciding import by_rule_alone, decided_if_priced

    if all_blocks:
        refuse_with(block=block)

    def shown_tasks(answer: Any) -> list[Any]:
        return list(answer.tasks) if details else listed(answer)

    with open_vineyard(vineyard, keep_good=keep_good) as store:
        steps = VineyardSteps(store)

        def read(label: str | None) -> Any:
            found = steps.readings.season(label, season, definition=definition)
            plan = decided_if_priced(store, found, seed=seed, steps=steps) or by_rule_alone(found)
            pattern = pattern_of(found, permutations=999, seed=seed)
            return answer_of(found, pattern, plan.decision if plan is not None else None)

        def data(answer: Any) -> dict[str, Any]:
            return _as_data(answer, shown_tasks(answer), five_lines(answer))

        def show(answer: Any) -> None:
            echo_notes(note_sentences(answer.season))
            _show(answer, shown_tasks(answer))

        if all_blocks:
            go_through(store.blocks(), read, show, data if as_json else None)
            return
        answer = read(block)
    if as_json:
        echo_notes(note_sentences(answer.season))
        emit_json(data(answer))
    else:
        show(answer)


def _show(answer: Any, tasks: list[Any]) -> None:
    from trunkwatch.answer.five_words import five_lines, reason_words, task_words

    found = answer.season
    click.echo(f"Block {found.history.block}, season {found.season}")
    for line in five_lines(answer):
        click.echo(line.question)
        say(line.answer, "  ")
    if tasks:
        click.echo("This winter's list, by row:")
    for task in tasks:
        do, seen, shoot = task_words(task)
        told = [do, *([f"seen {task.last_seen}: {seen}"] if seen else []), *([f"shoot {shoot}"] if shoot else [])]
        why = reason_words(task, found.season)
        say(f"{task.row}:{task.position} {'; '.join([*told, *([why] if why else [])])}", "  ")
    say("Symptoms are not a diagnosis. Saws, wires under tension, cold wood: trained people, two of you.")


def _as_data(answer: Any, tasks: list[Any], lines: Any) -> dict[str, Any]:
    best, decision = answer.best, answer.decision
    return {
        "block": answer.season.history.block,
        "season": answer.season.season,
        "lines": [{"key": line.key, "question": line.question, "answer": line.answer} for line in lines],
        "money": decision.money if decision is not None else "",
        "recommended": None
        if best is None
        else {
            "name": best.name,
            "gain": best.gain,
            "low90": best.gain_low,
            "high90": best.gain_high,
            "area": decision.costs.measures.area,
        },
        "crew_days": answer.crew_days,
        "list": [
            {
                "row": task.row,
                "position": task.position,
                "do": task.todo,
                "also": list(task.also),
                "part": task.part,
                "seen": task.seen,
                "last_seen": task.last_seen or None,
                "percent_dead": task.percent,
                "shoot": task.shoot,
                "shoot_quality": task.shoot_quality or None,
                "shoot_usable": task.shoot_usable,
                "seasons": task.seasons,
                "hours": task.hours,
                "worth": None if math.isnan(task.worth) else task.worth,
            }
            for task in tasks
        ],
    }
