"""Case definitions: which findings make a case, and which looks a season needs to count.

The three shipped definitions are the project's own convention. `dieback` takes dead spurs
from 10 % of the positions (common practice, no source).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from trunkwatch.vineyard import codes

__all__ = ["DEFINITIONS", "CaseDefinition", "Part", "definition_named", "spur_share"]

#: Dead spur positions below this share are no case.
SPUR_SHARE = 0.10


@dataclass(frozen=True, slots=True)
class Part:
    """One group of symptoms that show at the same looks.

    A survey made for single symptoms covers the part if its purpose names `key`, the symptom
    that stands for the part.
    """

    symptoms: frozenset[str]
    looks: frozenset[str]
    key: str
    needs: str  # the sentence for a season in which no such look took place


@dataclass(frozen=True, slots=True)
class CaseDefinition:
    """A case definition: its parts, all of whose looks a vine must have had to be looked at."""

    name: str
    meaning: str
    parts: tuple[Part, ...]

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

    def makes_case(self, line: Mapping[str, object]) -> bool:
        """Tell whether a line of the `symptoms` table makes a case."""
        numbers = [float(str(line[name])) for name in ("dead", "total", "percent")]
        return self.is_case(str(line["symptom"]), spur_share(*numbers))


_LEAF = Part(frozenset({"leaf_stripe", "collapse"}), frozenset({"summer"}), "leaf_stripe", "no summer look")
_DIEBACK = Part(
    frozenset({"dead_arm", "dead_trunk", "canker", "stunted_shoots", "dead_spurs"}),
    frozenset({"dormant", "spring"}),
    "dead_arm",
    "no dormant or spring look",
)

DEFINITIONS: Mapping[str, CaseDefinition] = MappingProxyType(
    {
        "any": CaseDefinition("any", "leaf symptoms or dieback, whichever is seen", (_LEAF, _DIEBACK)),
        "leaf": CaseDefinition("leaf", "striped leaves or collapse, at a summer look", (_LEAF,)),
        "dieback": CaseDefinition(
            "dieback",
            "dead arm or trunk, canker, stunted shoots, or dead spurs from 10 % of the positions, "
            "at a dormant or spring look",
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


def spur_share(dead: float, total: float, percent: float) -> float:
    """Share of dead spur positions, from counts where they stand and from the percent otherwise."""
    if not math.isnan(dead) and not math.isnan(total) and total > 0:
        return dead / total
    return percent / 100.0


def is_lasting(symptom: str) -> bool:
    """Tell whether a symptom stays until work takes it away."""
    return symptom in codes.LASTING
