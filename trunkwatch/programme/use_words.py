"""What a record can be used for and what is missing, in a grower's words."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from trunkwatch.history.reason_words import not_counted_words
from trunkwatch.history.reasons import NotCounted
from trunkwatch.programme.uses import Lack, Missing, Use

__all__ = ["missing_words", "use_lines", "use_names"]

_ASKS: Mapping[Use, str] = MappingProxyType({
    Use.RATES: "how many vines show symptoms", Use.TREND: "whether it is getting worse",
    Use.PATTERN: "whether they are bunched", Use.FORECAST: "what to expect next season",
    Use.PLAN: "what pays",
})  # fmt: skip


def use_names(uses: Sequence[Use]) -> str:
    """Name uses as they are listed: rates, trend."""
    return ", ".join(uses) if uses else "nothing yet"


def use_lines(missing: Mapping[Use, Sequence[Missing]]) -> list[str]:
    """Say what is missing, each thing once, with the uses that wait for it; nothing where a record carries all of them."""
    waiting: dict[tuple[Missing, ...], list[Use]] = {}
    for use, listed in missing.items():
        if listed:
            waiting.setdefault(tuple(listed), []).append(use)
    return [
        f"not yet {', '.join(f'{use} ({_ASKS[use]})' for use in uses)}: {'; '.join(missing_words(one) for one in listed)}"
        for listed, uses in waiting.items()
    ]


def missing_words(missing: Missing) -> str:
    """Say what is missing, and what to do about it."""
    there, needed = missing.there, missing.needed
    if missing.lack is Lack.NOTHING_WRITTEN:
        return "nothing is written down of this block: scout it and log the survey"
    if missing.lack is Lack.NOT_COUNTED:
        why = not_counted_words(NotCounted[name] for name in missing.reasons)
        return f"no season counts ({there}: {why}): log which rows were scouted, and when"
    if missing.lack is Lack.SEASONS:
        more = needed - there
        return f"it takes {needed} seasons with the same inspections, there {_are(there)} {there}: scout {more} more"
    if missing.lack is Lack.CASES:
        return f"{there} {'vine shows' if there == 1 else 'vines show'} symptoms: with fewer than {needed} nobody can say how they lie"
    return "the list of vines is ready, what it is worth is not: write your prices into costs.csv"


def _are(many: int) -> str:
    return "is" if many == 1 else "are"
