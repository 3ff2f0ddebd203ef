"""What people write where a code is meant, and the code to propose. It is proposed, never taken."""

__all__ = ["proposed_arm", "proposed_symptom"]

#: Pieces of words, in this order, and what to propose where one stands in a cell of symptoms.
#: The words of vineyards, from memory; a code is what was seen, never what may have caused it.
_SEEN = (
    ("tiger", "leaf_stripe"), ("stripe", "leaf_stripe"), ("esca", "leaf_stripe if leaves were striped, collapse if it wilted at once"),
    ("measles", "berry_spots"), ("spotted", "berry_spots"),
    ("eutypa", "stunted_shoots if shoots were stunted and leaves cupped, dead_arm if an arm was dead"), ("stunt", "stunted_shoots"),
    ("cupped", "stunted_shoots"), ("apople", "collapse"), ("wilt", "collapse"), ("gall", "crown_gall"),
    ("dead cordon", "dead_arm"), ("cordon dead", "dead_arm"), ("dead cane", "dead_arm"), ("dead spur", "dead_spurs"), ("spur", "dead_spurs"),
    ("dead vine", "dead"), ("dead head", "dead_arm, dead_trunk or dead"), ("virus", "virus_suspected"), ("split", "trunk_split"),
    ("frost", "frost_shoots"), ("mummy", "mummies"), ("stain", "wood_staining"),
    ("missing", "no symptom: a line in the plants table with reason missing"), ("healthy", "none"), ("no symptom", "none"), ("ok", "none"),
)  # fmt: skip
_SIDES = {"l", "r", "left", "right", "n", "s", "e", "w", "north", "south", "east", "west"}


def proposed_symptom(text: str) -> str:
    """Return the code that people's own word for a symptom may mean, "" if none is known."""
    plain = text.casefold().replace("_", " ").strip()
    return next((code for piece, code in _SEEN if (piece == plain if len(piece) < 3 else piece in plain)), "")


def proposed_arm(text: str) -> str:
    """Return how to write an arm that was named by a side, "" if it was not."""
    if text.casefold().strip(" .") not in _SIDES:
        return ""
    return "start (the arm towards position 1) or end: a side depends on where one stands"
