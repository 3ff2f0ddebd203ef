"""Labels in addresses: a block may be called ``Nord/1``, and a row ``3/4``, ``100 %`` or ``..``."""

from urllib.parse import quote, unquote

from werkzeug.routing import BaseConverter

__all__ = ["LabelConverter"]


class LabelConverter(BaseConverter):
    """A label as one part of an address.

    A slash cannot stand there, and servers undo one layer of quotation before an address is matched: what
    would be misread (slash, per cent, a label of dots only) is quoted twice.
    """

    regex = r"[^/]+"

    def to_python(self, value: str) -> str:
        """Read a label from an address."""
        return unquote(value)

    def to_url(self, value: str) -> str:
        """Write a label into an address."""
        dots = value.strip(".") == ""
        once = "".join(
            quote(sign, safe="") if sign in "/%\\" else f"%{ord(sign):02X}" if dots else sign for sign in value
        )
        return quote(once, safe="")
