"""Scripts for pages of one file: modules joined in the order in which one needs the other.

A page that is opened from disk cannot import from files beside it. So modules keep to what can be joined: named exports
declared where they stand, imports at the top without other names, no cycles, and no name twice in a page. The desk serves
the same modules as they are.
"""

import re
from importlib.resources import files
from posixpath import dirname, join, normpath

__all__ = ["joined"]

_IMPORT = re.compile(r'^import \{([^}]*)\} from "(\./[\w./-]+|\.\./[\w./-]+)";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async function|function|const|let|class) )", re.MULTILINE)
#: What would be lost or left over when modules are joined.
_NOT_JOINED = re.compile(r"^(?:import|export)\b.*", re.MULTILINE)


def joined(*names: str) -> str:
    """Join scripts, each after those that it imports and once.

    Parameters
    ----------
    names : str
        Files in the package's folder ``static``, such as ``block_map.js``.

    Returns
    -------
    str
        One strict script that imports nothing.

    Raises
    ------
    ValueError
        If one imports or exports in a way that cannot be joined, or two import each other.
    """
    parts: dict[str, str] = {}
    for name in names:
        _add(name, parts, ())
    return "\n".join(['"use strict";', *parts.values()])


def _add(name: str, parts: dict[str, str], above: tuple[str, ...]) -> None:
    if name in above:
        raise ValueError(f"scripts that import each other cannot be joined: {' imports '.join((*above, name))}")
    if name in parts:
        return
    text = files("trunkwatch").joinpath("static").joinpath(name).read_text("utf-8")
    for names, target in _IMPORT.findall(text):
        if " as " in names:
            raise ValueError(f"{name} imports {names.strip()!r}: a name cannot be changed where scripts are joined")
        _add(normpath(join(dirname(name), target)), parts, (*above, name))
    plain = _EXPORT.sub("", _IMPORT.sub("", text))
    if left := _NOT_JOINED.search(plain):
        raise ValueError(f"{name} holds {left[0]!r}: joined are named imports, and exports of what is declared there")
    parts[name] = plain
