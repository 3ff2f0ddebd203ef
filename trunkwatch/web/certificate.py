"""The desk's own certificate: made at the first start with --lan, kept in the private folder, told by its fingerprint.

An elliptic key on the curve P-256 (FIPS 186-4) and a certificate that it signs itself (RFC 5280), written here in some
lines: the library has none of it, and nothing else is to be installed for https at home.
"""

import base64
import datetime as dt
import secrets
import socket
import ssl
from hashlib import sha256
from ipaddress import ip_address
from pathlib import Path

from trunkwatch.access.private import private_folder, read_private, turn, write_private

__all__ = ["DAYS", "fingerprint_of", "made_certificate", "own_certificate"]

#: Days for which a certificate holds; phones take none that holds longer than 825. It is made anew in the last of them.
DAYS, LAST_DAYS = 800, 30
FILE, TOLD = "desk.pem", "desk.json"

_P = 2**256 - 2**224 + 2**192 + 2**96 - 1
_N = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551
_G = (
    0x6B17D1F2E12C4247F8BCE6E563A440F277037D812DEB33A0F4A13945D898C296,
    0x4FE342E2FE1A7F9B8EE7EB4A7C0F9E162BCE33576B315ECECBB6406837BF51F5,
)
_Point = tuple[int, int] | None


def _sum(one: _Point, other: _Point) -> _Point:
    """Add two points of the curve y2 = x3 - 3x + b."""
    if one is None or other is None:
        return one or other
    (x, y), (u, v) = one, other
    if x == u and (y + v) % _P == 0:
        return None
    slope = (3 * x * x - 3) * pow(2 * y, -1, _P) if one == other else (v - y) * pow(u - x, -1, _P)
    z = (slope * slope - x - u) % _P
    return z, (slope * (x - z) - y) % _P


def _times(factor: int, point: _Point) -> tuple[int, int]:
    out: _Point = None
    while factor:
        if factor & 1:
            out = _sum(out, point)
        point, factor = _sum(point, point), factor >> 1
    if out is None:
        raise ValueError("the factor is a multiple of the order")
    return out


def _signed(key: int, raw: bytes) -> bytes:
    """Sign with ECDSA and SHA-256."""
    told = int.from_bytes(sha256(raw).digest())
    while True:
        chance = secrets.randbelow(_N - 1) + 1
        r = _times(chance, _G)[0] % _N
        s = pow(chance, -1, _N) * (told + r * key) % _N
        if r and s:
            return _seq(_int(r), _int(s))


# ---- DER, as certificates are written --------------------------------------------------------------------------


def _der(tag: int, raw: bytes) -> bytes:
    size = len(raw)
    many = b"" if size < 128 else size.to_bytes((size.bit_length() + 7) // 8)
    return bytes([tag, 0x80 | len(many) if many else size]) + many + raw


def _seq(*parts: bytes) -> bytes:
    return _der(0x30, b"".join(parts))


def _int(number: int) -> bytes:
    return _der(0x02, number.to_bytes(number.bit_length() // 8 + 1))


def _oid(text: str) -> bytes:
    first, second, *rest = (int(part) for part in text.split("."))
    out = bytes([40 * first + second])
    for number in rest:
        groups = [number & 127]
        while number := number >> 7:
            groups.append(number & 127 | 128)
        out += bytes(reversed(groups))
    return _der(0x06, out)


def _bits(raw: bytes, unused: int = 0) -> bytes:
    return _der(0x03, bytes([unused]) + raw)


def _extension(oid: str, value: bytes, *, critical: bool = False) -> bytes:
    return _seq(_oid(oid), *([b"\x01\x01\xff"] if critical else []), _der(0x04, value))


def _other_name(name: str) -> bytes:
    try:
        return _der(0x87, ip_address(name).packed)
    except ValueError:
        return _der(0x82, name.encode("ascii", "ignore"))


def _day(when: dt.datetime) -> bytes:
    return (
        _der(0x17, f"{when:%y%m%d%H%M%SZ}".encode())
        if when.year < 2050
        else _der(0x18, f"{when:%Y%m%d%H%M%SZ}".encode())
    )


def _pem(kind: str, der: bytes) -> str:
    text = base64.b64encode(der).decode()
    lines = "\n".join(text[at : at + 64] for at in range(0, len(text), 64))
    return f"-----BEGIN {kind}-----\n{lines}\n-----END {kind}-----\n"


def made_certificate(names: list[str], begins: dt.datetime) -> str:
    """Make a key and a certificate that it signs itself.

    Parameters
    ----------
    names : list of str
        Names and addresses that it is for.
    begins : datetime
        When it begins to hold, in universal time.

    Returns
    -------
    str
        Both, as text in PEM form.
    """
    key = secrets.randbelow(_N - 1) + 1
    x, y = _times(key, _G)
    public = b"\x04" + x.to_bytes(32) + y.to_bytes(32)
    curve, way = _oid("1.2.840.10045.3.1.7"), _seq(_oid("1.2.840.10045.4.3.2"))
    called = _seq(_der(0x31, _seq(_oid("2.5.4.3"), _der(0x0C, b"trunkwatch desk"))))
    told = _seq(
        _der(0xA0, _int(2)),
        _int(secrets.randbits(152) + 1),
        way,
        called,
        _seq(_day(begins), _day(begins + dt.timedelta(days=DAYS))),
        called,
        _seq(_seq(_oid("1.2.840.10045.2.1"), curve), _bits(public)),
        _der(
            0xA3,
            _seq(
                _extension("2.5.29.19", _seq(), critical=True),  # no authority over others
                _extension("2.5.29.15", _bits(b"\x80", 7), critical=True),  # signs, and no more
                _extension("2.5.29.37", _seq(_oid("1.3.6.1.5.5.7.3.1"))),  # a server
                _extension("2.5.29.14", _der(0x04, sha256(public).digest()[:20])),
                _extension("2.5.29.17", _seq(*(_other_name(name) for name in dict.fromkeys(names)))),
            ),
        ),
    )
    private = _seq(_int(1), _der(0x04, key.to_bytes(32)), _der(0xA0, curve), _der(0xA1, _bits(public)))
    return _pem("EC PRIVATE KEY", private) + _pem("CERTIFICATE", _seq(told, way, _bits(_signed(key, told))))


def fingerprint_of(path: Path) -> str:
    """Return the SHA-256 of the certificate in a file, as browsers show it: pairs of hexadecimal digits.

    Raises
    ------
    OSError, ValueError
        If there is none.
    """
    text = path.read_text("ascii")
    begin = text.index("-----BEGIN CERTIFICATE-----")
    der = ssl.PEM_cert_to_DER_cert(text[begin : text.index("-----END CERTIFICATE-----") + 26].strip() + "\n")
    digits = sha256(der).hexdigest().upper()
    return ":".join(digits[at : at + 2] for at in range(0, len(digits), 2))


def own_certificate(vineyard: Path, address: str, now: dt.datetime | None = None) -> tuple[Path, bool]:
    """Return the file of the desk's certificate with its key, and whether it was made just now.

    It stays as long as it holds, whatever the address is by then: a fingerprint that changes tells nobody anything.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    at = now or dt.datetime.now(tz=dt.UTC)
    with turn(vineyard):
        path = private_folder(vineyard) / FILE
        told = read_private(vineyard, TOLD)
        until = str(told.get("until", "")) if isinstance(told, dict) else ""
        if path.exists() and until > (at + dt.timedelta(days=LAST_DAYS)).isoformat():
            return path, False
        names = ["localhost", socket.gethostname(), "127.0.0.1", "::1", address]
        write_private(vineyard, FILE, made_certificate(names, at - dt.timedelta(days=1)).encode())
        write_private(vineyard, TOLD, {"until": (at + dt.timedelta(days=DAYS - 1)).isoformat()})
    return path, True
