"""trunkwatch programme."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.options import (
    cards_folder_option,
    definition_option,
    echo_notes,
    emit_json,
    json_option,
    say,
    season_option,
    seed_option,
    today,
    workers_option,
)

_TASKS = ("add", "list", "ready", "seasons", "pattern", "report", "handouts", "cards", "vine-seasons", "rates", "clear")


@click.command("programme")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.argument("task", type=click.Choice(_TASKS))
@click.option(
    "--grower",
    "names",
    multiple=True,
    metavar="NAME",
    help="A grower by the name in the catalogue; may be given several times. All if left out.",
)
@click.option("--path", "path", metavar="FILE", help="With add: the grower's vineyard, seen from FOLDER.")
@click.option(
    "--consent",
    "purposes",
    multiple=True,
    metavar="PURPOSE",
    help="With add: what the grower agreed to: report, handout, compare, pool or forecast; may be given several times.",
)
@click.option("--until", default="", metavar="DATE", help="With add: last day of the consent.")
@click.option("--call", default="", metavar="TEXT", help="With add: who the grower can call.")
@click.option("--sees", default="", metavar="TEXT", help="With add: who sees the grower's pages.")
@click.option(
    "--region",
    default="",
    metavar="WORD",
    help="With add: the word that the grower's pool cards tell of the region; never a place.",
)
@season_option
@definition_option
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="With report and handouts: where pages go, a folder for each grower  [default: FOLDER/pages]; with cards: where cards go  [default: FOLDER/cards]; with vine-seasons and rates: where the files lie  [default: FOLDER/vine_seasons]",
)
@click.option(
    "--each-block",
    is_flag=True,
    help="With handouts: a page for each block, in place of one for the block that showed most.",
)
@click.option(
    "--size",
    type=click.Choice(["A4", "Letter"]),
    help="With handouts: paper; that of each vineyard's settings if left out.",
)
@click.option(
    "--permutations",
    type=click.IntRange(99),
    default=9999,
    show_default=True,
    help="With report and pattern: relabelled maps drawn.",
)
@click.option(
    "--by",
    type=click.Choice(["block", "cultivar", "rootstock", "region", "age"]),
    default="block",
    show_default=True,
    help="With rates: what vines are told apart by.",
)
@click.option(
    "--rate",
    type=click.Choice(["annual", "standing", "ever", "new", "relapse", "deaths"]),
    default="annual",
    show_default=True,
    help="With rates: which.",
)
@click.option(
    "--older-than",
    type=click.FloatRange(0),
    default=30.0,
    show_default=True,
    metavar="DAYS",
    help="With clear: age from which results go that no present record names.",
)
@click.option(
    "--at-most",
    type=click.FloatRange(0),
    default=500.0,
    show_default=True,
    metavar="MB",
    help="With clear: what younger ones of these may take together; beyond it the oldest go.",
)
@cards_folder_option
@workers_option
@click.option(
    "--cache",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Where results are kept, so that a run that was ended goes on.  [default: FOLDER/.results]",
)
@seed_option
@json_option
def command(folder: Path, task: str, names: tuple[str, ...], *, as_json: bool, **told: Any) -> None:
    """Many growers: a folder of vineyards, one a grower, and a catalogue of who agreed to what.

    \b
    add           enter a grower, or write anew what was agreed
    list          who takes part, with the consent and the day last read
    ready         what the record of each block can be used for, what is missing
    seasons       all blocks beside each other, season by season
    pattern       what the map of every block shows, in words
    report        report and map of every block
    handouts      one printed page for each grower
    cards         block cards of all who agreed to pool or forecast; void cards
                  for those who agree no more
    vine-seasons  a line a vine and season as Parquet, one file a block
    rates         rates over all blocks, by block, cultivar, region or age
    clear         delete old kept results that no present record names

    Pages are written, and blocks set beside others, only where the grower agreed to it and the consent has not ended.
    A block that cannot be read stops no other. Results are kept: a second run works out only what changed.
    Vine-seasons and rates hold records and exact counts, and are yours alone: `pool` makes the table to pass on.

    \b
    Example:
      trunkwatch programme growers add --grower "Fern 12" --path fern.gpkg \\
          --consent report --consent handout --until 2027-12-31 --call "Ida, 555 0100" --sees "you and Ida"
      trunkwatch programme growers ready
      trunkwatch programme growers handouts --size Letter
    """
    if task == "add":
        _add(folder, names, told, as_json=as_json)
        return
    _refuse_of_add(told)
    from trunkwatch.programme.catalogue import read_catalogue

    growers = read_catalogue(folder)
    chosen = _chosen(growers, names)
    data: dict[str, Any] = {"task": task, "day": today(), "growers": [_catalogue_data(one) for one in chosen]}
    if task == "list":
        if as_json:
            emit_json(data)
            return
        for one in chosen:
            say(_catalogue_line(one))
        return
    if task == "cards":
        _cards(folder, growers, chosen, told, data, as_json=as_json)
        return
    if task == "clear":
        from trunkwatch.cli.programme_region import clear

        clear(folder, growers, told, data, as_json=as_json)
        return
    _run(folder, task, growers, chosen, told, data, as_json=as_json)


def _cards(
    folder: Path,
    growers: Sequence[Any],
    chosen: Sequence[Any],
    told: dict[str, Any],
    data: dict[str, Any],
    *,
    as_json: bool,
) -> None:
    import datetime as dt

    from trunkwatch.programme.cards_run import write_cards

    made = dt.datetime.now(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    done = write_cards(folder, chosen, [one.name for one in growers], told["out"] or folder / "cards", today(), made)
    data["cards"] = [
        {
            "grower": one.grower,
            "block": one.block,
            "for": one.kind,
            "path": None if one.path is None else str(one.path),
            "reason": one.reason or None,
            "void": one.void,
            "new": one.new,
        }
        for one in done
    ]
    for one in done:
        if one.reason:
            click.echo(
                f"note: no {one.kind} card of {one.grower}{f', block {one.block}' if one.block else ''}: {one.reason}",
                err=True,
            )
    if as_json:
        emit_json(data)
        return
    for one in done:
        if one.path is not None and one.new:
            say(str(one.path))
    kept = sum(not one.new for one in done)
    void = sum(one.void for one in done)
    say(
        f"{sum(one.new and one.path is not None and not one.void for one in done)} cards written, {kept} say what they said, {void} taken back; `trunkwatch card FILE show` prints all that is on one"
    )


def _add(folder: Path, names: Sequence[str], told: dict[str, Any], *, as_json: bool) -> None:
    from trunkwatch.programme.catalogue import Grower, add_grower

    if len(names) != 1 or not told["path"]:
        raise click.UsageError("add takes one --grower and its --path")
    grower = Grower(
        names[0].strip(),
        told["path"],
        tuple(dict.fromkeys(told["purposes"])),
        told["until"],
        told["call"],
        told["sees"],
        region=told["region"],
    )
    growers = add_grower(folder, grower)
    (written,) = [one for one in growers if one.name == grower.name]
    if as_json:
        emit_json({"task": "add", "day": today(), "growers": [_catalogue_data(written)]})
        return
    say(_catalogue_line(written))


def _refuse_of_add(told: dict[str, Any]) -> None:
    given = [name for name in ("path", "purposes", "until", "call", "sees", "region") if told[name]]
    if given:
        option = {"purposes": "consent"}.get(given[0], given[0])
        raise click.UsageError(f"--{option} goes with add only")


def _chosen(growers: Sequence[Any], names: Sequence[str]) -> list[Any]:
    from trunkwatch.errors import RecordError

    strange = [name for name in names if name not in {one.name for one in growers}]
    if strange:
        raise RecordError(f"no grower {strange[0]!r}; the growers are: {', '.join(one.name for one in growers)}")
    return [one for one in growers if not names or one.name in names]


def _catalogue_data(grower: Any) -> dict[str, Any]:
    return {
        "grower": grower.name,
        "path": grower.path,
        "consent": list(grower.purposes),
        "until": grower.until or None,
        "in_force": [purpose for purpose in grower.purposes if grower.allows(purpose, today())],
        "call": grower.call,
        "sees": grower.sees,
        "last_read": grower.last_read or None,
        "region": grower.region or None,
    }


def _catalogue_line(grower: Any) -> str:
    now = [purpose for purpose in grower.purposes if grower.allows(purpose, today())]
    consent = f"consent for {', '.join(now)} until {grower.until}" if now else "no consent"
    ended = grower.why_not(grower.purposes[0], today()) if grower.purposes and not now else ""
    read = f"last read {grower.last_read}" if grower.last_read else "not read yet"
    return f"{grower.name} ({grower.path}): {ended or consent}; {read}"


#: What a task needs the grower's consent for.
_NEEDS = {
    "seasons": "compare",
    "report": "report",
    "handouts": "handout",
    "vine-seasons": "compare",
    "rates": "compare",
}
_PAGES = ("report", "handouts")
_VINES = ("vine-seasons", "rates")


def _run(
    folder: Path,
    task: str,
    growers: Sequence[Any],
    chosen: list[Any],
    told: dict[str, Any],
    data: dict[str, Any],
    *,
    as_json: bool,
) -> None:
    """Go through the blocks of all who agreed, and say what became of each."""
    from trunkwatch.cli.programme_region import echo_pattern, echo_rates, echo_vine_files, put_region
    from trunkwatch.cli.programme_shown import echo_ready, echo_seasons, echo_written
    from trunkwatch.errors import RecordError
    from trunkwatch.programme.run import note_read
    from trunkwatch.programme.vine_files import VINE_FILES

    need, day = _NEEDS.get(task), today()
    withheld = {one.name: one.why_not(need, day) for one in chosen if need and not one.allows(need, day)}
    allowed = [one for one in chosen if one.name not in withheld]
    runs, written = _runs(folder, task, growers, allowed, told)
    note_read(folder, runs, day)
    out = told["out"] or folder / "pages"
    for name, why in withheld.items():
        click.echo(f"note: {name} is left out: {why}", err=True)
        if task in _PAGES:
            _echo_earlier(out, growers, name)
    failed = _echo_failed(runs)
    rates = put_region(folder, task, growers, chosen, runs, told) if task in _VINES else []
    if as_json:
        _into(data, runs, withheld, written, task)
        if task == "rates":
            data["rates"] = rates
        emit_json(data)
    elif task == "pattern":
        echo_pattern(runs)
    elif task == "vine-seasons":
        echo_vine_files(runs, told["out"] or folder / VINE_FILES)
    elif task == "rates" and rates:
        echo_rates(rates, told["by"], told["rate"])
    elif task == "ready":
        echo_ready(runs)
    elif task == "seasons":
        echo_seasons(runs)
    else:
        echo_written(written)
    if not any(run.blocks for run in runs) or all(
        failed.get((run.grower.name, block)) for run in runs for block in run.blocks
    ):
        raise RecordError(
            f"nothing to show: of {len(chosen)} growers {len(withheld)} gave no consent that holds today, and no block of the others can be read"
        )


def _echo_earlier(out: Path, growers: Sequence[Any], name: str) -> None:
    """Say where pages of a grower lie that were written while there was consent."""
    from trunkwatch.programme.run import page_folders

    earlier = out / page_folders([one.name for one in growers])[name]
    if earlier.is_dir() and any(earlier.iterdir()):
        click.echo(
            f"note: pages of {name} from an earlier run are still in {earlier}: delete what nobody may see", err=True
        )


def _runs(
    folder: Path, task: str, growers: Sequence[Any], allowed: Sequence[Any], told: dict[str, Any]
) -> tuple[Any, dict[tuple[str, str], list[Path]]]:
    from trunkwatch.cli.programme_region import vine_runs
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.programme.cluster import check_workers
    from trunkwatch.programme.road import usual_workers
    from trunkwatch.programme.run import CACHE, How, handouts, over_growers, page_writer

    check_workers(told["workers"])
    lent = _lent(folder, task, growers, told)
    asked = {"season": told["season"], "definition": told["definition"]}
    drawn = {**asked, "permutations": told["permutations"], "seed": told["seed"]}
    written: dict[tuple[str, str], list[Path]] = {}
    write = page_writer([one.name for one in growers], told["out"] or folder / "pages", written)
    with waiting("Blocks") as progress:
        how = How(told["workers"] or usual_workers(), told["cache"] or folder / CACHE, progress)
        if task == "handouts":
            from trunkwatch.programme.like import likes

            compared = over_growers(
                folder,
                [one for one in growers if one.allows("compare", today())],
                "rows",
                lambda _grower, _block: {},
                how,
            )
            runs = handouts(
                folder,
                allowed,
                how,
                each_block=told["each_block"],
                like=lambda pages: likes(compared, pages),
                put_away=write,
                lent=lent,
                size=told["size"],
                seed=told["seed"],
                **asked,
            )
        elif task == "report":
            runs = over_growers(
                folder, allowed, "report", lambda grower, _block: {**drawn, **lent(grower)}, how, put_away=write
            )
        elif task == "pattern":
            runs = over_growers(folder, allowed, "pattern", lambda _grower, _block: drawn, how)
        elif task in _VINES:
            runs = vine_runs(folder, task, growers, allowed, told, how)
        else:
            runs = over_growers(folder, allowed, "overview", lambda _grower, _block: asked, how)
    order = [(run.grower.name, block) for run in runs for block in run.blocks]
    return runs, {key: written[key] for key in order if key in written}


def _lent(folder: Path, task: str, growers: Sequence[Any], told: dict[str, Any]) -> Callable[[Any], dict[str, Any]]:
    """Return what gives the options of pages that lean on cards; say which cards were left out."""
    if told["cards"] is None:
        return lambda _grower: {}
    if task not in _PAGES:
        raise click.UsageError("--cards goes with report and handouts")
    from functools import cache

    from trunkwatch.cards.words import left_out_lines
    from trunkwatch.programme.lent import Lender
    from trunkwatch.programme.run import CACHE

    names = [one.name for one in growers]
    lender = Lender(folder, names, told["cards"], told["cache"] or folder / CACHE, today())
    echo_notes(left_out_lines(lender.found))
    of_name = cache(lender.options)
    return lambda grower: of_name(grower.name)


def _echo_failed(runs: Sequence[Any]) -> dict[tuple[str, str], str]:
    """Name what could not be read, and why; return it by grower and block."""
    failed = {}
    for run in runs:
        if run.reason:
            click.echo(f"note: {run.grower.name} is left out: {run.reason}", err=True)
        for block in run.blocks:
            reason = run.data(block).get("reason", "")
            if reason:
                failed[run.grower.name, block] = reason
                click.echo(f"note: {run.grower.name}, block {block} is left out: {reason}", err=True)
    return failed


def _into(
    data: dict[str, Any],
    runs: Sequence[Any],
    withheld: dict[str, str],
    written: dict[tuple[str, str], list[Path]],
    task: str,
) -> None:
    """Put what became of the blocks to their growers."""
    by_name = {run.grower.name: run for run in runs}
    for entry in data["growers"]:
        name = entry["grower"]
        run = by_name.get(name)
        entry["reason"] = withheld.get(name) or (run.reason if run else "") or None
        entry["blocks"] = (
            []
            if run is None
            else [_block_data(run.data(block), written.get((name, block), []), task) for block in run.blocks]
        )
    outcomes = [outcome for run in runs for outcome in run.blocks.values()]
    data["computed"] = sum(one.data is not None and not one.kept for one in outcomes)
    data["kept"] = sum(one.kept for one in outcomes)


#: What the data of a block hold, by task, beside its name and season.
_KEYS = {
    "pattern": ("definition", "cases", "vines", "words", "sentence", "years"),
    "vine-seasons": ("file", "lines"),
    "rates": ("file", "lines"),
}


def _block_data(found: dict[str, Any], paths: Sequence[Path], task: str) -> dict[str, Any]:
    if found.get("reason"):
        return {"block": found["block"], "season": None, "reason": found["reason"]}
    data: dict[str, Any] = {"block": found["block"], "season": found["season"], "reason": None}
    if task in _PAGES:
        return data | {"pages": [str(path) for path in paths]}
    if task in _KEYS:
        return data | {name: found[name] for name in _KEYS[task]}
    uses = [
        {"use": use, "ready": not missing, "missing": [_missing_data(one) for one in missing]}
        for use, missing in found["uses"].items()
    ]
    return (
        data
        | {name: found[name] for name in ("cultivar", "rootstock", "planted", "definition", "seasons")}
        | {"uses": uses}
    )


def _missing_data(missing: dict[str, Any]) -> dict[str, Any]:
    from trunkwatch.programme.use_words import missing_words
    from trunkwatch.programme.uses import Missing

    return {
        "what": missing["lack"],
        "there": missing["there"],
        "needed": missing["needed"],
        "text": missing_words(Missing.of_data(missing)),
    }
