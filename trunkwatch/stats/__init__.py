"""Statistics of plant-by-plant disease maps: pure functions on (rows, stations) arrays.

Every public name can be taken from here; its module is loaded when it is first asked for. The names and their modules stand
once, in `__init__.pyi` beside this file: a line each, as type checkers read them.
"""

import re
from importlib import import_module
from importlib.resources import files

_LINE = re.compile(r"^from (\S+) import (\w+) as \2$", re.MULTILINE)
#: Public name -> its module.
_HOME = {name: module for module, name in _LINE.findall(files(__name__).joinpath("__init__.pyi").read_text("utf-8"))}

__all__ = sorted(_HOME)  # noqa: PLE0605 - as text, in the file that type checkers read


def __getattr__(name: str) -> object:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
