"""Text that a spreadsheet would run as a formula is written with an apostrophe before it.

A formula may begin a cell. It may also begin after a separator inside a cell: opened with
semicolons or tabs as separators, a file of commas falls into other cells, quotation marks or not.
"""

import re

__all__ = ["guarded", "unguarded"]

#: What begins a formula: the last four are the wide forms that East Asian keyboards write.
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
#: At the beginning of a cell: a sign, also behind spaces, or a tab or the end of a line by itself.
_FIRST = re.compile(rf"'*(?:\s*[{_SIGNS}]|[\t\r\n])")
#: Behind what another program may take for the end of a cell; a comma only where the sign touches it, as no writer does.
_INSIDE = re.compile(rf"((?:[;\t\r\n|][ ]*|,)\"*)('*[{_SIGNS}])")
_GUARDED_INSIDE = re.compile(rf"((?:[;\t\r\n|][ ]*|,)\"*)'('*[{_SIGNS}])")


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula; `unguarded` gives it back."""
    inside = _INSIDE.sub(r"\1'\2", text)
    return f"'{inside}" if _FIRST.match(text) else inside


def unguarded(text: str) -> str:
    """Take away the apostrophes that `guarded` put into a text."""
    inside = _GUARDED_INSIDE.sub(r"\1\2", text)
    return inside[1:] if inside.startswith("'") and _FIRST.match(inside, 1) else inside
