"""The grower's key of block cards: it signs them and makes the names that stand on them, and it never leaves the grower.

One secret of 32 bytes in a private file. For each kind of card it gives another signing key (Ed25519) and another key of
names (HMAC-SHA256), so that cards of two kinds cannot be told to be of one grower. A name without a key could be found by
trying all likely labels; with one it cannot, and whoever keeps a pool of cards has no key.
"""

import hmac
import os
import secrets
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from trunkwatch.errors import AccessError, FileError, MissingExtraError

__all__ = ["CardKey", "made_key", "read_key", "signed_by"]

_HEAD = "trunkwatch card key 1"


@dataclass(frozen=True, slots=True)
class CardKey:
    """The secret of a grower."""

    secret: bytes = field(repr=False)

    def _for(self, use: str, kind: str) -> bytes:
        return hmac.new(self.secret, f"{use}:{kind}".encode(), sha256).digest()

    def block_id(self, kind: str, root: str) -> str:
        """Return the name of a block on cards of a kind; `root` is the id of the block's first record."""
        return hmac.new(self._for("name", kind), root.encode(), sha256).hexdigest()[:32]

    def public(self, kind: str) -> str:
        """Return the public key of the grower's cards of a kind, as hexadecimal text: what the keeper of a pool lists."""
        return str(self._signer(kind).public_key().public_bytes_raw().hex())

    def sign(self, kind: str, raw: bytes) -> str:
        """Return the signature of bytes, as hexadecimal text."""
        return str(self._signer(kind).sign(raw).hex())

    def _signer(self, kind: str) -> Any:
        return _ed25519().Ed25519PrivateKey.from_private_bytes(self._for("sign", kind))


def signed_by(public: str, signature: str, raw: bytes) -> bool:
    """Tell whether bytes were signed by whoever has a public key.

    Parameters
    ----------
    public, signature : str
        As hexadecimal text; what is none was signed by nobody.
    raw : bytes
        What was signed.
    """
    ed25519 = _ed25519()
    from cryptography.exceptions import InvalidSignature

    try:
        ed25519.Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(bytes.fromhex(signature), raw)
    except (InvalidSignature, ValueError):
        return False
    return True


def made_key(path: Path) -> CardKey:
    """Make a key in a file that only its owner can read.

    Raises
    ------
    FileError
        If there is a file already, or none can be written.
    """
    key = CardKey(secrets.token_bytes(32))
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise FileError(
            f"{path} is there already: a key is made once, for cards can be withdrawn only with the key that signed them"
        ) from None
    except OSError as error:
        raise FileError(f"{path} cannot be written: {error.strerror}") from error
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(f"{_HEAD}\n{key.secret.hex()}\n")
    return key


def read_key(path: Path) -> CardKey:
    """Read a key.

    Raises
    ------
    FileError
        If it cannot be read.
    AccessError
        If it is no key.
    """
    try:
        lines = path.read_text("ascii").split("\n")
    except FileNotFoundError:
        raise FileError(f"no key at {str(path)!r}: `trunkwatch card {path} key` makes one") from None
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(f"{path} cannot be read: {error}") from error
    try:
        secret = bytes.fromhex(lines[1]) if lines[0] == _HEAD else b""
    except (IndexError, ValueError):
        secret = b""
    if len(secret) != 32:
        raise AccessError(f"{str(path)!r} is no key of cards: `trunkwatch card FILE key` makes one")
    return CardKey(secret)


def _ed25519() -> Any:
    try:
        from cryptography.hazmat.primitives.asymmetric import ed25519
    except ImportError as error:
        raise MissingExtraError("cards are signed with cryptography: pip install 'trunkwatch[cards]'") from error
    return ed25519
