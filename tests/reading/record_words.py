"""The words in which pages print a record, for the second reader: what a code is called comes from the package, no more."""

from collections.abc import Iterable

from reading.laid import Record, Vine, number, text, whole
from reading.placed import is_clean_face

from trunkwatch.vineyard import codes


def _where(trunk: int, arm: str) -> str:
    parts = [f"trunk {trunk}"] if trunk else []
    return ", ".join([*parts, arm.replace("_", " ")] if arm else parts)


def with_part(words: str, trunk: int, arm: str) -> str:
    """Put the part of the vine behind what was found on it or is done to it."""
    where = _where(trunk, arm)
    return f"{words} ({where})" if where else words


def _signed(parts: Iterable[str], record: Record) -> str:
    written = [*parts, *([text(record, "observer")] if text(record, "observer") else [])]
    return ", ".join(written) + (f": {text(record, 'note')}" if text(record, "note") else "")


def finding_text(record: Record) -> str:
    """Say what a finding says: what, where, how much, of what cause, with which shoot, by whom."""
    clean = is_clean_face(record)
    words = "clean wood at a cut" if clean else codes.SYMPTOMS[text(record, "symptom")]
    parts = [with_part(words, whole(record, "trunk") or 0, text(record, "arm"))]
    dead, total = number(record, "dead"), number(record, "total")
    if dead is not None and total is not None:
        parts.append(f"{dead:g} of {total:g} spurs")
    for column, unit in (("percent", "%"), ("empty_percent", "% of the wire empty"), ("stain_cm", "cm stained")):
        written = number(record, column)
        if written is not None and not (clean and column == "stain_cm"):
            parts.append(f"{written:g} {unit}")
    if text(record, "pattern"):
        parts.append(f"stain {codes.PATTERNS[text(record, 'pattern')]}")
    if number(record, "cut_height_cm") is not None:
        parts.append(f"cut at {number(record, 'cut_height_cm'):g} cm")
    if text(record, "cause") not in ("", "unknown"):
        parts.append(codes.CAUSES[text(record, "cause")])
    if text(record, "renewal_shoot") not in ("", "none"):
        parts.append(f"young shoot {codes.RENEWAL_SHOOTS[text(record, 'renewal_shoot')]}")
    if text(record, "shoot_quality"):
        parts.append(f"shoot {codes.SHOOT_QUALITIES[text(record, 'shoot_quality')]}")
    if text(record, "photo"):
        parts.append(f"photo {text(record, 'photo')}")
    return _signed(parts, record)


def work_text(record: Record) -> str:
    """Say what a piece of work is, where, and its status unless it is done."""
    parts = [with_part(codes.WORK_KINDS[text(record, "kind")], whole(record, "trunk") or 0, text(record, "arm"))]
    height = number(record, "cut_height_cm")
    if height is not None:
        parts.append(f"cut at {height:g} cm")
    if text(record, "wound_protected"):
        parts.append({"yes": "wound protected", "no": "wound not protected"}[text(record, "wound_protected")])
    if text(record, "status") not in ("", "done"):
        parts.append(text(record, "status"))
    if text(record, "not_done"):
        parts.append(f"not done: {codes.NOT_DONE[text(record, 'not_done')]}")
    return _signed(parts, record)


def plants_texts(record: Record) -> list[tuple[str, str]]:
    """Say what a line of plants says, as day or year and words."""
    planted, removed, reason = (text(record, column) for column in ("planted", "removed", "reason"))
    lines = [(planted, "vine planted")] if planted else []
    if removed:
        lines.append((removed, f"vine gone ({reason})" if reason else "vine gone"))
    return lines or [("", f"no vine here ({reason})" if reason else "vine")]


def named_as(record: Record, vine: Vine, by_counting: bool) -> str:
    """Say how a record names its vine where that is another way than it is called."""
    row, position, end = text(record, "row"), text(record, "position"), text(record, "counted_from") == "end"
    if (row, position) == (vine[0], str(vine[1])) and not (by_counting and end):
        return ""
    if not position:
        return f", written as row {row}, bay {text(record, 'bay')}, vine {whole(record, 'vine')}"
    return f", written as row {row}, position {position}{' from the far end' if by_counting and end else ''}"
