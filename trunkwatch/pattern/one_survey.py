"""The pattern of one survey or one day, instead of a season."""

from pathlib import Path

import numpy as np

from trunkwatch.block.opening import laid_out, open_vineyard, records_of_block
from trunkwatch.errors import RecordError
from trunkwatch.history import DEFINITIONS
from trunkwatch.pattern.verdict import Pattern, map_pattern
from trunkwatch.surveys.survey_map import look_map

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
        records = records_of_block(store, block)
    grid, _, records = laid_out(records)
    lines = records.surveys
    chosen = lines[(lines["survey"] == survey) if survey else (lines["date"] == date)]
    if chosen.empty:
        names = ", ".join(dict.fromkeys(lines["survey"])) or "none"
        raise RecordError(f"block {records.name!r} has no survey {survey or date!r}; its surveys: {names}")
    cases, vines = look_map(records, grid, chosen, DEFINITIONS[definition or "any"])
    title = f"survey {survey}" if survey else f"surveys of {date}"
    return map_pattern(
        records.name, title, np.asarray(cases & vines), vines, grid, permutations=permutations, seed=seed
    )
