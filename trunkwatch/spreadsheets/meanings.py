"""What the words of a status column mean.

Every word has one meaning, by a rule that was given or because it is beyond doubt. A word without
a meaning stops the sheet: what nobody gave a meaning is never taken for a vine that was looked at
and found sound.
"""

import re
import shlex
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.cells import is_formula_error
from trunkwatch.spreadsheets.located import ListedPlant, number_of, status_of, word_key

if TYPE_CHECKING:
    from trunkwatch.spreadsheets.mapping import ColumnMap

__all__ = [
    "MEANINGS", "OPTIONS", "Meaning", "Rule", "StatusWord", "listed_meanings", "read_rule", "refuse_unknown", "status_words",
]  # fmt: skip

Meaning = Literal["case", "sound", "missing", "unseen", "replanted"]
#: Each meaning as the account tells it.
MEANINGS: Mapping[Meaning, str] = {
    "case": "a case", "sound": "scouted and sound", "missing": "no vine there", "unseen": "not scouted",
    "replanted": "replanted, a young vine",
}  # fmt: skip
#: The option that gives a word each meaning.
OPTIONS: Mapping[Meaning, str] = {
    "case": "--case-when", "sound": "--sound-when", "missing": "--missing-when", "unseen": "--unseen-when",
    "replanted": "--replanted-when",
}  # fmt: skip

_RULE = re.compile(r"(>=|<=|>|<|!=|=)?\s*(.+)")
#: Words that say by themselves that a vine was looked at and is sound.
_SOUND = frozenset({"healthy", "ok", "sound"})
_YES, _NO = frozenset({"y", "yes", "true"}), frozenset({"n", "no", "false"})
#: What words without a meaning may be proposed as; only a proposal, never taken by itself.
_PROPOSED: Mapping[str, Meaning] = {
    **dict.fromkeys(("gone", "missing", "absent", "no vine", "no plant", "empty", "removed", "pulled"), "missing"),
    **dict.fromkeys(("?", "-", "n/a", "na", "not looked", "not scouted", "not seen", "unseen", "skipped", "unknown"), "unseen"),
    **dict.fromkeys(("replanted", "replant", "new", "new vine", "young"), "replanted"),
}  # fmt: skip
#: So many different numbers of one meaning are listed singly; words always are.
_NUMBERS_LISTED = 40
#: So many words without a meaning are listed in one message.
_WORDS_LISTED = 200


@dataclass(frozen=True, slots=True)
class Rule:
    """Which words a rule like ``>0``, ``Y`` or ``!=healthy`` claims."""

    text: str
    sign: str
    wanted: str

    @property
    def compares_numbers(self) -> bool:
        """Whether it parts numbers into two kinds, so that a number it does not claim is of the other."""
        return self.sign in (">", ">=", "<", "<=") or (self.sign == "!=" and number_of(self.wanted) is not None)

    def claims(self, status: str) -> bool:
        """Tell whether the rule claims a word; the error of a formula only if it names it."""
        if self.sign in ("=", "!="):
            same = word_key(status) == word_key(self.wanted)
            return same if self.sign == "=" else not same and not is_formula_error(status)
        value, limit = number_of(status), number_of(self.wanted)
        if value is None or limit is None:
            return False
        return {">": value > limit, ">=": value >= limit, "<": value < limit, "<=": value <= limit}[self.sign]


@dataclass(frozen=True, slots=True)
class StatusWord:
    """A distinct word of the status column.

    Attributes
    ----------
    word, key : str
        As it is written most often, and the form in which equal words are equal.
    count, line : int
        Lines that have it, and the first of them.
    meaning : Meaning or None
        What it means; None where nothing says it.
    understood : bool
        Whether the meaning was given by no rule.
    """

    word: str
    key: str
    count: int
    line: int
    meaning: Meaning | None
    understood: bool = False


def read_rule(text: str) -> Rule:
    """Read a rule: a value, or one of > >= < <= != before a value.

    Raises
    ------
    RecordError
        If it cannot be read.
    """
    parts = _RULE.fullmatch(status_of(text))
    if not parts:
        raise RecordError(f"{text!r} is no rule: a value, or one of > >= < <= != before a value")
    sign, wanted = parts[1] or "=", parts[2].strip()
    if sign not in ("=", "!=") and number_of(wanted) is None:
        raise RecordError(f"{text!r} compares with {wanted!r}, which is no number")
    return Rule(text.strip(), sign, wanted)


def status_words(plants: Iterable[ListedPlant], told: "ColumnMap", file: str) -> list[StatusWord]:
    """List every distinct word of the status column, the commonest first, with its count and what it means.

    Parameters
    ----------
    plants : iterable of ListedPlant
        Lines that name a vine; an empty status is no word (the vine was not looked at).
    told : ColumnMap
        What each column is.
    file : str
        Name for messages.

    Raises
    ------
    RecordError
        If a rule cannot be read, or two rules claim one word.
    """
    spelt: dict[str, Counter[str]] = {}
    first: dict[str, int] = {}
    for plant in plants:
        if plant.status:
            key = word_key(plant.status)
            spelt.setdefault(key, Counter())[plant.status] += 1
            first.setdefault(key, plant.line)
    words = {key: counts.most_common(1)[0][0] for key, counts in spelt.items()}
    reader = _Meanings(told, words, file)
    return [
        StatusWord(words[key], key, sum(counts.values()), first[key], *reader.meaning(key))
        for key, counts in sorted(spelt.items(), key=lambda pair: -sum(pair[1].values()))
    ]


class _Meanings:
    """Gives each word of one column its meaning."""

    def __init__(self, told: "ColumnMap", words: Mapping[str, str], file: str) -> None:
        self.told, self.words = told, words
        self.rules: dict[Meaning, list[Rule]] = {
            meaning: [read_rule(text) for text in texts] for meaning, texts in told.rules().items()
        }
        claimed = {key: self._claims(word) for key, word in words.items() if key not in told.meanings}
        twice = {key: rules for key, rules in claimed.items() if len(rules) > 1}
        if twice:
            raise RecordError(_claimed_twice(twice, words, told.status, file))
        self.given: dict[str, Meaning] = {key: next(iter(rules)) for key, rules in claimed.items() if rules}
        self.given |= {key: meaning for key, meaning in told.meanings.items() if key in words}
        # Also where no line says so: a column of zeros has no case.
        self.sick = frozenset(word_key(rule.wanted) for rule in self.rules["case"] if rule.sign == "=") | frozenset(
            key for key, meaning in self.given.items() if meaning == "case"
        )

    def _claims(self, word: str) -> dict[Meaning, Rule]:
        return {meaning: rule for meaning, rules in self.rules.items() for rule in reversed(rules) if rule.claims(word)}

    def meaning(self, key: str) -> tuple[Meaning | None, bool]:
        """Return the meaning of a word, and whether it was understood without a rule."""
        if key in self.given:
            return self.given[key], False
        return ("sound", True) if self._is_sound(key) else (None, False)

    def _is_sound(self, key: str) -> bool:
        """Tell whether it is beyond doubt that the word says sound: the other half of a pair, or not above a limit."""
        if key in _SOUND:
            return True
        number = number_of(self.words[key])
        if number is not None and number >= 0 and not self._names_sound_numbers():
            if any(rule.compares_numbers for rule in self.rules["case"]):
                return True
            return number == 0 and "1" in self.sick
        if self.rules["sound"]:
            return False
        return bool((key in _NO and self.sick & _YES) or (key in _YES and self.sick & _NO))

    def _names_sound_numbers(self) -> bool:
        """Tell whether somebody said which numbers are sound: then no other number is by itself."""
        by_rule = any(number_of(rule.wanted) is not None for rule in self.rules["sound"])
        return by_rule or any(
            self.given[key] == "sound" and number_of(self.words[key]) is not None for key in self.given
        )


def _claimed_twice(
    twice: Mapping[str, Mapping[Meaning, Rule]], words: Mapping[str, str], column: str, file: str
) -> str:
    parts = [
        f"{words[key]!r} by "
        + " and ".join(f"{OPTIONS[meaning]} {shlex.quote(rule.text)}" for meaning, rule in rules.items())
        for key, rules in twice.items()
    ]
    return (
        f"{file}: two rules claim the same word of column {column}: {'; '.join(parts)}; expected: one meaning a word "
        "(name the words of a meaning singly where a rule like >0 or != takes in too many; each option may be repeated)"
    )


def refuse_unknown(words: Sequence[StatusWord], column: str, file: str) -> None:
    """Refuse a column with words that have no meaning.

    Raises
    ------
    RecordError
        With every such word, its count, a line, and the options that give a meaning.
    """
    unknown = [word for word in words if word.meaning is None]
    if not unknown:
        return
    lines = [
        f"  {word.word[:60]!r} ({word.count:,} line{'s' if word.count > 1 else ''}, first in line {word.line}){_proposal(word)}"
        for word in unknown[:_WORDS_LISTED]
    ]
    if len(unknown) > _WORDS_LISTED:
        lines.append(f"  and {len(unknown) - _WORDS_LISTED:,} more")
    example = _option(unknown[0], _PROPOSED.get(unknown[0].key, "unseen"))
    raise RecordError(
        f"{file}: nothing says what {len(unknown):,} word{'s' if len(unknown) > 1 else ''} of column {column} "
        f"mean{'' if len(unknown) > 1 else 's'}, and no vine is healthy because of a word that nobody explained:\n"
        + "\n".join(lines)
        + "\nGive each a meaning with --case-when (a case), --sound-when (scouted and sound), --missing-when (no vine "
        "stands there), --unseen-when (not scouted) or --replanted-when (a young vine); each may be repeated, "
        f"for example {example}. Nothing was imported."
    )


def _proposal(word: StatusWord) -> str:
    if is_formula_error(word.word):
        return f": a formula that went wrong; fix it, or {_option(word, 'unseen')}"
    meaning = _PROPOSED.get(word.key)
    return f": {_option(word, meaning)} perhaps" if meaning else ""


def _option(word: StatusWord, meaning: Meaning) -> str:
    value = f"={word.word}" if word.word[0] in "<>!=" else word.word
    return f"{OPTIONS[meaning]} {shlex.quote(value)}"


def listed_meanings(words: Iterable[StatusWord], column: str) -> list[str]:
    """Tell in the account how each word was read, how often it stands, and which needed no rule."""
    lines = []
    for meaning, told in MEANINGS.items():
        for understood in (False, True):
            own = [word for word in words if word.meaning == meaning and word.understood == understood]
            if own:
                by_itself = ", understood without a rule" if understood else ""
                lines.append(f"{column} read as {told}{by_itself}: {_listed(own)}")
    return lines


def _listed(words: Sequence[StatusWord]) -> str:
    numbers = [(value, word) for word in words if (value := number_of(word.word)) is not None]
    numbers.sort(key=lambda pair: pair[0])
    if len(numbers) <= _NUMBERS_LISTED:
        return ", ".join(f"{word.word} ({word.count:,})" for word in words)
    texts = [f"{word.word} ({word.count:,})" for word in words if number_of(word.word) is None]
    total = sum(word.count for _, word in numbers)
    span = f"{len(numbers):,} different numbers from {numbers[0][1].word} to {numbers[-1][1].word} ({total:,})"
    return ", ".join([*texts, span])
