"""Results are made by the functions, not by people: their pages show what they hold, and no list of arguments."""

from dataclasses import is_dataclass
from typing import Any

from sphinx.application import Sphinx

from trunkwatch.stats.result import Result


def _signature(app: Sphinx, what: str, name: str, found: Any, options: Any, signature: str, returns: str) -> tuple[str, str] | None:
    if what == "class" and is_dataclass(found) and issubclass(found, Result):
        return "", ""
    return None


def setup(app: Sphinx) -> dict[str, bool]:
    """Take the arguments off results."""
    app.connect("autodoc-process-signature", _signature)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
