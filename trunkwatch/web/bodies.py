"""What a request brings as JSON, whatever it is."""

from typing import Any

from flask import request

__all__ = ["sent_json"]


def sent_json() -> Any:
    """Return what was sent as JSON; None where it is none, or nested deeper than can be read."""
    try:
        return request.get_json(silent=True)
    except RecursionError:
        return None
