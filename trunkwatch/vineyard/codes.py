"""The codes of the notes: what a scout can write into a cell, and what each code means.

Every code is a plain word in lower case with underscores. Its meaning stands here once and is
shown by the help, the checks, the maps and the report.
"""

from collections.abc import Mapping
from types import MappingProxyType

__all__ = [
    "ARMS",
    "CAUSES",
    "CLEARING",
    "COME_AND_GO",
    "COUNTED_FROM",
    "COUNTING",
    "HEMISPHERES",
    "LASTING",
    "LOOKS",
    "LOOK_ALIKES",
    "NOT_DONE",
    "NUMBERING",
    "PATTERNS",
    "PRUNING_CUTS",
    "REASONS",
    "RENEWAL_SHOOTS",
    "ROWS_GO",
    "SHOOT_QUALITIES",
    "SHOOT_WAITS",
    "STATUSES",
    "SYMPTOMS",
    "TRAININGS",
    "WITH_LEAVES",
    "WORK_KINDS",
    "YES_NO",
]


def _fixed(**meanings: str) -> Mapping[str, str]:
    return MappingProxyType(meanings)


LASTING = _fixed(
    dead_spurs="dead spur positions",
    dead_arm="dead arm (cordon)",
    dead_trunk="dead trunk",
    canker="canker: sunken, dead bark or wood",
)
COME_AND_GO = _fixed(
    leaf_stripe="striped leaves",
    berry_spots="spotted berries",
    stunted_shoots="stunted shoots, small cupped leaves",
    crowded_shoots="witch's broom (many shoots from one point)",
)
#: Symptoms that only a vine with leaves can show.
WITH_LEAVES: tuple[str, ...] = ("leaf_stripe", "berry_spots", "collapse")
LOOK_ALIKES = _fixed(
    crown_gall="crown gall",
    trunk_split="split trunk",
    bud_kill="bud kill",
    frost_shoots="shoots burnt by frost",
    mechanical_injury="injury by machine or tool",
    wire_girdled="girdled by a wire or tie",
    chewed_bark="bark chewed by animals",
    herbicide_injury="herbicide injury",
    water_stress="drought or wet feet",
    virus_suspected="virus suspected",
    other="other, see note",
)
SYMPTOMS: Mapping[str, str] = MappingProxyType(
    {
        **LASTING,
        **COME_AND_GO,
        "collapse": "sudden collapse of an arm or the vine",
        "dead": "dead vine, still standing",
        "wood_staining": "stained wood at a cut",
        **LOOK_ALIKES,
        "mummies": "dried clusters left on the vine",
        "old_wood_left": "old dead wood left on or under the vine",
        "none": "inspected closely, nothing seen",
        "not_seen": "could not be scouted: out of this survey",
    }
)
CAUSES = _fixed(
    trunk_disease="trunk disease suspected",
    winter_injury="winter injury suspected",
    both="both suspected",
    unknown="not known",
)
RENEWAL_SHOOTS = _fixed(
    none="none",
    trunk="from the trunk",
    above_union="from above the graft union",
    below_union="from below the graft union: rootstock on a grafted vine",
    own_root="from the vine's own roots",
)
SHOOT_QUALITIES = _fixed(
    good="good (pencil-thick, brown)",
    too_vigorous="too vigorous",
    unripe="unripe (pale)",
    thin="thin",
)
#: What is done about a shoot that is not good (common practice, no source).
SHOOT_WAITS: Mapping[str, str] = _fixed(
    too_vigorous="shorten it and wait a year",
    unripe="leave it one more year",
    thin="leave it one more year",
)
PATTERNS = _fixed(wedge="wedge", central="central", spots="spots", diffuse="diffuse")
WORK_KINDS = _fixed(
    mark="mark the vine",
    keep_shoot="leave this shoot at suckering",
    renew_arm="retrain the arm",
    renew_trunk="retrain the trunk",
    cut_old_trunk="cut out the old trunk",
    train="train the new arm or trunk",
    train_first="train a shoot first, cut the old part next winter",
    replant="replant",
    remove="remove the vine",
    regraft="regraft",
    curettage="clean out decayed wood",
    protect_wound="protect the wound",
    lab_sample="send a sample to a laboratory",
    clear_mummies="clear dried clusters and old wood",
    watch="watch",
)
#: Work that takes symptomatic wood away: an arm, or a trunk with all above it.
CLEARING: Mapping[str, str] = _fixed(renew_arm="arm", renew_trunk="trunk", cut_old_trunk="trunk", regraft="trunk")
STATUSES = _fixed(planned="planned", done="done", dropped="dropped")
PHOTO_SHOWS = _fixed(vine="the vine", cut_face="the cut face", part="a part of the vine", other="other, see caption")
#: Why planned work was not done, as the person at the vine found it; what follows from it is a record of its own.
NOT_DONE = _fixed(
    no_shoot="no shoot to retrain",
    vine_gone="the vine is gone",
    looks_sound="looks sound: no symptoms",
    other="other, see note",
)
PRUNING_CUTS = _fixed(final="final cut", first="long first cut")
LOOKS = _fixed(dormant="dormant", spring="spring", summer="summer")
HEMISPHERES = _fixed(north="north of the equator", south="south of the equator")
YES_NO = _fixed(yes="yes", no="no")
ROWS_GO = _fixed(left="left", right="right")
NUMBERING = _fixed(
    same_end="every row is numbered from the same end",
    serpentine="every other row is numbered from the other end",
)
NUMBERED_FROM = _fixed(
    start="this row is numbered from the base line",
    end="this row is numbered from the far end",
)
COUNTED_FROM = _fixed(start="from position 1", end="from the far end")
COUNTING = _fixed(positions="every position, empty ones too", living_vines="living vines only")
REASONS = _fixed(
    missing="no vine here since before the record began",
    dead="died",
    replaced="replaced by another vine",
    collapse="collapsed",
    winter_injury="killed by winter",
    mechanical_injury="broken by a machine",
    other="other, see note",
)

_SIDES = ("start", "end")
ARMS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "unilateral": _SIDES,
        "bilateral": _SIDES,
        "double_wire": tuple(f"{wire}_{side}" for wire in ("upper", "lower") for side in _SIDES),
        "divided": tuple(f"{curtain}_{side}" for curtain in ("near", "far") for side in _SIDES),
        "cane_1": ("head", *_SIDES),
        "cane_2": ("head", *_SIDES),
        "cane_4": ("head", *_SIDES, *(f"{wire}_{side}" for wire in ("upper", "lower") for side in _SIDES)),
        "head": ("head",),
        "multi_trunk": ("head", *_SIDES),
    }
)
TRAININGS: Mapping[str, str] = _fixed(
    unilateral="one arm along the wire",
    bilateral="two arms along the wire",
    double_wire="arms on an upper and a lower wire",
    divided="two curtains, near and far",
    cane_1="cane pruned, one cane",
    cane_2="cane pruned, two canes",
    cane_4="cane pruned, four canes",
    head="head trained",
    multi_trunk="several trunks",
)
