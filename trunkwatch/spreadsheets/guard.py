"""Text that a spreadsheet would run as a formula is written with an apostrophe before it."""

__all__ = ["guarded", "unguarded"]

_STARTS = ("=", "+", "-", "@", "\t", "\r")


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula; `unguarded` gives it back."""
    return f"'{text}" if text.startswith(_STARTS) or (text.startswith("'") and text[1:2] in ("'", *_STARTS)) else text


def unguarded(text: str) -> str:
    """Take away the apostrophe that `guarded` put before a text."""
    return text[1:] if text.startswith("'") and text[1:2] in ("'", *_STARTS) else text
