"""Blocks beside each other, in sentences for a grower: how many show, how much, since when, and what is unusual."""

import math

from trunkwatch.peers.beside import BlockBeside, Peers
from trunkwatch.peers.gather import BlockRow, Gathered
from trunkwatch.peers.grouped import FEWEST_IN_GROUP, GroupFacts, GroupSeason
from trunkwatch.peers.who_scouted import Apart, WhoScouted

__all__ = [
    "block_sentences", "group_sentences", "head_sentence", "left_sentences", "scouted_sentences", "share_words", "unusual_sentences",
]  # fmt: skip


def share_words(share: float) -> str:
    """Write a share as percent, with as many digits as it carries."""
    percent = 100 * share
    return f"{percent:.0f}" if percent >= 9.95 else f"{percent:.1f}" if percent >= 0.995 else f"{percent:.2f}"


def head_sentence(found: Peers) -> str:
    """Say what is set beside each other."""
    here = {row.block: row.grower for row in found.gathered.rows if row.season == found.season}
    growers = len(set(here.values()))
    of = f" of {growers} growers" if growers > 1 else ""
    return (
        f"Season {found.season}, definition {found.gathered.definition}: {len(here)} block{'s' if len(here) != 1 else ''}{of}. "
        "These are the blocks on file, not a sample of a region."
    )


def group_sentences(group: GroupFacts, season: int) -> tuple[str, ...]:
    """Say how many blocks of a group show in a season, how much where they do, and whether it is getting worse."""
    here = next((one for one in group.seasons if one.season == season), None)
    if here is None:
        return (f"No block of it was scouted in {season}.",)
    if group.blocks < FEWEST_IN_GROUP:
        return (
            _prevalence(here),
            f"{here.cases:,} of {here.vines:,} vines were showing; too few blocks for rates and trend (it takes {FEWEST_IN_GROUP}).",
        )
    sentences = [_prevalence(here), _where_present(here)]
    if here.shares is None:
        sentences.append(
            f"Too few blocks for a rate with a range: {here.prevalence.vines}, and it takes {FEWEST_IN_GROUP}."
        )
    elif not math.isnan(here.shares.low_block):
        sentences.append(
            f"A block shows {share_words(here.shares.share)} % on average (likely range {share_words(here.shares.low)} to "
            f"{share_words(here.shares.high)} %); nine in ten of such blocks show {share_words(here.shares.low_block)} to {share_words(here.shares.high_block)} %."
        )
    if group.trend is not None:
        sentences.append(str(group.trend))
    return tuple(sentences)


def _prevalence(here: GroupSeason) -> str:
    one = here.prevalence
    return (
        f"How many blocks show: {one.cases} of {one.vines} had a vine showing ({share_words(one.share)} %, likely range "
        f"{share_words(one.low)} to {share_words(one.high)} %)."
    )


def _where_present(here: GroupSeason) -> str:
    found = here.where_present
    if not here.cases:
        return f"How much: none of {here.vines:,} vines scouted was showing."
    if found is None:
        return f"How much where they do: {here.cases:,} of {here.vines:,} vines of all blocks; too few blocks show for a range (it takes {FEWEST_IN_GROUP})."
    return (
        f"How much where they do: {share_words(found.share)} % of the vines (likely range {share_words(found.low)} to {share_words(found.high)} %) "
        f"in {found.rows} blocks."
    )


def block_sentences(found: Peers, block: BlockRow | BlockBeside) -> tuple[str, ...]:
    """Set one block beside its like; the first sentence is the answer."""
    if isinstance(block, BlockRow):
        return (f"{_counted(block)}.", _too_few(found))
    row = block.row
    like = f"{share_words(block.like_low)} to {share_words(block.like_high)} %"
    own = f"{share_words(block.share)} % (likely range {share_words(block.low)} to {share_words(block.high)} %)"
    sentences = [
        f"{_of_blocks_like(found, row)} nine in ten show {like}: this one shows {own}.",
        f"{_counted(row)}; where few vines were scouted the share is drawn toward what blocks like it show.",
        _how_many_like(found, block),
    ]
    if block.unusual:
        sentences.append(f"That is unusual: {_far(block)}.")
    elif block.unusual_high is not None:
        sentences.append(
            f"That is not unusual. It would be from {block.unusual_high:,} vines showing of {row.vines:,} on."
        )
    else:
        sentences.append("That is not unusual; blocks like it differ so much, or are so few, that no count would be.")
    if block.trend is not None:
        factor, low, high, of_all = (
            f"{100 * (one - 1):+.0f}"
            for one in (block.trend.factor, block.trend.low, block.trend.high, block.trend.of_all)
        )
        sentences.append(
            f"Its odds of showing changed by {factor} % a season (likely range {low} to {high}), those of all blocks on file by {of_all} %."
        )
    return tuple(sentences)


def _counted(row: BlockRow) -> str:
    return f"{row.cases:,} of {row.vines:,} vines scouted in block {row.block} were showing in {row.season} ({share_words(row.cases / row.vines)} %)"


def _of_blocks_like(found: Peers, row: BlockRow) -> str:
    alike = [] if math.isnan(row.age) else [f"this age ({row.age:.0f} years)"]
    alike += [f"{kind} {getattr(row, kind)}" for kind in found.kinds if getattr(row, kind)]
    return f"Of blocks of {' and '.join(alike)}" if alike else "Of all blocks"


def _how_many_like(found: Peers, block: BlockBeside) -> str:
    kinds = " and ".join(found.kinds)
    if block.of_kind >= FEWEST_IN_GROUP:
        return f"{block.of_kind} other blocks of the season have the same {kinds}."
    count = f"only {block.of_kind}" if block.of_kind else "no"
    return f"{count[0].upper()}{count[1:]} other block{'s' if block.of_kind > 1 else ''} of the season {'have' if block.of_kind > 1 else 'has'} the same {kinds}: blocks of others speak for it too, and the range is wide."


def _far(block: BlockBeside) -> str:
    way = "more" if block.more < 0.5 else "less"
    return f"blocks like it show that much or {way} by chance with p = {block.corrected:.2g}, all blocks of the season allowed for"


def unusual_sentences(found: Peers) -> tuple[str, ...]:
    """Name the blocks that are too far from their like, or say that there is none, or why that cannot be told."""
    if found.why_not is not None:
        return (_too_few(found),)
    if not found.unusual:
        return (f"Unusual: none of {len(found.beside)} blocks is further from its like than chance explains.",)
    return tuple(
        f"Unusual: block {one.row.block} shows {'more' if one.more < 0.5 else 'less'} than its like: {one.row.cases:,} of {one.row.vines:,} vines "
        f"({share_words(one.row.cases / one.row.vines)} %), nine in ten like it {share_words(one.like_low)} to {share_words(one.like_high)} %; {_far(one)}."
        for one in sorted(found.unusual, key=lambda one: one.row.block)
    )


def _too_few(found: Peers) -> str:
    why = found.why_not
    assert why is not None  # noqa: S101 - asked only where it holds
    if why.blocks >= why.needed:
        return "What is usual cannot be told: in no season was any vine showing, or all were."
    return f"What is usual cannot be told from {why.blocks} block{'s' if why.blocks != 1 else ''} of the season: it takes {why.needed}."


def scouted_sentences(scouted: WhoScouted) -> tuple[str, ...]:
    """Say whether growers can be told from observers."""
    if scouted.apart is Apart.ONE_GROWER:
        return ()
    if scouted.apart is Apart.LINKED:
        return (
            f"Observers: {scouted.shared} of {scouted.observers} scouted for more than one grower, and so link all growers.",
        )
    if scouted.apart is Apart.NOT_WRITTEN:
        return (
            f"Observers: it is not on record who scouted for {', '.join(scouted.unnamed)}: a difference between growers may be one between observers.",
        )
    if scouted.apart is Apart.CONFOUNDED:
        return (
            "Observers are confounded with growers: each scouted for one grower only.",
            "So a difference between growers cannot be told from one between observers; a blind recheck by somebody who scouts for several can tell.",
        )
    alone = f": nobody who scouted for {', '.join(scouted.alone)} scouted for another" if scouted.alone else ""
    return (
        f"Observers are partly confounded with growers{alone}; such differences cannot be told from those between observers.",
    )


def left_sentences(gathered: Gathered) -> tuple[str, ...]:
    """Name the blocks that are left out, and why."""
    out = [f"block {one.block} is left out: {one.reason or 'no season of it counts'}" for one in gathered.left]
    if gathered.other_looks:
        out.append(
            f"{gathered.other_looks} block seasons are left out: other inspections took place than in most blocks"
        )
    return tuple(out)
