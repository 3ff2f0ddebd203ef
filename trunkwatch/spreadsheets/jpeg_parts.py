"""The parts of a JPEG file: which of them say more than the picture, and the file without these.

What a camera writes beside the picture (EXIF, XMP, IPTC, comments, whatever follows the end) may tell the place, the
device and its owner. The picture itself, its color profile and how its colors are coded stay.

References
----------
.. [1] ITU-T T.81 (1992), annex B: markers and segments.
"""

__all__ = ["is_plain", "without_metadata"]

_START, _END, _SCAN = 0xD8, 0xD9, 0xDA
#: APP0 (JFIF), APP2 (color profile) and APP14 (how colors are coded) belong to the picture.
_KEPT_APPS = frozenset({0xE0, 0xE2, 0xEE})
_PROFILE, _JFIF = b"ICC_PROFILE\x00", b"JFIF\x00"
_COMMENT = 0xFE
#: Markers that stand alone: restarts, and the one of no meaning.
_ALONE = frozenset({0x01, *range(0xD0, 0xD8)})


def without_metadata(data: bytes) -> bytes:
    """Return a JPEG file without what says more than the picture; the picture's own bytes are not touched.

    Raises
    ------
    ValueError
        If it is no JPEG file, or breaks off.
    """
    if data[:2] != bytes((0xFF, _START)):
        raise ValueError("no JPEG file: it does not begin as one")
    out = bytearray(data[:2])
    at = 2
    while True:
        marker, begin = _next_marker(data, at)
        if marker == _END:
            return bytes(out + bytes((0xFF, _END)))
        if marker in _ALONE:
            out += data[begin - 2 : begin]
            at = begin
            continue
        after = begin + _length(data, begin)
        if marker == _SCAN:
            after = _end_of_scan(data, after)
        if _belongs(marker, data[begin + 2 : after]):
            out += bytes((0xFF, marker)) + data[begin:after]
        at = after


def is_plain(data: bytes) -> bool:
    """Tell whether a JPEG file says no more than the picture, and is whole."""
    try:
        return without_metadata(data) == data
    except ValueError:
        return False


def _belongs(marker: int, content: bytes) -> bool:
    if marker == _COMMENT:
        return False
    if not 0xE0 <= marker <= 0xEF:
        return True
    if marker == 0xE0:
        return content.startswith(_JFIF)  # an extension of it may hold another picture
    if marker == 0xE2:
        return content.startswith(_PROFILE)  # cameras keep other pictures and places under the same mark
    return marker in _KEPT_APPS


def _next_marker(data: bytes, at: int) -> tuple[int, int]:
    """Return the marker at a place, and where what follows it begins."""
    if at >= len(data) or data[at] != 0xFF:
        raise ValueError("a JPEG file that breaks off, or is damaged")
    while at < len(data) and data[at] == 0xFF:
        at += 1
    if at >= len(data):
        raise ValueError("a JPEG file that breaks off")
    return data[at], at + 1


def _length(data: bytes, begin: int) -> int:
    length = int.from_bytes(data[begin : begin + 2], "big")
    if length < 2 or begin + length > len(data):
        raise ValueError("a JPEG file that breaks off, or is damaged")
    return length


def _end_of_scan(data: bytes, at: int) -> int:
    """Return where the marker behind the coded picture begins: a byte FF in it is followed by 00, or is a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise ValueError("a JPEG file that breaks off")
        follows = data[at + 1]
        if follows == 0xFF:  # filling
            at += 1
        elif follows == 0 or follows in _ALONE:
            at += 2
        else:
            return at
