"""What a word of a workbook may mean, guessed from the trade's words; certain or a proposal, never taken by itself."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from trunkwatch.spreadsheets.book.meaning import Finding, Kind, Meaning, meaning_text, read_meaning
from trunkwatch.spreadsheets.book.trade_words import (
    CERTAIN,
    FILLERS,
    MARKS,
    NEGATIONS,
    NO_MARKS,
    PROPOSED,
    SIDES,
    words_in,
)
from trunkwatch.vineyard.codes import SYMPTOMS

__all__ = ["Guess", "guess_word", "names_something", "plain"]

_SYMBOLS = re.compile(r"[-–—.?]+")
_YEAR = re.compile(r"\b((?:19|20)\d{2})\b")
_SHORT_YEAR = re.compile(r"'(\d{2})\b")
_FRACTION = re.compile(r"\d*[.,]\d+\s*%?")
_PERCENT = re.compile(r"(?<!\d)(\d{1,3})\s*%")
_TRUNK = re.compile(r"\b(?:trunk|tronco|tronc|stamm)\s*(?:no|nr|#)?\s*(\d{1,2})\b")
_BETWEEN = re.compile(r"\s*(?:\+|,|;|/|&|\band\b|\by\b|\bet\b|\bund\b)\s*")
#: Signs between two things that were both seen; behind a comma a remark may stand.
_JOINED = re.compile(r"[+;/&]")
#: DA, DA N: not among the other words, for in Portuguese and Italian it says "of the".
_HALF = words_in("half halb halber halbe medio media meio meia mezzo mezza moitie demi")
_SHORT_ARM = re.compile(r"d\.?\s?a\.?(?:\s+(\w+)\.?)?")
_ARM = words_in("arm cordon brazo brazos bras braccio cordone kordon schenkel braco cordao")
_TRUNKS = words_in("trunk tronco tronc stamm")
_LONGEST = max(len(word.split()) for word in (*CERTAIN, *PROPOSED))


@dataclass(frozen=True, slots=True)
class Guess:
    """A meaning that a word may have ("" where none is known), whether it is beyond doubt, and why it is proposed."""

    text: str
    certain: bool = False
    why: str = ""


@lru_cache(maxsize=20_000)
def plain(text: str) -> str:
    """Return text without accents, capitals and needless marks, as the word lists have it."""
    bare = unicodedata.normalize("NFKD", text.replace("ß", "ss")).casefold()
    bare = "".join(sign for sign in bare if not unicodedata.combining(sign))
    return " ".join(bare.replace("_", " ").split()) if bare not in SYMPTOMS else bare


@lru_cache(maxsize=4_096)
def names_something(heading: str) -> str:
    """Return the meaning that a heading names ("" if none): a symptom, no vine, replanted."""
    bare = re.sub(r"[()\[\]:]", " ", plain(heading))
    bare = " ".join(_YEAR.sub(" ", bare).split())
    if bare in ("healthy", "sound", "ok", "no", "na"):
        return ""
    guess = _of_phrase(bare)
    return guess.text if guess.text and _kind(guess.text) not in ("sound", "not scouted") else ""


def guess_word(word: str, context: str = "", legend: Mapping[str, str] | None = None) -> Guess:
    """Return what a word may mean.

    Parameters
    ----------
    word : str
        As written in the cell.
    context : str
        What stands above it, where the heading names a symptom or a part of the vine; "" elsewhere.
    legend : mapping, optional
        What the workbook itself says that its short words stand for, by the word without accents and capitals.
    """
    bare = plain(word)
    named = names_something(context) if context else ""
    if legend and bare in legend:
        explained = _of_phrase(plain(legend[bare]))
        if explained.text:
            return Guess(explained.text, False, f"the workbook says: {word} is {legend[bare]}")
    if named and bare in MARKS:
        return Guess(named, False, f"a mark under {context!r}")
    if bare in NO_MARKS and named:
        own = "sound" if _kind(named) == "symptom" else "not scouted"
        return Guess(own, False, f"{word!r} under {context!r}")
    if _FRACTION.fullmatch(bare):
        return Guess("", False, "a fraction: a share of the vine, a percent or a slip")
    guess = _of_phrase(bare)
    if not guess.text and context:
        joined = _of_phrase(f"{plain(context)} {bare}")
        return (
            replace(joined, certain=False, why=joined.why or f"with its heading {context!r}") if joined.text else guess
        )
    return _with_part(guess, context) if context else guess


def _with_part(guess: Guess, context: str) -> Guess:
    """Give a symptom the part that its heading names: dead under "arm N" is a dead arm, on side N."""
    parts = plain(context).split()
    arm, trunk = bool(_ARM & set(parts)), bool(_TRUNKS & set(parts))
    sides = [SIDES[part] for part in parts if part in SIDES]
    if guess.text == "dead" and (arm or trunk or sides):
        guess = replace(guess, text="dead_trunk" if trunk else "dead_arm", certain=False, why=f"under {context!r}")
    findings = read_meaning(guess.text, "").findings if _kind(guess.text) == "symptom" else ()
    if len(sides) == 1 and not trunk and [(one.symptom, one.side) for one in findings] == [("dead_arm", "")]:
        sided = Meaning("symptom", (replace(findings[0], side=sides[0]),))
        guess = replace(guess, text=meaning_text(sided), certain=False, why=f"under {context!r}")
    number = re.search(r"\b(\d{1,2})\b", plain(context)) if trunk else None
    if guess.text == "dead_trunk" and number and 1 <= int(number[1]) <= 12:
        guess = replace(guess, text=f"dead_trunk trunk {int(number[1])}")
    return guess


@lru_cache(maxsize=20_000)
def _of_phrase(bare: str) -> Guess:
    """Guess a phrase as a whole, else each of its pieces between commas, plus signs and the word and."""
    whole = _one(bare)
    if whole.text and whole.certain:
        return whole
    pieces = [piece for piece in _BETWEEN.split(bare) if piece]
    if len(pieces) < 2:
        return whole
    guesses = [_one(piece) for piece in pieces]
    if not all(guess.text for guess in guesses):
        if any(guess.text for guess in guesses) and _JOINED.search(bare):
            unknown = next(piece for piece, guess in zip(pieces, guesses, strict=True) if not guess.text)
            return Guess("", False, f"{unknown!r} in it is not known")
        return Guess("") if any(guess.text for guess in guesses) and not whole.text else whole
    kinds = {_kind(guess.text) for guess in guesses}
    certain = all(guess.certain for guess in guesses)
    if kinds == {"symptom"}:
        return Guess(" + ".join(dict.fromkeys(guess.text for guess in guesses)), certain)
    return guesses[0] if len({guess.text for guess in guesses}) == 1 else Guess("")


def _kind(text: str) -> Kind:
    return read_meaning(text, text).kind


def _one(bare: str) -> Guess:
    """Guess one phrase: a known piece of it, its year, side, trunk and share; the rest must add nothing."""
    if bare in CERTAIN:
        return Guess(CERTAIN[bare], True)
    if bare in PROPOSED:
        return Guess(PROPOSED[bare], False, "it may mean something else")
    if _SYMBOLS.fullmatch(bare):
        return Guess("not scouted", False, "a mark without a word")
    if bare in SYMPTOMS:
        return Guess(bare, True)
    if (short := _SHORT_ARM.fullmatch(bare)) and (not short[1] or short[1] in SIDES):
        side = f" side {SIDES[short[1]]}" if short[1] else ""
        return Guess(f"dead_arm{side}", False, "a short word: dead arm, if it means that")
    doubt = "?" in bare
    text, year, trunk, percent = _taken_out(re.sub(r"[?!]", " ", bare))
    tokens = re.findall(r"[^\s()\[\]:.,;]+", text.replace("-", " "))
    found = _longest(tokens)
    if found is None:
        return Guess("")
    meaning, certain, at, length = found
    rest = [token for number, token in enumerate(tokens) if not at <= number < at + length]
    if any(token in NEGATIONS for token in rest):
        return Guess("")
    if meaning == "dead" and _HALF & set(rest):
        return Guess("dead_arm 50%", False, "half of a vine that is dead: an arm, if it means that")
    if meaning == "dead" and (_ARM | _TRUNKS) & set(rest):
        meaning = "dead_arm" if _ARM & set(rest) else "dead_trunk"
        rest = [token for token in rest if token not in _ARM | _TRUNKS]
    sides = [SIDES[token] for token in rest if token in SIDES and meaning == "dead_arm"]
    rest = [token for token in rest if token not in FILLERS and not (token in SIDES and meaning == "dead_arm")]
    certain = certain and not rest and not doubt and len(sides) < 2
    why = "" if certain else f"{' '.join(rest)!r} beside it" if rest else "it may mean something else"
    if _longest(rest) is not None:
        return Guess("")
    guess = _built(meaning, year, sides, trunk, percent, certain=certain, why="the question mark" if doubt else why)
    return replace(guess, why="") if guess.certain else guess


def _built(meaning: str, year: str, sides: list[str], trunk: str, percent: str, *, certain: bool, why: str) -> Guess:
    if meaning == "replanted":
        return Guess(f"replanted {year}".strip(), certain, why)
    if _kind(meaning) != "symptom":
        return Guess(meaning, certain and not percent and not year, why or "a year or share beside it")
    arm_side = sides[0] if len(sides) == 1 else ""
    own_trunk = trunk if trunk and 1 <= int(trunk) <= 12 and meaning == "dead_trunk" else ""
    share = percent if percent and int(percent) <= 100 else ""
    if share and int(share) == 0:
        return Guess("sound", False, "a share of 0 %: nothing was seen, if it means that")
    if meaning == "dead" and share:
        # A vine that is dead in part is no dead vine.
        meaning, certain = "dead_arm", False
        why = f"{share} % of a vine that is dead: a share of its wood, if it means that"
    finding = Finding(meaning, side=arm_side, trunk=own_trunk, percent=share)
    return Guess(meaning_text(Meaning("symptom", (finding,))), certain and not year, why or "a year beside it")


def _taken_out(bare: str) -> tuple[str, str, str, str]:
    """Take year, trunk and share out of a phrase."""
    year = _YEAR.search(bare)
    short = None if year else _SHORT_YEAR.search(bare)
    found = year[1] if year else f"20{short[1]}" if short else ""
    bare = _SHORT_YEAR.sub(" ", _YEAR.sub(" ", bare))
    percent = _PERCENT.search(bare)
    bare = _PERCENT.sub(" ", bare)
    trunk = _TRUNK.search(bare)
    if trunk:
        bare = f"{bare[: trunk.start(1)]} {bare[trunk.end(1) :]}"
    return bare, found, trunk[1] if trunk else "", percent[1] if percent else ""


def _longest(tokens: list[str]) -> tuple[str, bool, int, int] | None:
    """Return the longest known piece of a phrase: its meaning, whether it is certain, where it begins, how long it is."""
    for length in range(min(len(tokens), _LONGEST), 0, -1):
        for at in range(len(tokens) - length + 1):
            piece = " ".join(tokens[at : at + length])
            singular = piece.removesuffix("s")
            for form in (piece, singular):
                if form in CERTAIN:
                    return CERTAIN[form], True, at, length
                if form in PROPOSED and not _SYMBOLS.fullmatch(form):
                    return PROPOSED[form], False, at, length
    return None
