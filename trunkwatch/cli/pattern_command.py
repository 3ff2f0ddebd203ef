"""trunkwatch pattern."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.figures import check_printed, write_printed
from trunkwatch.cli.options import (
    block_option,
    definition_option,
    details_option,
    echo_notes,
    emit_json,
    json_option,
    keep_good_option,
    permutations_option,
    say,
    season_option,
    seed_option,
    vineyard_argument,
)


@click.command("pattern")
@vineyard_argument
@block_option
@season_option
@click.option("--all-blocks", "all_blocks", is_flag=True, help="Every block, on all processors, with a progress bar.")
@click.option("--survey", metavar="NAME", help="One survey instead of a season.")
@click.option("--date", metavar="DATE", help="The surveys of one day instead of a season.")
@click.option(
    "--by",
    "by",
    type=click.Choice(["cultivar", "rootstock", "planting"]),
    help="The season's map of each group of vines by itself.",
)
@click.option(
    "--page",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="The same in pictures, as one HTML file (or .pdf).",
)
@definition_option
@permutations_option
@seed_option
@details_option
@keep_good_option
@json_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    all_blocks: bool,
    survey: str | None,
    date: str | None,
    definition: str | None,
    by: str | None,
    page: Path | None,
    permutations: int,
    seed: int,
    details: bool,
    keep_good: bool,
    as_json: bool,
) -> None:
    """Test whether the cases of a season lie together or are scattered as by chance.

    \b
    Example:
      trunkwatch pattern sample_blocks --block Mill
      trunkwatch pattern sample_blocks --block Mill --survey "summer 2026"
      trunkwatch pattern sample_blocks --block Mill --by planting
      trunkwatch pattern sample_blocks --block Mill --page mill_pattern.html
      trunkwatch pattern sample_blocks --all-blocks
    """
    from trunkwatch.block import load
    from trunkwatch.block.words import note_sentences
    from trunkwatch.pattern.one_survey import look_pattern

    check_printed(page)
    if page is not None and (all_blocks or survey or date or by or as_json):
        raise click.UsageError("--page goes with no --all-blocks, --survey, --date, --by or --json")
    if all_blocks:
        if block or survey or date or by:
            raise click.UsageError("--all-blocks goes with no --block, --survey, --date or --by")
        _estate(vineyard, (season, definition, permutations, seed, keep_good), details=details, as_json=as_json)
        return
    if by and (survey or date):
        raise click.UsageError("--by goes with no --survey or --date")
    if survey or date:
        found = look_pattern(
            vineyard,
            block,
            survey=survey,
            date=date,
            definition=definition,
            permutations=permutations,
            seed=seed,
            keep_good=keep_good,
        )
        _show([(found.title, found)], details=details, as_json=as_json)
        return
    loaded = load(vineyard, block, season, definition=definition, keep_good=keep_good)
    echo_notes(note_sentences(loaded))
    shown = _by_group(loaded, by, permutations, seed) if by else _patterns(loaded, permutations, seed)
    _show(shown, details=details, as_json=as_json)
    if page is not None:
        from trunkwatch.report.pattern_page import pattern_html

        write_printed(page, pattern_html(loaded, permutations=permutations, seed=seed), err=True)


def _by_group(loaded: Any, by: str, permutations: int, seed: int) -> list[tuple[str, Any]]:
    """Return the season's map of each group of vines; only pairs inside a group count."""
    from trunkwatch.pattern.place_words import group_label
    from trunkwatch.pattern.rates_by import group_mask
    from trunkwatch.pattern.verdict import map_pattern

    history = loaded.history
    shown = []
    for label, here in group_mask(loaded, by).items():
        title = f"Season {loaded.season}, {by} {group_label(by, label)}"
        found = map_pattern(
            history.block,
            title,
            loaded.cases & here,
            loaded.vines & here,
            history.grid,
            permutations=permutations,
            seed=seed,
        )
        shown.append((title, found))
    return shown


def _patterns(loaded: Any, permutations: int, seed: int) -> list[tuple[str, Any]]:
    from trunkwatch.pattern import pattern_of

    shown = [(f"Season {loaded.season}", pattern_of(loaded, permutations=permutations, seed=seed))]
    if loaded.without_winter is not None:
        again = pattern_of(loaded, history=loaded.without_winter, permutations=permutations, seed=seed)
        shown.append((f"Season {loaded.season} without the records of suspected winter injury", again))
    return shown


Estate = tuple[int | None, str | None, int, int, bool]
_OPEN: dict[str, Any] = {}


def _estate(vineyard: Path, wanted: Estate, *, details: bool, as_json: bool) -> None:
    """Go through all blocks, one process a processor; only words come back, so memory stays flat."""
    from trunkwatch.block import open_vineyard
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.errors import RecordError
    from trunkwatch.programme.road import Job, over_blocks, processes, usual_workers

    with open_vineyard(vineyard, keep_good=wanted[-1]) as store:
        labels = store.blocks()
    many = max(1, min(len(labels), usual_workers()))
    jobs = [Job(label, (str(vineyard), wanted, label)) for label in labels]
    with waiting("Blocks") as progress:
        walked = over_blocks(jobs, _one_block, executor=processes(many), progress=progress, at_once=many)
    data, said = [], 0
    for label, outcome in zip(labels, walked.outcomes, strict=True):
        found = outcome.data or _left_out(label, outcome.reason)
        said += not any("reason" in one for one in found["data"])
        data += found["data"]
        for line in () if as_json else found["full" if details else "plain"]:
            say(line)
    if as_json:
        emit_json(data)
    if not said:
        raise RecordError("no block can be tested; `trunkwatch check` lists what stands in the way")


def _left_out(label: str, reason: str) -> dict[str, Any]:
    lines = [f"Block {label}: {reason}"]
    return {"data": [{"block": label, "reason": reason}], "plain": lines, "full": lines}


def _one_block(vineyard: str, wanted: Estate, label: str) -> dict[str, Any]:
    """Return what is said of one block, as data and as lines, in short and in full; a block that cannot be read says why."""
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.errors import TrunkwatchError

    season, definition, permutations, seed, keep_good = wanted
    if "store" not in _OPEN:
        _OPEN["store"] = open_vineyard(vineyard, keep_good=keep_good)
    try:
        shown = _patterns(load(_OPEN["store"], label, season, definition=definition), permutations, seed)
    except TrunkwatchError as error:
        return _left_out(label, str(error))
    plain, full = (
        [line for title, found in shown for line in _lines(title, found, details=more)] for more in (False, True)
    )
    return {"data": [{"title": title, **_as_data(found)} for title, found in shown], "plain": plain, "full": full}


def _show(shown: list[tuple[str, Any]], *, details: bool, as_json: bool) -> None:
    if as_json:
        emit_json([{"title": title, **_as_data(found)} for title, found in shown])
        return
    for title, found in shown:
        for line in _lines(title, found, details=details):
            say(line)
    if not details:
        say("With --details: every test behind this, with its numbers.")


def _lines(title: str, found: Any, *, details: bool) -> list[str]:
    """Say the answer, what competes to explain it, what it must not be taken for, and in full the tests behind it."""
    from trunkwatch.pattern.words import caution_sentences, opening, pattern_sentences
    from trunkwatch.pattern.years import years_verdict
    from trunkwatch.pattern.years_words import explanation_lines, headline_sentence

    years = years_verdict(found)
    sentences = pattern_sentences(found) if details else (opening(found),)
    return [
        *([headline_sentence(years)] if years is not None else []),
        f"{title}, block {found.block}: {', '.join(found.words)}",
        *(f"  {sentence}" for sentence in sentences),
        *(["  What could explain it:"] if years is not None else []),
        *(f"    {name}: {fits}" for name, fits in (explanation_lines(years) if years is not None else ())),
        *(f"  Caution: {caution}" for caution in caution_sentences(found)),
        f"  (seed {found.seed}; {found.n_cases} cases of {found.n_vines} vines)",
    ]


def _as_data(found: Any) -> dict[str, Any]:
    from trunkwatch.pattern.place_words import observer_name
    from trunkwatch.pattern.words import cautions, pattern_sentences

    tests = {"rook": found.primary, "row": found.row, "across": found.across, "queen": found.queen}
    data: dict[str, Any] = {
        "block": found.block,
        "what": found.title,
        "words": found.words,
        "cautions": cautions(found),
        "sentences": pattern_sentences(found),
        "cases": found.n_cases,
        "vines": found.n_vines,
        "tested": found.tested,
        "seed": found.seed,
        "holm": found.holm,
    }
    for name, test in tests.items():
        data[name] = {
            "case_case": test.case_case,
            "case_free": test.case_free,
            "free_free": test.free_free,
            "joins": test.n_joins,
            "expected": test.expected_case_case,
            "variance": test.variance_case_case,
            "z": test.z,
            "p": test.pvalue,
            "method": test.method,
            "reason": test.reason,
        }
    data["foci"] = {
        "number": found.foci.statistic,
        "single": found.foci.single,
        "largest": found.foci.largest,
        "expected": found.foci.expected,
        "sizes": [focus.size for focus in found.foci.foci],
    }
    if found.places is not None:
        data["places"] = [
            {"centre": found.places.label(one), "cases": one.cases, "vines": one.vines, "p": one.pvalue}
            for one in found.places.scan.windows
        ]
    if found.nearest is not None:
        data["nearest_m"] = {
            "mean": found.nearest.statistic,
            "expected": found.nearest.expected,
            "p": found.nearest.pvalue,
        }
    if found.observers is not None:
        data["observers"] = [
            {"observer": observer_name(name), "cases": one.cases, "vines": one.vines}
            for name, one in found.observers.shares
        ]
        data["looked_at_by_two"] = {"vines": found.observers.both, "disagree": found.observers.disagree}
    data["along_and_across"] = {
        "seen_over_expected_along": found.ways.along,
        "seen_over_expected_across": found.ways.across,
        "p_more_along": found.ways.pvalue,
    }
    if found.groups is not None:
        data["groups"] = {
            table.name: {
                "shares": [{"label": label, "cases": one.cases, "vines": one.vines} for label, one in table.shares],
                "p": table.test.pvalue,
                "no_test": table.test.reason,
            }
            for table in found.groups.tables
        }
    if found.near_old is not None:
        near = found.near_old
        data["near_old"] = {
            "joins": near.statistic,
            "expected": near.expected,
            "p": near.pvalue,
            "table": near.table,
            "seasons": near.seasons,
            "reason": near.reason,
            "caution": near.season.caution,
        }
    if found.checks is not None:
        data["near_old_checks"] = {
            "within_rows_p": found.checks.within_rows.pvalue,
            "long_free_p": found.checks.long_free.pvalue,
            "shifted_p": found.checks.shifted.pvalue,
        }
    data.update(_over_years(found))
    data["years"] = _years(found)
    return data


def _years(found: Any) -> dict[str, Any] | None:
    from trunkwatch.pattern.years import years_verdict
    from trunkwatch.pattern.years_words import headline_sentence

    years = years_verdict(found)
    if years is None:
        return None
    return {
        "says": headline_sentence(years),
        "headline": years.headline.name.lower().replace("_", " "),
        "seasons": years.seasons,
        "p_bunched": years.bunched_p,
        "explanations": [
            {"what": one.what, "fits": one.fits, "p": one.pvalue, "year": one.year or None}
            for one in years.explanations
        ],
    }


def _over_years(found: Any) -> dict[str, Any]:
    data: dict[str, Any] = {
        "gradients": [
            {
                "of": one.name,
                "mean_m": one.found.statistic,
                "expected_m": one.found.expected,
                "p": one.pvalue,
                "corrected": one.corrected,
            }
            for one in found.gradients
        ]
    }
    if found.series is not None:
        data["series"] = [
            {
                "season": one.season,
                "cases": one.n_cases,
                "vines": one.n_vines,
                "case_case": one.seen,
                "expected": one.expected,
                "p": one.pvalue,
                "corrected": one.corrected,
            }
            for one in found.series.seasons
        ]
        data["series_p"] = found.series.together.pvalue if found.series.together is not None else None
    if found.step is not None:
        data["step"] = {
            "season": found.step[1],
            "new": found.step[0].new,
            "expected": found.step[0].expected,
            "p": found.step[0].pvalue,
        }
    if found.spread is not None:
        spread = found.spread
        data["spread"] = {
            "says": spread.says,
            "held_apart": list(spread.strata),
            "false_positive_share": spread.false_positive.share,
            "along": _spread_test(spread.along),
            "across": _spread_test(spread.across),
            "new_cases_factor": [spread.new_cases.ratio, spread.new_cases.low, spread.new_cases.high],
            "first_surveys_left_out": spread.skipped,
        }
    return data


def _spread_test(test: Any) -> dict[str, Any]:
    if test.reason:
        return {"no_test": test.reason}
    return {
        "p": test.spread_p,
        "p_or_short_zones": test.either_p,
        "share_at_least": [test.share, test.low, test.high],
        "cases": test.cases,
        "new": test.new,
        "rate_ratios": [
            {"vines_away": one.lag, "ratio": one.ratio, "chance_low": one.low, "chance_high": one.high}
            for one in test.lags
        ],
    }
