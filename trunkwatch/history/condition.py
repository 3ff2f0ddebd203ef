"""The condition of a plant in a season, as one ordered rule names it."""

from enum import IntEnum

__all__ = ["MATURE_LIVING", "Condition"]


class Condition(IntEnum):
    """What a position holds in a season; the first that applies, in this order.

    ``NO_POSITION`` marks cells of the grid beyond the end of a row.
    """

    NO_POSITION = 0
    MISSING = 1
    DEAD = 2
    NOT_SEEN = 3
    YOUNG = 4
    SHOWING = 5
    RENEWED = 6
    HIDDEN = 7
    SOUND = 8

    @property
    def word(self) -> str:
        """The word on screens and in tables."""
        return self.name.lower().replace("_", " ")

    @property
    def meaning(self) -> str:
        """One line for legends and help."""
        return _MEANINGS[self]


_MEANINGS = {
    Condition.NO_POSITION: "no position here",
    Condition.MISSING: "no vine in this position",
    Condition.DEAD: "dead vine",
    Condition.NOT_SEEN: "not scouted this season",
    Condition.YOUNG: "planted after the block, under 3 years",
    Condition.SHOWING: "a case this season",
    Condition.RENEWED: "retrained, nothing seen since",
    Condition.HIDDEN: "a case in an earlier season, nothing seen in this one",
    Condition.SOUND: "scouted, nothing seen so far",
}

#: The conditions that rates are taken over.
MATURE_LIVING = (Condition.SHOWING, Condition.RENEWED, Condition.HIDDEN, Condition.SOUND)
