"""The pattern of one survey or one day, instead of a season."""

from pathlib import Path

from trunkwatch.block.opening import open_vineyard, read
from trunkwatch.errors import RecordError
from trunkwatch.history import DEFINITIONS
from trunkwatch.pattern.verdict import Pattern, map_pattern
from trunkwatch.surveys.survey_map import survey_map

__all__ = ["look_pattern"]


def look_pattern(
    path: str | Path,
    block: str | None = None,
    *,
    survey: str | None = None,
    date: str | None = None,
    definition: str | None = None,
    permutations: int = 9999,
    seed: int = 1,
    keep_good: bool = False,
) -> Pattern:
    """Test the map of one survey, or of all surveys of one day.

    The vines that count are the living ones that the survey covered; cases are its findings that
    fit the definition (any of the shipped ones where none is named).

    Raises
    ------
    RecordError
        If there is no such survey.
    """
    with open_vineyard(path, keep_good=keep_good) as store:
        reading, _ = read(store, block)
    every = [*reading.looks, *reading.rechecks]
    chosen = [look for look in every if (look.survey == survey if survey else look.date == date)]
    if not chosen:
        names = ", ".join(dict.fromkeys(look.survey for look in every)) or "none"
        raise RecordError(f"block {reading.records.name!r} has no survey {survey or date!r}; its surveys: {names}")
    cases, vines = survey_map(reading, chosen, DEFINITIONS[definition or "any"])
    title = f"survey {survey}" if survey else f"surveys of {date}"
    return map_pattern(reading.records.name, title, cases, vines, reading.grid, permutations=permutations, seed=seed)
