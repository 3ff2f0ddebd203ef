"""The signature of a hand-over: HMAC-SHA256 over bytes that phone and desk make alike.

A number is signed as it is written in the file, so that no program's way to print numbers matters; ``sign.js`` of the
phone page is the same in its language.
"""

import hashlib
import hmac
import json
import re
from collections.abc import Mapping
from typing import Any

__all__ = ["SIGNED_BY", "Literal", "canonical", "literal_json", "signature", "signed_bytes"]

#: The field of a hand-over that holds the signature, and is not signed itself.
SIGNED_BY = "signature"


class Literal(str):
    """A number as it is written."""

    __slots__ = ()


def literal_json(text: str) -> Any:
    """Read JSON, numbers as they are written.

    Raises
    ------
    ValueError, RecursionError
        If it is no JSON.
    """
    return json.loads(text, parse_float=Literal, parse_int=Literal, parse_constant=Literal)


def canonical(told: Any) -> bytes:
    """Return the bytes that are signed: every value with its kind and length, keys in order.

    Parameters
    ----------
    told : Any
        As `literal_json` reads it.

    Raises
    ------
    RecursionError
        If it is nested deeper than any hand-over.
    """
    out: list[bytes] = []
    _add(told, out)
    return b"".join(out)


def _add(value: Any, out: list[bytes]) -> None:
    if value is None:
        out.append(b"z")
    elif isinstance(value, bool):
        out.append(b"t" if value else b"f")
    elif isinstance(value, str):
        out.append(_text(value, b"n" if isinstance(value, Literal) else b"s"))
    elif isinstance(value, Mapping):
        out.append(b"{")
        for key in sorted(value):
            out.append(_text(key, b"s"))
            _add(value[key], out)
        out.append(b"}")
    elif isinstance(value, list):
        out.append(b"[")
        for one in value:
            _add(one, out)
        out.append(b"]")
    else:
        raise TypeError(f"{type(value).__name__} is nothing that JSON holds")


def _text(text: str, kind: bytes) -> bytes:
    # Half of a pair of surrogates is no sign: browsers write the replacement character.
    raw = re.sub("[\ud800-\udfff]", "\ufffd", text).encode()
    return b"%b%d:%b" % (kind, len(raw), raw)


def signed_bytes(told: Mapping[str, Any]) -> bytes:
    """Return the bytes of a hand-over that are signed: all but its signature; `told` as `literal_json` reads it."""
    return canonical({name: value for name, value in told.items() if name != SIGNED_BY})


def signature(secret: str, raw: bytes) -> str:
    """Return the signature of bytes.

    Parameters
    ----------
    secret : str
        Of the phone, as hexadecimal text.
    raw : bytes
        As `signed_bytes` returns them.
    """
    return hmac.new(bytes.fromhex(secret), raw, hashlib.sha256).hexdigest()
