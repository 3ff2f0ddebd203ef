"""What every result of the statistics can do besides saying itself in one line: become a dictionary, a table, a notebook's table."""

from dataclasses import fields, is_dataclass
from html import escape
from importlib import import_module
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Plain", "Result"]

#: What JSON can hold.
Plain: TypeAlias = "bool | int | float | str | list[Plain] | dict[str, Plain] | None"

#: Figures of an array that a notebook shows before it says how many more there are.
_SHOWN = 6


class Result:
    """A frozen result: its attributes are its figures."""

    __slots__ = ()

    def to_dict(self) -> dict[str, Plain]:
        """Return the figures by name; arrays as lists, results inside as dictionaries.

        Returns
        -------
        dict of str to numbers, text, lists and dictionaries
            What `json.dumps` takes.
        """
        return {field.name: _plain(getattr(self, field.name)) for field in fields(self)}  # type: ignore[arg-type]

    def to_frame(self) -> "pd.DataFrame":
        """Return a pandas DataFrame: one line of all single figures.

        Returns
        -------
        DataFrame, one line
            Arrays and results inside are left out: they are attributes.
        """
        single = {name: value for name, value in self.to_dict().items() if not isinstance(value, list | dict)}
        # Pandas is asked for here alone: the statistics themselves stand on numpy and scipy.
        frame: pd.DataFrame = import_module("pandas").DataFrame([single])
        return frame

    def _repr_html_(self) -> str:
        """Return the figures as a table for a notebook."""
        lines = "".join(
            f"<tr><th>{escape(name)}</th><td>{escape(_short(value))}</td></tr>"
            for name, value in self.to_dict().items()
        )
        return f"<table><caption>{escape(str(self))}</caption><tbody>{lines}</tbody></table>"


def _plain(value: Any) -> Any:
    if isinstance(value, Result):
        return value.to_dict()
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    return value


def _short(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, list):
        shown = ", ".join(_short(one) for one in value[:_SHOWN])
        return shown + (f", and {len(value) - _SHOWN} more" if len(value) > _SHOWN else "")
    if isinstance(value, dict):
        return "; ".join(f"{key} {_short(one)}" for key, one in value.items())
    return str(value)
