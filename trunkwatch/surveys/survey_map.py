"""Cases and living vines of some surveys by themselves, whatever other surveys saw."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history.definitions import CaseDefinition
from trunkwatch.history.looks import Look
from trunkwatch.history.reading import BlockReading

__all__ = ["survey_map"]


def survey_map(
    reading: BlockReading, looks: Sequence[Look], rule: CaseDefinition
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return cases and living vines of some looks alone, two (rows, stations) bool arrays.

    Parameters
    ----------
    reading : BlockReading
        All records of the block: plants and deaths tell which vines live.
    looks : sequence of Look
        The looks, of `reading.looks` or `reading.rechecks`.
    rule : CaseDefinition
        What makes a case.
    """
    shape = reading.grid.shape
    cases, vines = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    for look in looks:
        for cell in look.cells:
            vines[cell] = not reading.empty(cell, look.date)
    second = any(look.recheck for look in looks)
    for finding in (*reading.findings, *(reading.second_findings if second else ())):
        if not any(look.takes_in(finding.date) and finding.cell in look.cells for look in looks):
            continue
        if finding.symptom == "dead":
            vines[finding.cell] = False
        elif rule.makes_case(finding):
            cases[finding.cell] = True
    return cases & vines, vines
