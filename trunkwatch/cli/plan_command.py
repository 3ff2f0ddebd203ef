"""trunkwatch plan."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli import options
from trunkwatch.cli.figures import check_ending, check_printed, write_printed
from trunkwatch.cli.in_tables import into_tables_at_end
from trunkwatch.cli.options import (
    block_option,
    cards_option,
    counts_option,
    definition_option,
    echo_notes,
    emit_json,
    json_option,
    season_option,
    seed_option,
    steps_with,
    vineyard_argument,
)


@click.command("plan")
@vineyard_argument
@block_option
@season_option
@definition_option
@click.option("--crew-days", type=click.FloatRange(0.1), default=10.0, show_default=True, help="Crew-days a winter.")
@click.option(
    "--futures",
    type=click.IntRange(20),
    default=300,
    show_default=True,
    help="Futures that strategies are compared on.",
)
@click.option(
    "--costs",
    "costs_file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="A costs.csv in place of the vineyard's own.",
)
@click.option(
    "--strategies",
    "strategies_file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Strategies of your own, a CSV line each: name, renew, damaged_only, crew_days, start_at_pct, neighbours, sound_share_pct, fill, replant_year, protect, arms, least_dead_pct, shoot_first.",
)
@click.option("--example-costs", metavar="REGION", help="Print an example costs.csv and stop.")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="The list as CSV or GeoJSON."
)
@click.option(
    "--page",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="The page Decide, as one HTML file (or .pdf).",
)
@click.option("--all-blocks", is_flag=True, help="One crew for all blocks: their work ranked together.")
@click.option(
    "--write",
    is_flag=True,
    help="Write the list into the vineyard as planned work, in place of what earlier plans wrote.",
)
@click.option(
    "--compare",
    is_flag=True,
    help="Draw lots among equal vines: some to be retrained this winter, the others left for comparison; --write puts them on the work list.",
)
@click.option(
    "--share",
    type=click.FloatRange(5, 95),
    default=50.0,
    show_default=True,
    help="With --compare: percent of the vines to be retrained.",
)
@click.option(
    "--effect",
    type=click.FloatRange(1, 100),
    default=20.0,
    show_default=True,
    help="With --compare: vines of 100 that retraining spares; says how many lots it takes for that to show.",
)
@click.option("--rules", is_flag=True, help="List the rules, and every assumption with its source.")
@cards_option
@counts_option
@seed_option
@json_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    definition: str | None,
    crew_days: float,
    futures: int,
    costs_file: Path | None,
    strategies_file: Path | None,
    example_costs: str | None,
    out: Path | None,
    page: Path | None,
    all_blocks: bool,
    write: bool,
    compare: bool,
    share: float,
    effect: float,
    rules: bool,
    cards: Path | None,
    own_key: Path | None,
    cache: Path | None,
    seed: int,
    as_json: bool,
) -> None:
    """Decide: strategies in money on the block's own futures, and what to do with each vine this winter.

    \b
    Example:
      trunkwatch plan my_vines --example-costs california > my_vines/costs.csv
      trunkwatch plan my_vines --block North --crew-days 8 --out north_2027.csv
      trunkwatch plan my_vines --all-blocks --crew-days 12 --out winter.csv
      trunkwatch plan my_vines --block North --compare --write

    What is believed of a vine's chances before the record speaks can be set in costs.csv by name, in percent a year:
    relapse_1_pct to relapse_4_pct, renewal_fails_pct, lasting_pct, decline_pct, death_case_pct, death_sound_pct and the others
    that the list of assumptions shows.
    """
    if example_costs is not None:
        _example(example_costs)
        return
    if out is not None:
        check_ending(out, (".csv", ".geojson", ".json"))
    check_printed(page)
    if compare:
        only = "--compare goes with --block, --season, --definition, --share, --effect, --seed and --write only"
        _refuse(only, all_blocks, page, out, as_json, cards, own_key, cache)
        _compare(vineyard, block, season, definition, share=share / 100, effect=effect / 100, seed=seed, write=write)
        return
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.block.words import note_sentences
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.decide.outlook_words import leans_on_sentence
    from trunkwatch.decide.road import decide_on
    from trunkwatch.decide.words import CAUTIONS_DECIDE, decision_sentences
    from trunkwatch.follow_up.did_it_work import did_it_work

    if all_blocks:
        only = "--all-blocks goes with --out, --write, --costs, --crew-days, --futures and --season only"
        _refuse(only, block, page, as_json, strategies_file)
        costs = _read_costs(costs_file) if costs_file is not None else None
        _estate(
            vineyard,
            season,
            definition,
            costs,
            cards,
            own_key,
            cache,
            crew_days=crew_days,
            futures=futures,
            seed=seed,
            out=out,
            write=write,
        )
        return
    with open_vineyard(vineyard) as store:
        loaded = load(store, block, season, definition=definition)
        steps = steps_with(store, cards, own_key, cache)
        table = _read_costs(costs_file) if costs_file is not None else store.frame("costs", loaded.history.block)
        own = _read_strategies(strategies_file, table) if strategies_file is not None else None
        with waiting("Futures") as progress:
            found = decide_on(
                steps,
                loaded,
                costs=table,
                crew_days=crew_days,
                futures=futures,
                strategies=own,
                seed=seed,
                progress=progress,
            )
        others = steps.others(loaded.history.block, loaded.history.definition)
        leans = steps.leans_on(loaded.history.block, loaded.history.definition, loaded.season)
    if as_json:
        emit_json(_data(found))
    else:
        echo_notes(note_sentences(loaded))
        click.echo(f"Block {loaded.history.block} after season {loaded.season}: a projection, not advice")
        for sentence in decision_sentences(found, today=options.today()):
            click.echo(f"  {sentence}")
        _show(found, rules=rules)
        click.echo("  Did the work of the last years hold?")
        for sentence in did_it_work(loaded, others, seed=seed):
            click.echo(f"    {sentence}")
        for caution in CAUTIONS_DECIDE:
            click.echo(f"  Mind: {caution}")
        click.echo(f"  {leans_on_sentence(leans)} (seed {seed}; {futures} futures)")
    if page is not None:
        _page(found, loaded, others, leans, page, seed)
    if out is not None:
        _save([found], out)
    if write:
        _write(vineyard, [found])


def _refuse(message: str, *given: object) -> None:
    """Refuse options that do not go together."""
    if any(option is not None and option is not False for option in given):
        raise click.UsageError(message)


def _compare(
    vineyard: Path,
    block: str | None,
    season: int | None,
    definition: str | None,
    *,
    share: float,
    effect: float,
    seed: int,
    write: bool,
) -> None:
    """Draw lots for the coming winter, and write them down where that is wished."""
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.block.words import note_sentences
    from trunkwatch.follow_up.lot_words import lot_sentences
    from trunkwatch.follow_up.lots import draw_lots, lot_records, would_show
    from trunkwatch.intake.write_lots import write_lots
    from trunkwatch.vineyard.calendar import coming_winter

    with open_vineyard(vineyard) as store:
        loaded = load(store, block, season, definition=definition)
    hemisphere = loaded.reading.hemisphere
    drawn = draw_lots(loaded, coming_winter(loaded.season, hemisphere, options.today()), share=share, seed=seed)
    shows = would_show(loaded, drawn, effect)
    echo_notes(note_sentences(loaded))
    for sentence in lot_sentences(drawn, shows, hemisphere=hemisphere, written=write):
        click.echo(sentence)
    for renew, word in ((True, "Renew"), (False, "Leave")):
        vines = [
            ":".join(map(str, loaded.history.grid.label(*cell)))
            for cell, lot in sorted(drawn.lots.items())
            if lot.renew is renew
        ]
        click.echo(f"{word} (row:position): {', '.join(vines)}")
    if write:
        into_tables_at_end(vineyard)
        for sentence in write_lots(vineyard, loaded.history.block, lot_records(loaded, drawn)).sentences:
            click.echo(sentence, err=True)


def _estate(
    vineyard: Path,
    season: int | None,
    definition: str | None,
    costs: Any,
    cards: Path | None,
    own_key: Path | None,
    cache: Path | None,
    *,
    crew_days: float,
    futures: int,
    seed: int,
    out: Path | None,
    write: bool,
) -> None:
    """Plan for all blocks with one crew."""
    from trunkwatch.block import open_vineyard
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.decide.all_blocks import estate_plan
    from trunkwatch.decide.all_blocks_words import estate_lines, estate_sentences
    from trunkwatch.decide.road import decide_on
    from trunkwatch.decide.words import CAUTIONS_DECIDE
    from trunkwatch.errors import RecordError

    found, left = [], []
    with open_vineyard(vineyard) as store, waiting("Blocks") as progress:
        steps, labels = steps_with(store, cards, own_key, cache), store.blocks()
        for number, label in enumerate(labels, 1):
            try:
                loaded = steps.readings.season(label, season, definition=definition)
                found.append(decide_on(steps, loaded, costs=costs, crew_days=crew_days, futures=futures, seed=seed))
            except RecordError as error:
                left.append(f"{label}: {error}")
            progress(number / len(labels))
    for line in left:
        click.echo(f"note: {line}", err=True)
    if not found:
        raise RecordError("no block can be planned for")
    planned = estate_plan(found, crew_days=crew_days)
    click.echo(f"All blocks, {crew_days:g} crew-days a winter: a projection, not advice")
    for sentence in estate_sentences(planned, today=options.today()):
        click.echo(f"  {sentence}")
    lines = estate_lines(planned)
    if lines:
        click.echo("  Cut and replant (block row:position), what brings most for an hour first:")
    for line in lines[:40]:
        click.echo(f"    {line}")
    if len(lines) > 40:
        click.echo(f"    and {len(lines) - 40} more: --out FILE.csv has them all")
    for caution in CAUTIONS_DECIDE:
        click.echo(f"  Mind: {caution}")
    if out is not None:
        _save(planned, out)
    if write:
        _write(vineyard, planned)


def _write(vineyard: Path, plans: list[Any]) -> None:
    from trunkwatch.decide.decision import planned_records, winter_of
    from trunkwatch.intake.winter_work import BlockPlan, write_winter_work

    into_tables_at_end(vineyard)
    day = options.today()
    told = write_winter_work(
        vineyard,
        [BlockPlan(one.season.history.block, winter_of(one, day), planned_records(one, today=day)) for one in plans],
    )
    click.echo(f"Planned work: {told.sentence}", err=True)
    echo_notes(told.remarks)


def _page(found: Any, loaded: Any, others: Any, leans: Any, page: Path, seed: int) -> None:
    from trunkwatch.decide.outlook import outlook
    from trunkwatch.decide.outlook_words import leans_on_sentence, no_forecast_sentence, outlook_sentences
    from trunkwatch.errors import RecordError
    from trunkwatch.follow_up.did_it_work import did_it_work
    from trunkwatch.report.decide_page import decide_html

    try:
        ahead = (*outlook_sentences(outlook(loaded, others, seed=seed)), leans_on_sentence(leans))
    except RecordError as error:
        ahead = (no_forecast_sentence(error),)
    write_printed(
        page, decide_html(found, ahead, did_it_work(loaded, others, seed=seed), today=options.today()), err=True
    )


def _example(region: str) -> None:
    from trunkwatch.renewal.costs import LOUD_NOTE, example_costs

    shipped = example_costs()
    if region not in shipped:
        raise click.UsageError(f"no example {region!r}: one of {', '.join(shipped)}")
    click.echo(shipped[region], nl=False)
    click.echo(LOUD_NOTE, err=True)


def _read_costs(path: Path) -> Any:
    from trunkwatch.errors import FaultyNotesError
    from trunkwatch.spreadsheets.table import read_table
    from trunkwatch.spreadsheets.worksheet import read_sheets

    frame, faults = read_table(read_sheets(path)[0], "costs")
    stopping = [fault for fault in faults if fault.weight == "fault"]
    if stopping:
        raise FaultyNotesError(stopping)
    return frame


def _read_strategies(path: Path, costs: Any) -> Any:
    from trunkwatch.renewal.costs import costs_of
    from trunkwatch.renewal.strategies import strategies_of
    from trunkwatch.spreadsheets.worksheet import read_sheets

    sheet = read_sheets(path)[0]
    lines = [
        {h: str(c if c is not None else "") for h, c in zip(sheet.headings, cells, strict=False) if h}
        for _, cells in sheet.lines
    ]
    return strategies_of(lines, costs_of(costs)["crew_day_hours"])


def _show(found: Any, *, rules: bool) -> None:
    from trunkwatch.decide.words import (
        HEAVY,
        assumption_lines,
        detail_sentences,
        light_lines,
        of_this_winter,
        work_line,
    )
    from trunkwatch.renewal.plan import RULES

    if found.comparison is not None:
        click.echo(
            f"  Strategies, the best first: gain {found.costs.measures.area} over doing nothing (90% range); crew-days {found.costs.measures.area}"
        )
        blocks = {one.name for one in found.strategies if one.replant_year is not None}
        for one in sorted(found.told.judged, key=lambda one: -one.gain):
            days = "work in its price" if one.name in blocks else f"{one.crew_days:.1f}"
            click.echo(f"    {one.name}: {one.gain:,.0f} ({one.gain_low:,.0f} to {one.gain_high:,.0f}); {days}")
        for sentence in detail_sentences(found):
            click.echo(f"  {sentence}")
    now = of_this_winter(found)
    heavy = [one for one in now if one.kind in HEAVY]
    if heavy:
        click.echo("  Cut and replant (row:position), in this order:")
    for one in heavy[:40]:
        click.echo(f"    {work_line(found, one)}")
    if len(heavy) > 40:
        click.echo(f"    and {len(heavy) - 40} more: --out FILE.csv has them all")
    light = light_lines(found, [one for one in now if one.kind not in HEAVY])
    if light:
        click.echo("  Lighter work:")
    for said, many, vines in light:
        click.echo(f"    {many} vine{'s' if many != 1 else ''}, {said}: {_first(vines)}")
    if rules:
        for name, rule in RULES.items():
            click.echo(f"  rule {name}: {rule}")
        for name, value, meaning, source in assumption_lines(found):
            click.echo(f"  {name} = {value} ({meaning}): {source}")


def _first(vines: str, most: int = 12) -> str:
    named = vines.split(", ")
    return vines if len(named) <= most else f"{', '.join(named[:most])} and {len(named) - most} more"


def _data(found: Any) -> dict[str, Any]:
    from trunkwatch.decide.words import no_comparison_words
    from trunkwatch.renewal.measures import METRIC
    from trunkwatch.renewal.plan_words import why_words

    grid = found.season.history.grid
    data: dict[str, Any] = {
        "block": found.season.history.block,
        "season": found.season.season,
        "reason": no_comparison_words(found),
        "crew_days": found.crew_days,
        "money": found.money,
        "area": METRIC.area,
        "weight": METRIC.weight,
        "work": [
            {
                "row": grid.label(*one.cell)[0],
                "position": grid.label(*one.cell)[1],
                "kind": one.kind,
                "rule": one.rule,
                "why": why_words(one, found.costs),
                "last_seen": one.last_seen,
                "trunk": one.trunk,
                "arm": one.arm,
                "cut_height_cm": one.cut_height_cm,
                "hours": one.hours,
                "gain": one.gain,
                "winter": one.winter,
            }
            for one in found.work
        ],
    }
    if found.comparison is not None:
        told = found.comparison
        data |= {
            "recommended": told.recommended,
            "second": told.second,
            "clear": told.clear,
            "gap": told.gap,
            "gap_error": told.gap_error,
            "healthy": told.healthy,
            "years": told.years,
            "futures": told.futures,
            "discount": told.discount,
            "flip_discount": found.flip_discount,
            "strategies": [
                {
                    "name": one.name,
                    "gain": one.gain,
                    "low": one.gain_low,
                    "high": one.gain_high,
                    "error": one.gain_error,
                    "crew_days": one.crew_days,
                    "crew_days_all": one.crew_days_all,
                    "best": one.best,
                    "regret": one.regret,
                    "at": one.at,
                    "flip_price": one.flip_price,
                    "incidence": one.incidence.tolist(),
                    "yield": one.bearing.tolist(),
                    "cash": one.cash.tolist(),
                }
                for one in told.judged
            ],
        }
    return data


def _save(plans: list[Any], out: Path) -> None:
    """Write the list; GeoJSON has the vines' points where the block has coordinates."""
    import json

    from trunkwatch.decide.decision import planned_records
    from trunkwatch.errors import FileError
    from trunkwatch.spreadsheets.guard import guarded
    from trunkwatch.spreadsheets.write import replace_file

    day = options.today()
    works = [(found, one) for found in plans for one in found.work]
    records = [
        {"winter": one.winter + 1, **record, "last_seen": one.last_seen}
        for (_, one), record in zip(
            works, [record for found in plans for record in planned_records(found, today=day)], strict=True
        )
    ]
    plain = [{key: None if value != value else value for key, value in record.items()} for record in records]
    if out.suffix.casefold() in (".geojson", ".json"):
        for found in plans:
            if not found.season.placed:
                raise FileError(f"block {found.season.history.block!r} has no coordinates: write the list as CSV")
        features = [
            {
                "type": "Feature",
                "properties": record,
                "geometry": {
                    "type": "Point",
                    "coordinates": [
                        round(float(found.season.placed.longitude[one.cell]), 7),
                        round(float(found.season.placed.latitude[one.cell]), 7),
                    ],
                },
            }
            for (found, one), record in zip(works, plain, strict=True)
        ]
        replace_file(out, json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False).encode())
    else:
        import csv
        import io

        told = io.StringIO()
        names = list(records[0]) if records else ["winter", "block", "row", "position", "date", "kind"]
        writer = csv.DictWriter(told, names)
        writer.writeheader()
        writer.writerows({k: guarded(v) if isinstance(v, str) else v for k, v in record.items()} for record in plain)
        replace_file(out, told.getvalue().encode())
    click.echo(str(out), err=True)
