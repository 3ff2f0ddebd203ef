"""One term a thing: the words of pages, terminal and help, and the words that they stand instead of.

A term is what growers of the trade say; what stands beside it was marked as foreign or ambiguous by readers. Codes and
names of columns are no words: they stay as they are (`look`, `renew_arm`).
"""

from dataclasses import dataclass

__all__ = ["TERMS", "Term"]


@dataclass(frozen=True, slots=True)
class Term:
    """A word of ours.

    Attributes
    ----------
    says : str
        The term.
    meaning : str
        What it means, for someone new.
    never : tuple of str
        Patterns of words that it stands instead of, as regular expressions over whole sentences.
    """

    says: str
    meaning: str
    never: tuple[str, ...] = ()


_RENEW = r"(?<![_\w{.'\"-])[Rr]enew(?:s|ed|ing)?(?![_\w}.'\"=|,])"

TERMS: tuple[Term, ...] = (
    Term(
        "scouted",
        "somebody went along the row and looked for symptoms; a vine with no entry counts as healthy-looking only there",
        (
            r"\bwas walked\b",
            r"\bwere walked\b",
            r"\bwalked whole\b",
            r"\bhalf walked\b",
            r"\blooked at(?! again)\b",
            r"\brows to walk\b",
            r"\b[Ww]alk the whole block",
            r"\b[Ww]ho walked\b",
            r"\bwhat was walked\b",
        ),
    ),
    Term(
        "inspection",
        "one time of scouting in a season: dormant, spring or summer",
        (
            r"\b(?:dormant|spring|summer|last|first|no|each|one|same|two|earlier|later) looks?\b(?! (?:like|alike|the same|only|again|for))",
            r"\blook of (?:the season|\d)",
        ),
    ),
    Term("recheck", "a blind second inspection of some vines", (r"\bsecond looks?\b",)),
    Term(
        "likely range",
        "the true share lies inside 95 times in 100",
        (r"\bwith limits\b", r", limits ", r"\bits limits\b", r"\(limits\)"),
    ),
    Term(
        "90% range",
        "nine of ten simulated futures end inside",
        (r"\b[Nn]ine futures in ten\b", r"\bnine times in ten\b"),
    ),
    Term("adjacent vines", "vines with nothing between them", (r"\bnext vines\b",)),
    Term("jump", "far more new cases in one season than the seasons around it", (r"\bone-season step\b",)),
    Term("retrain", "cut a trunk, cordon or arm off and grow it again from a young shoot", (_RENEW,)),
    Term("predicted", "said by the model before the season", (r"\bforetold\b", r"\bleant on\b")),
    Term("showed before, not this year", "symptoms come and go: such a vine is not healed", (r"showing or hidden\b",)),
    Term("already cut", "a later cut took the part away", (r"\bcut since it was seen\b",)),
    Term("girdled by a wire or tie", "a wire or tie has grown into the wood", (r"\bstrangled\b",)),
    Term("bud kill", "buds killed by cold", (r"\bkilled buds\b",)),
    Term(
        "error",
        "what keeps a line from being imported",
        (r"\bfault\(s\)", r"\bfiles with faults\b", r"\bif there is a fault\b"),
    ),
    Term("fix", "put right", (r"\b[Mm]end(?:s|ed|ing)?\b",)),
    Term(
        "import",
        "read records of a file into the vineyard",
        (r"\b[Nn]othing (?:of it )?was taken\b", r"\bwould be taken\b", r">Take it<", r"\b[Tt]ake the good lines\b"),
    ),
    Term(
        "already recorded",
        "the same record is in the vineyard",
        (r"\b[Kk]nown already\b", r"\bknown with other values\b"),
    ),
    Term(
        "send",
        "records of the phone go to the office",
        (r"\b[Hh]and over\b", r"\b[Hh]anded over\b(?! (?:the|by)\b)", r"\bnot handed over\b"),
    ),
    Term("delete", "take a digit or an entry away", (r"\b[Rr]ub out\b",)),
    Term("saved", "on the disk of the office", (r"\bNot written(?: yet)?:", r"\bWritten here\b")),
    Term(
        "neighbor, color, meter",
        "American spelling",
        (r"(?<=[ (])(?:neighbours?|colours?|grey|metres?|centimetres?|labelled|travelled)\b(?![_=(,])",),
    ),
    Term("witch's broom", "many shoots from one point near the head", (r"\bmany shoots from one point near\b",)),
)
