"""A mark of the program itself: what is kept of an answer holds only for the program that gave it."""

from functools import cache
from hashlib import blake2b
from pathlib import Path

import trunkwatch

__all__ = ["program_mark"]


@cache
def program_mark() -> str:
    """Return a mark of the program's own files: another version may answer otherwise."""
    root = Path(trunkwatch.__file__).parent
    mark = blake2b(trunkwatch.__version__.encode(), digest_size=16)
    for path in sorted(one for one in root.rglob("*") if one.suffix in (".py", ".html", ".css", ".js")):
        mark.update(path.relative_to(root).as_posix().encode() + path.read_bytes())
    return mark.hexdigest()
