"""A photo that comes in: told by its first bytes, decoded in a process of its own, scaled, and rid of what tells a place."""

import datetime as dt
import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.jpeg_parts import is_plain

if TYPE_CHECKING:
    import PIL.Image

__all__ = ["LONGEST_SIDE", "MOST_BYTES", "MOST_KEPT", "Photo", "kind_of", "read_photo", "small_photo"]

#: Bytes and pixels that a photo may have when it comes in.
MOST_BYTES, MOST_PIXELS = 25_000_000, 120_000_000
#: Pixels of the longest side as it is kept, and how well: 200 to 500 kB a photo.
LONGEST_SIDE, QUALITY = 1600, 82
#: Bytes of a photo that is kept as it comes, where it says no more than the picture; none that is kept is larger.
MOST_KEPT = 1_500_000
#: Kind -> the bytes that it begins with, and those from the ninth on.
_KINDS = {"JPEG": (b"\xff\xd8\xff", b""), "PNG": (b"\x89PNG\r\n\x1a\n", b""), "WEBP": (b"RIFF", b"WEBP")}
_TAKEN, _WRITTEN, _DETAILS, _PLACE = 0x9003, 0x0132, 0x8769, 0x8825


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as it is kept.

    Attributes
    ----------
    data : bytes
        A JPEG file.
    width, height : int
        In pixels.
    taken_at : str
        When it was taken by the camera's clock, ISO date and time; empty where the file does not tell.
    """

    data: bytes = field(repr=False)
    width: int
    height: int
    taken_at: str = ""


def kind_of(head: bytes) -> str | None:
    """Return the kind of a picture by its first twelve bytes: JPEG, PNG or WEBP; None of anything else."""
    for kind, (begin, later) in _KINDS.items():
        if head.startswith(begin) and head[8 : 8 + len(later)] == later:
            return kind
    return None


def read_photo(path: Path, *, keep_place: bool = False) -> Photo:
    """Read a photo in a process of its own, with limits on its time and memory.

    Parameters
    ----------
    path : Path
        A JPEG, PNG or WebP file; its name says nothing.
    keep_place : bool
        Keep the place that the camera has written into it.

    Raises
    ------
    FileError
        If it is not there, is none of these, too large, or damaged.
    """
    if not path.is_file():
        raise FileError(f"no photo {str(path)!r}")
    if (size := path.stat().st_size) > MOST_BYTES:
        raise FileError(
            f"{path.name} has {size / 1e6:.0f} MB, a photo may have {MOST_BYTES / 1e6:.0f}: save it smaller"
        )
    return apart(_read, path, keep_place=keep_place)


def _read(path: Path, *, keep_place: bool) -> Photo:
    import PIL.Image

    raw = path.read_bytes()
    kind = kind_of(raw[:16])
    if kind is None:
        raise FileError(f"{path.name} is no JPEG, PNG or WebP file by its first bytes: save the photo as JPEG")
    try:
        return _decoded(raw, kind, path.name, keep_place=keep_place)
    except (
        OSError,
        ValueError,
        SyntaxError,
        KeyError,
        TypeError,
        ArithmeticError,
        PIL.Image.DecompressionBombError,
    ) as error:
        raise FileError(
            f"{path.name} is damaged, and is no photo that can be read ({error}): take it from the camera again"
        ) from error


def _decoded(raw: bytes, kind: str, name: str, *, keep_place: bool) -> Photo:
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = MOST_PIXELS
    with Image.open(io.BytesIO(raw), formats=[kind]) as image:
        if image.width * image.height > MOST_PIXELS:
            raise FileError(
                f"{name} has {image.width} x {image.height} pixels, more than {MOST_PIXELS // 1_000_000} million: save it smaller"
            )
        exif = image.getexif()
        taken = _moment(str(exif.get_ifd(_DETAILS).get(_TAKEN) or exif.get(_WRITTEN) or ""))
        if kind == "JPEG" and max(image.size) <= LONGEST_SIDE and len(raw) <= MOST_KEPT and is_plain(raw):
            image.load()  # all of it can be decoded
            return Photo(raw, image.width, image.height, taken)
        image.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))
        upright = ImageOps.exif_transpose(image)
        shown = _on_white(upright)
        shown.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
        more: dict[str, Any] = {}
        if keep_place and (place := exif.get_ifd(_PLACE)):
            kept = Image.Exif()
            kept[_PLACE] = dict(place)
            more["exif"] = kept.tobytes()
        if image.mode in ("RGB", "L") and (profile := image.info.get("icc_profile")):
            more["icc_profile"] = profile
        out = io.BytesIO()
        shown.info.clear()  # a comment in it would be written along
        shown.save(out, "JPEG", quality=QUALITY, optimize=True, **more)
    return Photo(out.getvalue(), shown.width, shown.height, taken)


def _on_white(image: "PIL.Image.Image") -> "PIL.Image.Image":
    """Return a picture in red, green and blue; what can be seen through is white."""
    from PIL import Image

    if "A" in image.getbands() or "transparency" in image.info:
        layer = image.convert("RGBA")
        ground = Image.new("RGBA", layer.size, (255, 255, 255, 255))
        ground.alpha_composite(layer)
        return ground.convert("RGB")
    return image.convert("RGB")


def _moment(text: str) -> str:
    """Return a camera's time as an ISO date and time; empty where it is none."""
    try:
        return dt.datetime.strptime(text.strip("\x00 "), "%Y:%m:%d %H:%M:%S").isoformat()  # noqa: DTZ007 - a camera knows no zone
    except ValueError:
        return ""


def small_photo(data: bytes, side: int) -> bytes:
    """Return a photo as a small JPEG file; for a process with limits, for it may be another's.

    Raises
    ------
    FileError
        If it cannot be decoded.
    """
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = MOST_PIXELS
    try:
        with Image.open(io.BytesIO(data), formats=["JPEG"]) as image:
            image.draft("RGB", (side, side))
            small = image.convert("RGB")
            small.thumbnail((side, side), Image.Resampling.LANCZOS)
            out = io.BytesIO()
            small.save(out, "JPEG", quality=70, optimize=True)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise FileError(f"a photo cannot be decoded ({error}): `trunkwatch check` names it") from error
    return out.getvalue()
