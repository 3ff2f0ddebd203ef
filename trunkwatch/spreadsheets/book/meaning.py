"""What a word of a workbook means, as a value and as the text of the mapping file.

``sound``, ``no vine``, ``not looked at``, ``replanted``, ``replanted 2023``, ``work renew_trunk``, or symptoms by their
codes: ``dead_arm``, ``dead_arm start``, ``dead_arm side N``, ``dead_trunk trunk 2``, ``dead_arm 60%``; several are joined
by `` + ``. ``ask`` is no meaning: the word waits for one.
"""

import re
from dataclasses import dataclass
from typing import Literal

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.codes import ARMS, SYMPTOMS, WORK_KINDS

__all__ = ["ASK", "Finding", "Kind", "Meaning", "meaning_text", "read_meaning"]

ASK = "ask"
Kind = Literal["sound", "no vine", "not scouted", "replanted", "work", "symptom"]
_ARMS = frozenset(arm for arms in ARMS.values() for arm in arms)
_YEAR = re.compile(r"(?:1[89]|20|21)\d{2}")


@dataclass(frozen=True, slots=True)
class Finding:
    """A symptom, and the part of the vine that it sits on."""

    symptom: str
    arm: str = ""
    side: str = ""  # as the grower says it: N, left ...; the mapping file says which arm that is
    trunk: str = ""
    percent: str = ""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a word says of a vine.

    Attributes
    ----------
    kind : Kind
        What sort of thing it says.
    findings : tuple of Finding
        Of a symptom.
    year : str
        Year of planting, where the word names one.
    work : str
        Kind of work.
    """

    kind: Kind
    findings: tuple[Finding, ...] = ()
    year: str = ""
    work: str = ""

    @property
    def looked_at(self) -> bool:
        """Whether somebody looked at a vine that stands there."""
        return self.kind in ("sound", "symptom", "replanted")


def meaning_text(meaning: Meaning) -> str:
    """Return a meaning as the mapping file writes it."""
    if meaning.kind == "replanted":
        return f"replanted {meaning.year}".strip()
    if meaning.kind == "work":
        return f"work {meaning.work}"
    if meaning.kind == "symptom":
        return " + ".join(_finding_text(finding) for finding in meaning.findings)
    return meaning.kind


def _finding_text(finding: Finding) -> str:
    parts = [finding.symptom, finding.arm]
    parts += [f"side {finding.side}"] if finding.side else []
    parts += [f"trunk {finding.trunk}"] if finding.trunk else []
    parts += [f"{finding.percent}%"] if finding.percent else []
    return " ".join(part for part in parts if part)


def read_meaning(text: str, word: str) -> Meaning:
    """Read a meaning as the mapping file writes it.

    Parameters
    ----------
    text : str
        As written.
    word : str
        The word that it is given to, for the message.

    Raises
    ------
    RecordError
        If it is none.
    """
    tidied = " ".join(text.split())
    plain = tidied.casefold().replace("_", " ")
    if plain == "sound":
        return Meaning("sound")
    if plain == "no vine":
        return Meaning("no vine")
    if plain == "not scouted":
        return Meaning("not scouted")
    first, _, rest = tidied.partition(" ")
    if first.casefold() == "replanted" and (not rest or _YEAR.fullmatch(rest)):
        return Meaning("replanted", year=rest)
    if first.casefold() == "work" and rest.casefold().replace(" ", "_") in WORK_KINDS:
        return Meaning("work", work=rest.casefold().replace(" ", "_"))
    return Meaning("symptom", tuple(_read_finding(part.strip(), word) for part in tidied.split("+")))


def _read_finding(text: str, word: str) -> Finding:
    parts = text.split()
    symptom = parts[0].casefold() if parts else ""
    if symptom not in SYMPTOMS:
        _refuse(text, word)
    arm = side = trunk = percent = ""
    rest = iter(parts[1:])
    for part in rest:
        if part.casefold() in _ARMS:
            arm = part.casefold()
        elif part.casefold() == "side":
            side = next(rest, "")
        elif part.casefold() == "trunk":
            trunk = next(rest, "")
            if not trunk.isdecimal() or not 1 <= int(trunk) <= 12:
                _refuse(text, word)
        elif re.fullmatch(r"\d{1,3}%", part) and int(part[:-1]) <= 100:
            percent = part[:-1]
        else:
            _refuse(text, word)
    return Finding(symptom, arm, side, trunk, percent)


def _refuse(text: str, word: str) -> None:
    raise RecordError(
        f"the mapping gives the word {word!r} the meaning {text!r}, which is none: write sound, no vine, not scouted, replanted, "
        f"replanted 2023, work and a kind of work ({', '.join(WORK_KINDS)}), or a symptom ({', '.join(SYMPTOMS)}), with its part "
        "behind it: dead_arm start, dead_arm side N, dead_trunk trunk 2, dead_arm 60%; several with + between"
    )
