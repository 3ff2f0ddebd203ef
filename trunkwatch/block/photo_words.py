"""Photos in words."""

from trunkwatch.block.photos import VinePhoto
from trunkwatch.vineyard import codes

__all__ = ["photo_words"]


def photo_words(photo: VinePhoto) -> str:
    """Say of a photo what it shows, when and by whom it was taken, and its caption."""
    what = (
        f"photo of {codes.PHOTO_SHOWS[photo.shows].partition(',')[0]}"
        if photo.shows in ("vine", "cut_face", "part")
        else "photo"
    )
    taken = photo.taken_at.replace("T", " ")[:16]
    when = f", taken {taken}" if taken else ""
    who = f" by {photo.observer}" if photo.observer else ""
    return f"{what}{when}{who}" + (f": {photo.caption}" if photo.caption else "")
