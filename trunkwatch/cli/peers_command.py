"""trunkwatch peers."""

from dataclasses import asdict
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
    say,
    vineyard_type,
)


@click.command("peers")
@click.argument("vineyards", nargs=-1, required=True, metavar="VINEYARD [MORE VINEYARDS]...", type=vineyard_type)
@block_option
@click.option(
    "--season", type=int, metavar="YEAR", help="Year of the harvest; the last one with enough blocks if left out."
)
@click.option(
    "--by",
    type=click.Choice(["cultivar", "rootstock", "training", "age"]),
    help="Rates and trend of each group of blocks.",
)
@definition_option
@keep_good_option
@json_option
def command(
    vineyards: tuple[Path, ...],
    block: str | None,
    season: int | None,
    by: str | None,
    definition: str | None,
    *,
    keep_good: bool,
    as_json: bool,
) -> None:
    """Set blocks beside blocks of the same age and cultivar, of one or of several growers.

    How many blocks show, and how much where they do; each block beside its like, drawn toward it where few vines were
    scouted; blocks that are unusual. Blocks are never ranked. Names of blocks stand in the answer: pass it on only
    with the consent of their growers.

    \b
    Example:
      trunkwatch peers sample_blocks --by training
      trunkwatch peers hers.gpkg his.gpkg theirs.gpkg --block "Hill Farm/North"
    """
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.peers import gather, peers_of
    from trunkwatch.peers.words import left_sentences

    with waiting("Vineyards") as progress:
        gathered = gather(vineyards, definition=definition, keep_good=keep_good, done=progress)
    found = peers_of(gathered, season, by=by)
    if as_json:
        emit_json(_data(found, block))
        return
    echo_notes(left_sentences(gathered))
    _say(found, block)


def _say(found: Any, block: str | None) -> None:
    from trunkwatch.peers.words import (
        block_sentences,
        group_sentences,
        head_sentence,
        scouted_sentences,
        unusual_sentences,
    )

    if block is not None:
        for sentence in (*block_sentences(found, found.of_block(block)), *scouted_sentences(found.scouted)):
            say(sentence)
        return
    say(head_sentence(found))
    for sentence in group_sentences(found.everything, found.season):
        say(sentence, "  ")
    for group in found.groups:
        say(f"{found.by} {group.label or 'not on record'}")
        for sentence in group_sentences(group, found.season):
            say(sentence, "  ")
    for sentence in (*unusual_sentences(found), *scouted_sentences(found.scouted)):
        say(sentence)
    if found.beside:
        _table(found)


def _table(found: Any) -> None:
    """A line a block, by name."""
    from trunkwatch.peers.words import share_words

    wide = max(24, *(len(one.row.block) + 2 for one in found.beside))
    click.echo(f"{'block':{wide}}{'showing':16}{'share, likely range':26}nine in ten like it")
    for one in found.beside:
        shown = f"{share_words(one.share)} % ({share_words(one.low)} to {share_words(one.high)})"
        like = f"{share_words(one.like_low)} to {share_words(one.like_high)} %"
        click.echo(
            f"{one.row.block:{wide}}{f'{one.row.cases}/{one.row.vines}':16}{shown:26}{like}{' unusual' if one.unusual else ''}"
        )
    say(
        "Ranges that overlap do not tell blocks apart. The highest block of a year tends to fall the next without any work."
    )


def _data(found: Any, block: str | None) -> dict[str, Any]:
    from trunkwatch.peers.words import block_sentences, head_sentence, scouted_sentences, unusual_sentences

    wanted = found.of_block(block) if block is not None else None
    beside = [one for one in found.beside if wanted is None or one is wanted]
    return {
        "season": found.season,
        "definition": found.gathered.definition,
        "by": found.by,
        "alike_in": list(found.kinds),
        "blocks": list(found.gathered.blocks),
        "growers": list(found.gathered.growers),
        "answer": [*block_sentences(found, wanted)]
        if wanted is not None
        else [head_sentence(found), *unusual_sentences(found)],
        "everything": _group(found.everything),
        "groups": [_group(one) for one in found.groups],
        "beside": [_block(one) for one in beside],
        "too_few": None if found.why_not is None else asdict(found.why_not),
        "sd_blocks": found.sd_blocks,
        "sd_growers": found.sd_growers,
        "trends_differ": found.trends_differ,
        "observers": {
            "apart": found.scouted.apart.name.casefold(),
            "alone": list(found.scouted.alone),
            "unnamed": list(found.scouted.unnamed),
            "observers": found.scouted.observers,
            "shared": found.scouted.shared,
            "words": list(scouted_sentences(found.scouted)),
        },
        "left": [asdict(one) for one in found.gathered.left],
        "other_looks": found.gathered.other_looks,
    }


def _group(group: Any) -> dict[str, Any]:
    trend = group.trend
    return {
        "label": group.label,
        "blocks": group.blocks,
        "seasons": [
            {
                "season": one.season,
                "blocks": one.prevalence.vines,
                "showing": one.prevalence.cases,
                "prevalence": one.prevalence.share,
                "prevalence_low": one.prevalence.low,
                "prevalence_high": one.prevalence.high,
                "cases": one.cases,
                "vines": one.vines,
                "mean_share": None
                if one.shares is None
                else {
                    key: getattr(one.shares, key) for key in ("share", "low", "high", "low_block", "high_block", "rho")
                },
                "where_present": None
                if one.where_present is None
                else {key: getattr(one.where_present, key) for key in ("share", "low", "high")},
            }
            for one in group.seasons
        ],
        "trend": None
        if trend is None
        else {
            "verdict": trend.verdict,
            "factor": trend.statistic,
            "low": trend.low,
            "high": trend.high,
            "seasons": trend.seasons,
            "words": str(trend),
        },
    }


def _block(one: Any) -> dict[str, Any]:
    row = one.row
    return {
        "block": row.block,
        "grower": row.grower,
        "cases": row.cases,
        "vines": row.vines,
        "age": row.age,
        "cultivar": row.cultivar,
        "rootstock": row.rootstock,
        "training": row.training,
        "share": one.share,
        "low": one.low,
        "high": one.high,
        "like_low": one.like_low,
        "like_high": one.like_high,
        "of_kind": one.of_kind,
        "more": one.more,
        "corrected": one.corrected,
        "unusual": one.unusual,
        "unusual_low": one.unusual_low,
        "unusual_high": one.unusual_high,
        "trend": None if one.trend is None else asdict(one.trend),
    }
