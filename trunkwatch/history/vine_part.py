"""On which part of the vine a finding sits, and what a cut takes away: one table for all rooms."""

from enum import Enum
from typing import NamedTuple

from trunkwatch.vineyard.codes import CLEARING

__all__ = ["ARMS_ON_THE_WIRE", "PartKind", "VinePart", "part_of", "takes", "wire_share"]

#: Symptoms of an arm, whether it is named or not; a canker is one only where the arm is named.
_OF_AN_ARM = frozenset({"dead_arm", "dead_spurs", "stunted_shoots"})
#: Arms that share the wire of a vine; two where the training is not written.
ARMS_ON_THE_WIRE = {"unilateral": 1, "cane_1": 1, "double_wire": 4, "divided": 4, "cane_4": 4}


class PartKind(Enum):
    """An arm, the trunk, one of the two without a word which, or the vine as a whole."""

    ARM = "arm"
    TRUNK = "trunk"
    UNSAID = "arm or trunk"
    VINE = "vine"


class VinePart(NamedTuple):
    """Part of a vine.

    Attributes
    ----------
    kind : PartKind
    trunk : int
        Number of the trunk, counted from the row's start; 0 where none was named.
    arm : str
        Name of the arm; empty where none was named.
    """

    kind: PartKind
    trunk: int
    arm: str

    def may_be(self, other: "VinePart") -> bool:
        """Tell whether two parts may be the same: what one of them does not say matches all."""
        if self.trunk and other.trunk and self.trunk != other.trunk:
            return False
        return not self.arm or not other.arm or self.arm == other.arm


def part_of(symptom: str, trunk: int, arm: str) -> VinePart:
    """Return the part that a finding sits on.

    Parameters
    ----------
    symptom : str
        Code of the symptom.
    trunk : int
        As written; 0 for none.
    arm : str
        As written; empty for none.
    """
    if symptom in _OF_AN_ARM or (symptom == "canker" and arm):
        return VinePart(PartKind.ARM, trunk, arm)
    if symptom == "canker":
        return VinePart(PartKind.UNSAID, trunk, arm)
    return VinePart(PartKind.TRUNK if symptom == "dead_trunk" else PartKind.VINE, trunk, arm)


def takes(kind: str, trunk: int, arm: str, part: VinePart) -> bool:
    """Tell whether work takes a part away.

    Parameters
    ----------
    kind : str
        Kind of work.
    trunk, arm : int, str
        Part that the work names; 0 and empty for none.
    part : VinePart
        What a finding sits on.
    """
    taken = CLEARING.get(kind)
    if taken is None or (trunk and part.trunk and trunk != part.trunk):
        return False
    if taken == "trunk":
        return True
    return part.kind in (PartKind.ARM, PartKind.UNSAID) and (not arm or not part.arm or arm == part.arm)


def wire_share(part: VinePart, training: str, trunks: int) -> float:
    """Return the share of the vine that a part is, 0 to 1.

    Parameters
    ----------
    part : VinePart
    training : str
        Of the block; it says how many arms share the wire.
    trunks : int
        Trunks of the vine.
    """
    on_an_arm = part.kind is PartKind.ARM and part.arm not in ("", "head")
    share = 1 / ARMS_ON_THE_WIRE.get(training, 2) if on_an_arm else 1.0
    return share / (trunks if part.trunk else 1)
