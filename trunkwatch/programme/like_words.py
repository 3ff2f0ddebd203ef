"""What blocks like a grower's show, in a short sentence: a range of many and the own block in it, no rank."""

import math

from trunkwatch.peers.beside import BlockBeside

__all__ = ["LIKE_CAPTION", "like_sentence"]

#: Under the picture.
LIKE_CAPTION = (
    "Fifty dots show how blocks like yours are spread. No dot is the block of any one grower. The bar is how sure we are of yours. "
    "A block far out one year is mostly nearer the rest the next, with no work at all."
)


def like_sentence(one: BlockBeside, *, any_cultivar: bool) -> str:
    """Say where nine in ten blocks like it lie, and where it lies."""
    like = [] if math.isnan(one.row.age) else ["age"]
    like += [] if any_cultivar else ["cultivar"]
    of = f"Of blocks of this {' and '.join(like)}" if like else "Of all blocks that take part"
    per = 1000 if one.like_high < 0.015 else 100
    low, high = _span(one.like_low, one.like_high, per)
    own, own_low, own_high = (_round(per * share) for share in (one.share, one.low, one.high))
    return (
        f"{of}, nine in ten have symptoms on {low} to {high} of {per} vines; "
        f"yours is at about {own}, and could be {own_low} to {own_high}."
    )


def _span(low: float, high: float, per: int) -> tuple[int, int]:
    """Round outward, so that nine in ten stays true."""
    return math.floor(per * low), math.ceil(per * high)


def _round(value: float) -> int:
    return math.floor(value + 0.5)
