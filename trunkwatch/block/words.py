"""What a reader should know of a block before its numbers, in sentences."""

from trunkwatch.block.opening import BlockNote, BlockNoteKind, BlockSeason
from trunkwatch.block.trend import Trend
from trunkwatch.history.reason_words import season_note_words
from trunkwatch.history.reasons import SeasonNote

__all__ = ["note_sentences", "note_words", "trend_note"]

CENSUS = "The whole block was scouted. The range is how far the share could swing in a similar year."
SAMPLE = "Part of the block was scouted. The range is for the whole block, if vines were chosen without regard to their health."


def note_sentences(season: BlockSeason) -> tuple[str, ...]:
    """Say what a reader should know before the numbers, without a capital letter and a full stop."""
    return tuple(note_words(note) for note in season.notes)


def note_words(note: BlockNote | SeasonNote) -> str:
    """Say one note."""
    if isinstance(note, SeasonNote):
        return season_note_words(note)
    named = note.names
    if note.kind is BlockNoteKind.LATER_SEASON:
        return f"season {note.season} has {' and '.join(named)} looks only so far: --season {note.season} shows it"
    if note.kind is BlockNoteKind.DEFINITION:
        return (
            f"cases are those of the definition '{named[0]}': in {note.season} only its inspections took place, and they can be "
            "compared with those of other seasons"
        )
    if note.kind is BlockNoteKind.REPLACES:
        return f"it replaces block {named[0]}, whose records stand by themselves"
    if note.kind is BlockNoteKind.NO_SPACING:
        return "no spacing is on record: nothing is said in meters, nor of a direction along the rows; write row_spacing_m and vine_spacing_m"
    if note.kind is BlockNoteKind.DRIFTING:
        return f"rows {', '.join(named)} do not keep step with the others: neighbors by meters"
    return f"not placed on the earth: {named[0]}"


def trend_note(trend: Trend) -> str:
    """Say what the limits of the rates are of."""
    return CENSUS if trend.whole else SAMPLE
