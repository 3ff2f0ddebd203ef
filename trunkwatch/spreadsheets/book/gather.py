"""A whole workbook understood: its sheets, its words, its days, the blocks that it makes."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.book.days import is_day
from trunkwatch.spreadsheets.book.entries import Causes, entries_of
from trunkwatch.spreadsheets.book.guess import guess_word
from trunkwatch.spreadsheets.book.kept import Kept
from trunkwatch.spreadsheets.book.labels import facts_of, with_known_labels
from trunkwatch.spreadsheets.book.meaning import ASK, Meaning, meaning_text, read_meaning
from trunkwatch.spreadsheets.book.pages import Page
from trunkwatch.spreadsheets.book.parts import parts_of
from trunkwatch.spreadsheets.book.plan import BookPlan, Choice, DayPlan, Entry, SheetPlan, WordPlan
from trunkwatch.spreadsheets.book.trade_words import SIDES
from trunkwatch.spreadsheets.book.understand import Surroundings, legend_of, sheet_plan
from trunkwatch.spreadsheets.located import Known, number_of, word_key
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import is_iso_date

__all__ = ["book_plan", "measured_of", "read_meanings", "side_of", "word_rule"]

#: More different numbers than this under one heading are a measure: they get one meaning above 0.
_NUMBERS = 12
_LOOKS = ("dormant", "spring", "summer")


def book_plan(path: Path, pages: Sequence[Page], kept: Kept, known: Known, blocks: Sequence[str]) -> BookPlan:
    """Understand a workbook.

    Parameters
    ----------
    path : Path
        The file.
    pages : sequence of Page
        Its sheets.
    kept : Kept
        What the mapping file says.
    known : Known
        Rows that are there already.
    blocks : sequence of str
        Blocks that are there already.

    Raises
    ------
    RecordError
        If the mapping says what cannot be.
    """
    parted = [part for page in pages for part in parts_of(page)]
    legend = legend_of(pages)
    around = Surroundings(path.stem, len(parted), tuple(blocks), kept)
    sheets = [sheet_plan(page, around) for page in parted]
    causes = Causes()
    entries: list[Entry] = []
    for number, (page, plan) in enumerate(zip(parted, sheets, strict=True)):
        if plan.layout.value != "left out":
            own = entries_of(number, page, plan, blocks, causes)
            sheets[number] = replace(plan, entries=len(own))
            entries += own
    entries = with_known_labels(entries, known, blocks, [sheet.name for sheet in sheets], causes)
    words = _words(entries, sheets, legend, kept)
    sides = _sides(entries, words, kept)
    sheets = [_with_blank(plan, number, entries, words) for number, plan in enumerate(sheets)]
    facts = facts_of(entries, known, set(blocks), kept, _proposed_hemisphere(entries, words))
    days = _days(entries, words, kept)
    return BookPlan(
        path.name,
        tuple(sheets),
        tuple(words),
        tuple(days),
        sides,
        tuple(facts),
        causes.listed(),
        tuple(entries),
        tuple(legend.items()),
    )


# ---- Words -----------------------------------------------------------------------------------------------------


def word_rule(context: str, key: str, measured: Mapping[str, int]) -> str:
    """Return the key under which a word has its meaning: its own, or >0 where its heading holds measures."""
    number = number_of(key)
    return ">0" if number is not None and number > 0 and measured.get(context, 0) > _NUMBERS else key


def _words(
    entries: Sequence[Entry], sheets: Sequence[SheetPlan], legend: Mapping[str, str], kept: Kept
) -> list[WordPlan]:
    """List every distinct word, the commonest first."""
    counts: Counter[tuple[str, str]] = Counter()
    first: dict[tuple[str, str], Entry] = {}
    for entry in entries:
        if entry.word:
            pair = (entry.context, entry.word)
            counts[pair] += 1
            if pair not in first:
                first[pair] = entry
    measured = measured_of(counts)
    grouped: dict[tuple[str, str], Counter[str]] = {}
    for (context, word), count in counts.items():
        key = word_rule(context.casefold(), word_key(word), measured)
        grouped.setdefault((context.casefold(), key), Counter())[word] += count
    words = []
    for (_, key), spelt in sorted(grouped.items(), key=lambda pair: -sum(pair[1].values())):
        word = spelt.most_common(1)[0][0]
        entry = next(first[context, text] for (context, text) in first if text in spelt and context.casefold() == _)
        shown = key if key == ">0" else word
        meaning = _meaning(shown, entry.context, legend, kept)
        words.append(
            WordPlan(shown, entry.context, key, sum(spelt.values()), sheets[entry.sheet].name, entry.line, meaning)
        )
    return words


def measured_of(counts: Mapping[tuple[str, str], int]) -> dict[str, int]:
    """Return how many different numbers above 0 stand under each heading."""
    found: dict[str, set[str]] = {}
    for context, word in counts:
        number = number_of(word_key(word))
        if number is not None and number > 0:
            found.setdefault(context.casefold(), set()).add(word_key(word))
    return {context: len(keys) for context, keys in found.items()}


def _meaning(word: str, context: str, legend: Mapping[str, str], kept: Kept) -> Choice:
    said = kept.of_word(context, word)
    if said and said != ASK:
        return Choice(meaning_text(read_meaning(said, word)), "said")
    if word == ">0":
        named = guess_word("x", context).text if context else ""
        why = "numbers above 0 are a measure: say which symptom they measure"
        return Choice(named, "proposed", why) if named else Choice(ASK, "ask", why)
    guess = guess_word(word, context, legend)
    if not guess.text:
        return Choice(ASK, "ask", "")
    return Choice(guess.text, "certain" if guess.certain else "proposed", guess.why)


def _sides(entries: Sequence[Entry], words: Sequence[WordPlan], kept: Kept) -> tuple[tuple[str, Choice], ...]:
    """List the sides that words and columns name, each with the arm that is on it."""
    named: dict[str, None] = {}
    for word in words:
        if word.meaning.sure != "ask":
            named |= {
                finding.side: None for finding in read_meaning(word.meaning.value, word.word).findings if finding.side
            }
    named |= {side: None for text in {entry.arm for entry in entries if entry.arm} if (side := side_of(text))}
    found = []
    for side in named:
        said = kept.of_side(side)
        if said and said not in ("start", "end", "no arm"):
            raise RecordError(f"the mapping says that side {side!r} is {said!r}: start, end or no arm is needed")
        why = (
            "start is the arm towards position 1, end the other; no arm leaves it open, and the words stay in the note"
        )
        found.append((side, Choice(said, "said") if said else Choice("no arm", "proposed", why)))
    return tuple(found)


def side_of(text: str) -> str:
    """Return the side that a cell of a column of arms names, "" for start and end."""
    return SIDES.get(text.casefold().strip(" ."), "")


def _with_blank(plan: SheetPlan, number: int, entries: Sequence[Entry], words: Sequence[WordPlan]) -> SheetPlan:
    """Put the question of blank cells where a sheet names sick vines only."""
    if plan.layout.value == "left out" or plan.blank.sure == "said":
        return plan
    meanings = {(word.context.casefold(), word.key): word.meaning.value for word in words}
    own = [entry for entry in entries if entry.sheet == number]
    kinds = {
        meanings.get((context, key), "")
        for context, key in {(entry.context.casefold(), word_key(entry.word)) for entry in own if entry.word}
    }
    if "sound" in kinds or not kinds:
        return plan
    blank = any(not entry.word for entry in own)
    way = (
        "sound, if blank cells were scouted"
        if blank
        else "whole rows or whole block, if so were the vines that no line names"
    )
    why = f"no word of this sheet says that a vine is sound; only vines with a word count as scouted. Write {way}"
    return replace(plan, blank=Choice(plan.blank.value, "proposed", why))


# ---- Days ------------------------------------------------------------------------------------------------------


def _days(entries: Sequence[Entry], words: Sequence[WordPlan], kept: Kept) -> list[DayPlan]:
    counts = Counter(
        entry.day for entry in entries if entry.word and entry.day and entry.day != ASK and not is_day(entry.day)
    )
    found = []
    for key, count in sorted(counts.items()):
        said = kept.of_day(key)
        if said and said not in _LOOKS and not is_iso_date(said):
            raise RecordError(
                f"the mapping says that {key!r} is {said!r}: a day as YYYY-MM-DD, or dormant, spring or summer, is needed"
            )
        look = key.partition(" ")[0] if " " in key else ""
        month = f"{key}-15" if len(key) == 7 else ""
        value = said or month or look or _usual_look(words)
        why = f"only {key!r} is written, and an inspection has a day: summer is the middle of the summer inspection of that season, a day as YYYY-MM-DD is better"
        found.append(DayPlan(key, count, Choice(value, "said") if said else Choice(value, "proposed", why)))
    return found


def _usual_look(words: Sequence[WordPlan]) -> str:
    """Return the look at which such words are written: summer where leaves or berries are among them, and where nothing tells."""
    meanings = " ".join(word.meaning.value for word in words)
    leaves = any(code in meanings for code in codes.WITH_LEAVES)
    wood = any(code in meanings for code in ("dead_spurs", "canker", "wood_staining"))
    return "dormant" if wood and not leaves else "summer"


def _proposed_hemisphere(entries: Sequence[Entry], words: Sequence[WordPlan]) -> Choice:
    """Propose where a new block lies: leaves are striped from June to October in the north, from December to April in the south."""
    leaf = {(word.context.casefold(), word.key) for word in words if "leaf_stripe" in word.meaning.value}
    months = {
        entry.day[5:7]
        for entry in entries
        if is_day(entry.day) and entry.word and (entry.context.casefold(), word_key(entry.word)) in leaf
    }
    why = "season and look of every day hang on it"
    if months and months <= {"12", "01", "02", "03", "04"}:
        return Choice("south", "proposed", f"leaves were striped in months of the southern summer; {why}")
    if months and months <= {"06", "07", "08", "09", "10"}:
        return Choice("north", "proposed", f"leaves were striped in months of the northern summer; {why}")
    return Choice("north", "proposed", f"nothing tells; {why}")


def read_meanings(words: Sequence[WordPlan]) -> dict[tuple[str, str], Meaning]:
    """Return the meaning of each word that has one, by its heading without capitals and its key."""
    return {
        (word.context.casefold(), word.key): read_meaning(word.meaning.value, word.word)
        for word in words
        if word.meaning.sure != "ask"
    }
