"""Case definitions: which findings make a case, and which looks a season needs to count.

Looks are of two classes: bare (dormant or spring: the wood is seen) and leafy (summer).

The three shipped definitions are the project's own convention. `dieback` takes dead spurs
from 10 % of the positions (common practice, no source).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol

__all__ = ["DEFINITIONS", "CaseDefinition", "Part", "definition_named", "spur_share"]

#: Dead spur positions below this share are no case.
SPUR_SHARE = 0.10


@dataclass(frozen=True, slots=True)
class Part:
    """One group of symptoms that show at the same class of looks.

    A survey made for single symptoms covers the part if its purpose names `key`, the symptom
    that stands for the part.
    """

    name: str  # leafy or bare
    symptoms: frozenset[str]
    looks: frozenset[str]
    key: str


class Seen(Protocol):
    """What a definition asks of a finding."""

    @property
    def symptom(self) -> str:
        """Code of the symptom."""

    @property
    def spur_share(self) -> float:
        """Share of dead spur positions, 0 to 1; nan where nothing was counted."""


@dataclass(frozen=True, slots=True)
class CaseDefinition:
    """A case definition: its parts, and whether a vine must have had the looks of all of them to be looked at.

    Where not `every_part` is asked for, a vine must have had those that took place in the season, and seasons are
    compared only with seasons of the same classes of looks.
    """

    name: str
    meaning: str
    parts: tuple[Part, ...]
    every_part: bool = True

    @property
    def looks(self) -> frozenset[str]:
        """Looks at which a finding counts."""
        return frozenset().union(*(part.looks for part in self.parts))

    def is_case(self, symptom: str, share: float) -> bool:
        """Tell whether a finding makes a case.

        Parameters
        ----------
        symptom : str
            Code of the symptom.
        share : float
            Share of dead spur positions, 0 to 1; nan where nothing was counted, which counts
            as enough: a scout who writes dead_spurs without a number saw some worth writing.
        """
        if not any(symptom in part.symptoms for part in self.parts):
            return False
        return symptom != "dead_spurs" or math.isnan(share) or share >= SPUR_SHARE - 1e-9

    def makes_case(self, finding: Seen) -> bool:
        """Tell whether a finding makes a case."""
        return self.is_case(finding.symptom, finding.spur_share)


_LEAF = Part("leafy", frozenset({"leaf_stripe", "collapse"}), frozenset({"summer"}), "leaf_stripe")
_DIEBACK = Part(
    "bare",
    frozenset({"dead_arm", "dead_trunk", "canker", "stunted_shoots", "dead_spurs"}),
    frozenset({"dormant", "spring"}),
    "dead_arm",
)

DEFINITIONS: Mapping[str, CaseDefinition] = MappingProxyType(
    {
        "any": CaseDefinition(
            "any",
            "leaf symptoms or dieback, whatever was seen at the inspections that took place",
            (_LEAF, _DIEBACK),
            every_part=False,
        ),
        "leaf": CaseDefinition("leaf", "striped leaves or collapse, at a summer inspection", (_LEAF,)),
        "dieback": CaseDefinition(
            "dieback",
            "dead arm or trunk, canker, stunted shoots, or dead spurs from 10 % of the positions, "
            "at a dormant or spring inspection",
            (_DIEBACK,),
        ),
    }
)


def definition_named(name: str) -> CaseDefinition:
    """Return a shipped definition.

    Raises
    ------
    ValueError
        If there is none of that name.
    """
    if name not in DEFINITIONS:
        raise ValueError(f"case definition is {name!r}: one of {', '.join(DEFINITIONS)} is needed")
    return DEFINITIONS[name]


def spur_share(dead: float | None, total: float | None, percent: float | None) -> float:
    """Share of dead spur positions, from counts where they stand and from the percent otherwise; nan for none."""
    if dead is not None and total:
        return dead / total
    return math.nan if percent is None else percent / 100.0
