"""What was written, in words: findings, work and the history of a vine, for maps, lists and pages."""

from collections.abc import Sequence
from typing import NamedTuple

from trunkwatch.history.damage import Damage, EndKind
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import Plant
from trunkwatch.history.reading import BlockReading
from trunkwatch.history.vine_part import VinePart
from trunkwatch.history.written import Finding, Named, Planting, Work
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import is_iso_date
from trunkwatch.vineyard.manner import centimeters

__all__ = [
    "CLEAN_FACE", "VineLine", "damage_words", "end_words", "finding_words", "part_words", "planting_words", "seen_words", "short_symptom",
    "vine_lines", "work_words", "written_as",
]  # fmt: skip

#: What is said of a look at the face of a cut that showed no stain.
CLEAN_FACE = "clean wood at a cut"


class VineLine(NamedTuple):
    """One line of the history of a position.

    Attributes
    ----------
    date : str
    text : str
        For people: "dead arm (start), 60 %, M.K."
    casual : bool
        A finding that no look covers, and no second look either.
    """

    date: str
    text: str
    casual: bool = False


def part_words(trunk: int, arm: str) -> str:
    """Name trunk and arm as written; empty where none was."""
    parts = [f"trunk {trunk}"] if trunk else []
    if arm:
        parts.append(arm.replace("_", " "))
    return ", ".join(parts)


def short_symptom(symptom: str, part: VinePart) -> str:
    """Name a symptom in few words, with its part."""
    words = codes.SYMPTOMS[symptom].split(":")[0].split(" (")[0]
    where = part_words(part.trunk, part.arm)
    return f"{words} ({where})" if where else words


def finding_words(finding: Finding) -> str:
    """Return a finding in words: what, where on the vine, how much, suspected cause, who."""
    words = CLEAN_FACE if finding.clean_face else codes.SYMPTOMS.get(finding.symptom, finding.symptom)
    where = part_words(finding.part.trunk, finding.part.arm)
    text = f"{words} ({where})" if where else words
    if finding.dead is not None and finding.total is not None:
        text += f", {finding.dead:.0f} of {finding.total:.0f} spurs"
    for value, unit in ((finding.percent, "%"), (finding.empty_percent, "% of the wire empty")):
        if value is not None:
            text += f", {value:g} {unit}"
    if finding.stain_cm is not None and not finding.clean_face:
        text += f", {centimeters(finding.stain_cm, 'g')} stained"
    if finding.pattern:
        text += f", stain {codes.PATTERNS.get(finding.pattern, finding.pattern)}"
    if finding.cut_height_cm is not None:
        text += f", cut at {centimeters(finding.cut_height_cm, 'g')}"
    if finding.grade:
        text += f", class {finding.grade}" + (f" ({finding.scale})" if finding.scale else "")
    if finding.cause and finding.cause != "unknown":
        text += f", {codes.CAUSES.get(finding.cause, finding.cause)}"
    if finding.shoot and finding.shoot != "none":
        text += f", young shoot {codes.RENEWAL_SHOOTS.get(finding.shoot, finding.shoot)}"
    if finding.shoot_quality:
        text += f", shoot {codes.SHOOT_QUALITIES.get(finding.shoot_quality, finding.shoot_quality)}"
    if finding.photo:
        text += f", photo {finding.photo}"
    return _signed(text, finding.observer, finding.note)


def work_words(work: Work) -> str:
    """Return a piece of work in words, with its status unless it is done."""
    words = codes.WORK_KINDS.get(work.kind, work.kind)
    where = part_words(work.trunk, work.arm)
    text = f"{words} ({where})" if where else words
    if work.cut_height_cm is not None:
        text += f", cut at {centimeters(work.cut_height_cm, 'g')}"
    if work.wound_protected:
        text += f", wound {'' if work.wound_protected == 'yes' else 'not '}protected"
    if not work.done:
        text += f", {work.status}"
    if work.not_done:
        text += f", not done: {codes.NOT_DONE.get(work.not_done, work.not_done)}"
    return _signed(text, work.observer, work.note)


def planting_words(line: Planting) -> tuple[tuple[str, str], ...]:
    """Return what a line of plants says, as day (or year) and words: a planting and a removal are two events."""
    said = []
    if line.planted:
        said.append((line.planted, "vine planted"))
    if line.removed:
        said.append((line.removed, f"vine gone ({line.reason})" if line.reason else "vine gone"))
    return tuple(said) or (("", f"no vine here ({line.reason})" if line.reason else "vine"),)


def written_as(named: Named, row: str, position: str) -> str:
    """Tell how a record names its vine where that is another way than it is called; empty otherwise."""
    if (named.row, named.position) == (row, position) and named.counted_from != "end":
        return ""
    if named.bay and not named.position:
        return f"row {named.row}, bay {named.bay}, vine {named.vine}"
    return f"row {named.row}, position {named.position}{' from the far end' if named.counted_from == 'end' else ''}"


def _signed(text: str, who: str, note: str) -> str:
    return f"{text}{f', {who}' if who else ''}{f': {note}' if note else ''}"


def vine_lines(reading: BlockReading, cell: Cell, through: str = "9999") -> tuple[VineLine, ...]:
    """Return what happened to a vine, in order of date.

    Parameters
    ----------
    reading : BlockReading
    cell : (int, int)
    through : str
        Last day taken.
    """
    vine = reading.vine(cell)
    lines = [(f.date, "finding", VineLine(f.date, finding_words(f), f.casual)) for f in vine.findings]
    lines += [(f.date, "finding", VineLine(f.date, finding_words(f))) for f in vine.second_findings]
    lines += [(w.date, "work", VineLine(w.date, work_words(w))) for w in vine.work]
    lines += _plant_lines(vine.plants)
    return tuple(line for _, _, line in sorted(lines, key=lambda x: (x[0], x[1], x[2].text)) if line.date <= through)


def _plant_lines(plants: Sequence[Plant]) -> list[tuple[str, str, VineLine]]:
    lines = []
    for plant in plants:
        if is_iso_date(plant.since):
            lines.append((plant.since, "planted", VineLine(plant.since, "vine planted")))
        if is_iso_date(plant.until):
            gone = "vine gone, dead" if plant.died else "vine gone"
            lines.append((plant.until, "removed", VineLine(plant.until, gone)))
    return lines


def damage_words(damage: Damage) -> str:
    """Name a damage in few words: "dead arm (start)"."""
    return short_symptom(damage.finding.symptom, damage.finding.part)


def end_words(damage: Damage) -> str:
    """Say why a damage stands no more; empty where it does."""
    end = damage.end
    if end is None:
        return ""
    if end.kind is EndKind.CUT:
        return f"cut out on {end.day}"
    if end.kind is EndKind.GONE:
        return f"the vine was gone on {end.day}"
    if end.kind is EndKind.CONTRADICTED:
        return f"inspected closely on {end.day}: nothing seen"
    return f"not recorded again at {end.looks} inspections in a row, by {end.day}"


def seen_words(day: str) -> str:
    """Say when evidence was last seen."""
    return f"last seen {day}"
