"""American spelling turned into British or Australian, by whole words, where people read.

The sentences of the package are American. British and Australian differ from that alike in the words listed here: -our,
-re, -lled, grey, ageing, towards, and -ise, which both countries' readers take without a thought (-ize is right in
Britain too, but is taken for American there). A computer program is a program in all three, and a metric ton is a tonne.
"""

import re
from collections.abc import Mapping
from functools import cache
from html import escape
from types import MappingProxyType
from typing import Any

from trunkwatch.vineyard.manner import Manner, in_force

__all__ = ["BRITISH", "holds_american", "spelled", "spelled_page", "spelled_values"]

_STEMS = (
    ("neighbor", "neighbour", ("", "s", "ing", "hood", "hoods")), ("color", "colour", ("", "s", "ed", "ing", "less")),
    ("labor", "labour", ("", "s", "ed", "ing", "er", "ers")), ("vigor", "vigour", ("",)), ("favor", "favour", ("", "s", "ed", "ing", "able", "ably")),
    ("behavior", "behaviour", ("", "s")), ("harbor", "harbour", ("", "s", "ed")), ("odor", "odour", ("", "s")), ("honor", "honour", ("", "s", "ed")),
    ("flavor", "flavour", ("", "s")), ("meter", "metre", ("", "s")), ("centimeter", "centimetre", ("", "s")), ("millimeter", "millimetre", ("", "s")),
    ("kilometer", "kilometre", ("", "s")), ("liter", "litre", ("", "s")), ("center", "centre", ("", "s")), ("fiber", "fibre", ("", "s")),
    ("gray", "grey", ("", "s", "ish")), ("mold", "mould", ("", "s", "y")), ("plow", "plough", ("", "s", "ed", "ing")), ("label", "labell", ("ed", "ing")),
    ("relabel", "relabell", ("ed", "ing")), ("travel", "travell", ("ed", "ing", "er", "ers")), ("cancel", "cancell", ("ed", "ing")),
    ("model", "modell", ("ed", "ing")), ("total", "totall", ("ed", "ing")), ("fuel", "fuell", ("ed", "ing")), ("level", "levell", ("ed", "ing")),
    ("catalog", "catalogue", ("", "s")), ("defens", "defenc", ("e", "es")), ("offens", "offenc", ("e", "es")), ("analyz", "analys", ("e", "es", "ed", "ing")),
    ("toward", "towards", ("",)), ("afterward", "afterwards", ("",)), ("aging", "ageing", ("",)), ("artifact", "artefact", ("", "s")),
    ("skeptical", "sceptical", ("",)), ("aluminum", "aluminium", ("",)), ("sulfur", "sulphur", ("", "s")), ("cozy", "cosy", ("",)),
    ("fulfill", "fulfil", ("", "s")), ("centered", "centred", ("",)), ("judgment", "judgement", ("", "s")),
)  # fmt: skip
_ISE = ("organ", "recogn", "minim", "maxim", "optim", "normal", "penal", "general", "standard", "summar", "random", "factor", "real", "priorit",
        "special", "steril", "fertil", "stabil", "util", "character", "central", "familiar", "emphas", "apolog", "synchron", "visual", "mobil", "critic")  # fmt: skip


@cache
def _british() -> Mapping[str, str]:
    table = {f"{ours}{end}": f"{theirs}{end}" for ours, theirs, ends in _STEMS for end in ends}
    ends = {
        "ize": "ise",
        "izes": "ises",
        "ized": "ised",
        "izing": "ising",
        "ization": "isation",
        "izations": "isations",
        "izer": "iser",
        "izers": "isers",
    }
    table |= {f"{stem}{ours}": f"{stem}{theirs}" for stem in _ISE for ours, theirs in ends.items()}
    return MappingProxyType(table)


#: American word -> British and Australian word, in small letters.
BRITISH = _british()
#: A metric ton has a word of its own; a short ton keeps its name.
_PHRASES = {"metric tons": "tonnes", "metric ton": "tonne"}
# Whole words only: nothing in a path, a file name, an option, a code, an address or the quotes of a value that somebody wrote.
_WORD = re.compile(
    r"(?<![\w/\\.'\"`@#=-])(?:"
    + "|".join(sorted((*_PHRASES, *BRITISH), key=len, reverse=True))
    + r")(?![\w/\\@=(]|\.\w|['\"`](?!s))",
    re.IGNORECASE,
)
_TAG = re.compile(r"(?:<(?P<name>script|style)\b.*?</(?P=name)\s*>|<!--.*?-->|<[^>]*>)", re.DOTALL | re.IGNORECASE)
#: The language that a page is in: none but English is spelled.
_LANGUAGE = re.compile(r"""<html[^>]*\blang=["']?(\w+)""", re.IGNORECASE)
_READ = re.compile(r"""(\b(?:alt|title|aria-label|placeholder)=)("[^"]*"|'[^']*')""")


def holds_american(text: str) -> bool:
    """Tell whether a text holds a word that is spelled otherwise elsewhere."""
    return _WORD.search(text) is not None


def spelled(text: str) -> str:
    """Spell a text as the manner in force does; texts of people stay as they were written."""
    manner = in_force()
    return text if manner.spelling == "american" else _spelled(text, manner, quoted=False)


def spelled_page(page: str) -> str:
    """Spell what people read of an HTML page or an SVG drawing: its text, and alt, title, aria-label and placeholder.

    Tags, other attributes, styles and scripts stay as they are.
    """
    manner = in_force()
    if manner.spelling == "american" or ((tongue := _LANGUAGE.search(page)) is not None and tongue[1] != "en"):
        return page
    out, at = [], 0
    for tag in _TAG.finditer(page):
        out += [_spelled(page[at : tag.start()], manner, quoted=True), _tag(tag, manner)]
        at = tag.end()
    return "".join([*out, _spelled(page[at:], manner, quoted=True)])


def spelled_values(value: Any) -> Any:
    """Spell the sentences among the values of data that a script shows; keys, codes and single words stay."""
    if isinstance(value, str):
        return spelled(value) if " " in value else value
    if isinstance(value, Mapping):
        return {key: spelled_values(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [spelled_values(inner) for inner in value]
    return value


def _tag(tag: "re.Match[str]", manner: Manner) -> str:
    text = tag.group()
    if tag.group("name") or text.startswith("<!--") or "=" not in text:
        return text
    return _READ.sub(
        lambda found: found[1] + found[2][0] + _spelled(found[2][1:-1], manner, quoted=True) + found[2][0], text
    )


def _spelled(text: str, manner: Manner, *, quoted: bool) -> str:
    """Put the words of a text; `quoted` where letters of markup stand as entities."""
    if not text or text.isspace() or not holds_american(text):
        return text
    own = {one for text_of in manner.written for one in (_as_markup(text_of) if quoted else (text_of,)) if one in text}
    if not own:
        return _WORD.sub(_put, text)
    pattern = "|".join(rf"(?<!\w){re.escape(one)}(?!\w)" for one in sorted(own, key=len, reverse=True))
    parts = re.split(f"({pattern})", text)
    return "".join(part if number % 2 else _WORD.sub(_put, part) for number, part in enumerate(parts))


def _as_markup(text: str) -> tuple[str, str, str]:
    """Return the ways in which a text may stand in a page: quotes have two names there, or stand as they are."""
    bare = escape(text, quote=False)
    return bare, escape(text), bare.replace('"', "&#34;").replace("'", "&#39;")


def _put(found: "re.Match[str]") -> str:
    word = found.group()
    small = word.casefold()
    put = _PHRASES.get(small) or BRITISH[small]
    if word.isupper() and len(word) > 1:
        return put.upper()
    return put[0].upper() + put[1:] if word[0].isupper() else put
