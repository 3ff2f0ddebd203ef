"""trunkwatch pattern."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.options import (
    block_option,
    definition_option,
    echo_notes,
    emit_json,
    json_option,
    keep_good_option,
    permutations_option,
    season_option,
    seed_option,
    vineyard_argument,
)


@click.command("pattern")
@vineyard_argument
@block_option
@season_option
@click.option("--survey", metavar="NAME", help="One survey instead of a season.")
@click.option("--date", metavar="DATE", help="The surveys of one day instead of a season.")
@definition_option
@permutations_option
@seed_option
@keep_good_option
@json_option
def command(
    vineyard: Path, block: str | None, season: int | None, survey: str | None, date: str | None, definition: str | None,
    permutations: int, seed: int, keep_good: bool, as_json: bool,
) -> None:  # fmt: skip
    """Test whether the cases of a season lie together or are scattered as by chance.

    \b
    Example:
      trunkwatch pattern sample_blocks --block Mill
      trunkwatch pattern sample_blocks --block Mill --survey "summer 2026"
    """
    from trunkwatch.season import load, pattern_of
    from trunkwatch.season.one_look import look_pattern

    if survey or date:
        found = look_pattern(
            vineyard, block, survey=survey, date=date, definition=definition, permutations=permutations, seed=seed,
            keep_good=keep_good,
        )  # fmt: skip
        _show([(found.title, found)], as_json=as_json)
        return
    loaded = load(vineyard, block, season, definition=definition, keep_good=keep_good)
    echo_notes(loaded.notes)
    shown = [(f"Season {loaded.season}", pattern_of(loaded, permutations=permutations, seed=seed))]
    if loaded.without_winter is not None:
        again = pattern_of(loaded, history=loaded.without_winter, permutations=permutations, seed=seed)
        shown.append((f"Season {loaded.season} without the records of suspected winter injury", again))
    _show(shown, as_json=as_json)


def _show(shown: list[tuple[str, Any]], *, as_json: bool) -> None:
    if as_json:
        emit_json([{"title": title, **_as_data(found)} for title, found in shown])
        return
    for title, found in shown:
        click.echo(f"{title}, block {found.block}: {', '.join(found.words)}")
        for sentence in found.sentences:
            click.echo(f"  {sentence}")
        for caution in found.cautions:
            click.echo(f"  Mind: {caution}")
        click.echo(f"  (seed {found.seed}; {found.n_cases} cases of {found.n_vines} vines)")


def _as_data(found: Any) -> dict[str, Any]:
    tests = {"rook": found.primary, "row": found.row, "across": found.across, "queen": found.queen}
    data: dict[str, Any] = {
        "block": found.block, "what": found.title, "words": found.words, "cautions": found.cautions,
        "sentences": found.sentences, "cases": found.n_cases, "vines": found.n_vines, "tested": found.tested,
        "seed": found.seed, "holm": found.holm,
    }  # fmt: skip
    for name, test in tests.items():
        data[name] = {
            "case_case": test.case_case, "case_free": test.case_free, "free_free": test.free_free, "joins": test.n_joins,
            "expected": test.expected_case_case, "variance": test.variance_case_case, "z": test.z, "p": test.pvalue,
            "method": test.method, "reason": test.reason,
        }  # fmt: skip
    data["foci"] = {"number": found.foci.statistic, "single": found.foci.single, "largest": found.foci.largest,
                    "expected": found.foci.expected, "sizes": [focus.size for focus in found.foci.foci]}  # fmt: skip
    if found.nearest is not None:
        data["nearest_m"] = {
            "mean": found.nearest.statistic,
            "expected": found.nearest.expected,
            "p": found.nearest.pvalue,
        }
    if found.observers is not None:
        data["observers"] = [
            {"observer": name, "cases": one.cases, "vines": one.vines} for name, one in found.observers.shares
        ]
        data["looked_at_by_two"] = {"vines": found.observers.both, "disagree": found.observers.disagree}
    if found.near_old is not None:
        near = found.near_old
        data["near_old"] = {"joins": near.statistic, "expected": near.expected, "p": near.pvalue, "table": near.table,
                            "seasons": near.seasons, "reason": near.reason, "caution": near.season.caution}  # fmt: skip
    return data
