"""Photos for tests: drawn, never taken; with and without what a camera writes into them."""

import io

import numpy as np
from PIL import Image

GPS = {1: "N", 2: (45.0, 30.0, 0.0), 3: "E", 4: (7.0, 15.0, 0.0)}
DETAILS, PLACE, ORIENTATION = 0x8769, 0x8825, 0x0112


def drawn(number: int = 1, width: int = 80, height: int = 60) -> Image.Image:
    """Return a picture of its own for every number."""
    cells = np.random.default_rng(number).integers(0, 255, (6, 8, 3), dtype=np.uint8)
    return Image.fromarray(cells).resize((width, height), Image.Resampling.NEAREST)


def jpeg(number: int = 1, width: int = 80, height: int = 60, **more) -> bytes:
    """Return a JPEG file."""
    out = io.BytesIO()
    drawn(number, width, height).save(out, "JPEG", quality=90, **more)
    return out.getvalue()


def as_of_a_camera(number: int = 1, width: int = 80, height: int = 60) -> bytes:
    """Return a JPEG file lying on its side, with place, time, camera and a comment in it."""
    exif = Image.Exif()
    exif[PLACE], exif[DETAILS] = GPS, {0x9003: "2026:02:03 10:11:12"}
    exif[ORIENTATION], exif[0x010F] = 6, "MAKER OF CAMERAS"
    return jpeg(number, width, height, exif=exif, comment=b"A COMMENT")


def place_in(data: bytes) -> dict:
    """Return what a photo says of its place."""
    with Image.open(io.BytesIO(data)) as image:
        return dict(image.getexif().get_ifd(PLACE))
