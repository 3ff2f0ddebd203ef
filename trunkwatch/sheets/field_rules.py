"""What the phone's page offers by rule: marks of the strip, symptoms beside a list, reasons for work not done, heights of a cut.

What all pages share (limits, calendar, cuts) is `maps.rules.page_rules`; here is what only the phone asks for.
"""

from collections.abc import Mapping
from typing import Any

from trunkwatch.history.condition import Condition
from trunkwatch.maps.map_data import look_data
from trunkwatch.maps.rules import page_rules
from trunkwatch.maps.symbols import PAPER, SYMBOLS
from trunkwatch.vineyard import codes

__all__ = ["ALREADY_CUT", "FIRST_SYMPTOMS", "NEEDS_ARM", "WINTER_LISTS", "field_rules"]

#: Symptoms with a button of their own; the others stand behind "More".
FIRST_SYMPTOMS: Mapping[str, tuple[str, ...]] = {
    "summer": ("leaf_stripe", "dead_arm", "collapse", "dead", "berry_spots"),
    "dormant": ("dead_arm", "dead_spurs", "canker", "dead", "wood_staining"),
    "spring": ("dead_arm", "stunted_shoots", "dead_spurs", "dead", "crowded_shoots"),
}
#: Symptoms of which it is asked at once which arm has them.
NEEDS_ARM: tuple[str, ...] = ("dead_arm", "dead_spurs", "canker", "stunted_shoots")
#: Lists of the crew that are worked through in winter; the others wait for spring and summer.
WINTER_LISTS: tuple[str, ...] = ("Cut", "Replant", "Look again", "Finish training", "Clean up")
#: That the work was done before: no reason of the work table, it makes the work done.
ALREADY_CUT = "already_cut"

#: What is offered on a vine of the winter's list, and at a blind recheck, in this order; then the first symptoms, and before them.
_BESIDE_LIST = ("dead_arm", "dead_spurs", "dead_trunk", "canker", "dead", "none")
_AT_RECHECK = ("leaf_stripe", "dead_arm", "dead_spurs", "canker", "collapse", "dead")
_KEYS_BESIDE_LIST, _KEYS_AT_RECHECK = 9, 8
#: What the strip of a row shows, and by the mark of which condition.
_STRIP = {"missing": Condition.MISSING, "young": Condition.YOUNG, "finding": Condition.SHOWING}
#: Keys for the height of a cut in cm, of an arm and of all else.
_ARM_HEIGHTS, _OTHER_HEIGHTS = tuple(range(60, 131, 10)), tuple(range(10, 81, 10))


def field_rules(look: str) -> dict[str, Any]:
    """Return the rules for the scripts of the phone's page.

    Parameters
    ----------
    look : {"dormant", "spring", "summer"}
        Which symptoms come first.

    Returns
    -------
    dict
        `rules`: those of all pages (`page_rules`); `looks`: marks of the conditions, by number as the map has them, and
        `paper`; `marks`: which of them the strip of a row shows for what; `first_symptoms`, `needs_arm`; `beside_list`,
        `at_recheck`: symptoms with a key there; `winter_lists`; `reasons`: for not doing a kind of work; `heights`: keys
        for the height of a cut, by kind of work.
    """
    first = FIRST_SYMPTOMS[look]
    return {
        "rules": page_rules(),
        "looks": {str(int(one)): look_data(one, SYMBOLS[one]) for one in SYMBOLS},
        "marks": {name: str(int(one)) for name, one in _STRIP.items()},
        "paper": PAPER,
        "first_symptoms": list(first),
        "needs_arm": list(NEEDS_ARM),
        "beside_list": list(dict.fromkeys((*_BESIDE_LIST, *first)))[:_KEYS_BESIDE_LIST],
        "at_recheck": list(dict.fromkeys((*first, *_AT_RECHECK)))[:_KEYS_AT_RECHECK],
        "winter_lists": list(WINTER_LISTS),
        "reasons": {kind: list(_reasons(kind)) for kind in codes.WORK_KINDS},
        "heights": {kind: list(_ARM_HEIGHTS if kind == "renew_arm" else _OTHER_HEIGHTS) for kind in codes.CLEARING},
    }


def _reasons(kind: str) -> tuple[str, ...]:
    """Return which reasons make sense of which work."""
    if kind in codes.CLEARING:
        return ("no_shoot", ALREADY_CUT, "vine_gone", "looks_sound", "other")
    if kind in ("train", "train_first", "keep_shoot"):
        return ("no_shoot", "vine_gone", "other")
    if kind == "replant":
        return ("looks_sound", "other")
    return ("vine_gone", "looks_sound", "other")
