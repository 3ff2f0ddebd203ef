"""The few photos that stand in a report and on a map: small, newest first, and how many there are beside them."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass

from trunkwatch.block import BlockSeason
from trunkwatch.block.photo_words import photo_words
from trunkwatch.block.photos import PlacedPhoto, VinePhoto, placed_photos, small_photos
from trunkwatch.store import Store

__all__ = ["MOST_ON_MAP", "MOST_SHOWN", "ShownPhoto", "ShownPhotos", "photos_of_map", "photos_of_report"]

#: Photos in a report and on a map: at 5 to 20 kB each, 25 kB at most, they add no more than 0.15 and 0.3 MB.
MOST_SHOWN, MOST_ON_MAP, MOST_SMALL = 6, 12, 18_000


@dataclass(frozen=True, slots=True)
class ShownPhoto:
    """A small picture as the address of an image, and what is said of it."""

    source: str
    where: str
    text: str


@dataclass(frozen=True, slots=True)
class ShownPhotos:
    """The photos of a report, and how many there are in all."""

    photos: tuple[ShownPhoto, ...] = ()
    many: int = 0


def photos_of_report(store: Store, season: BlockSeason) -> ShownPhotos:
    """Return the newest photos of a block up to the end of a season."""
    placed = _newest(store, season)
    small = _small(store, placed[:MOST_SHOWN])
    return ShownPhotos(
        tuple(
            ShownPhoto(small[one.link.sha256], f"row {one.row}, position {one.position}", _text(one))
            for one in placed[:MOST_SHOWN]
            if one.link.sha256 in small
        ),
        len(placed),
    )


def photos_of_map(store: Store, season: BlockSeason) -> dict[str, list[tuple[str, str]]]:
    """Return what is said of every photo of a block, by the id of its record, and the newest as small pictures."""
    placed = _newest(store, season)
    small = _small(store, placed[:MOST_ON_MAP])
    found: dict[str, list[tuple[str, str]]] = {}
    for one in placed:
        found.setdefault(one.record, []).append((_text(one), small.get(one.link.sha256, "")))
    return found


def _newest(store: Store, season: BlockSeason) -> list[PlacedPhoto]:
    placed = [one for one in placed_photos(store, season.history.block) if one.date <= season.as_of]
    return sorted(placed, key=lambda one: (one.date, one.link.photo["taken_at"], one.link.sha256), reverse=True)


def _small(store: Store, placed: list[PlacedPhoto]) -> Mapping[str, str]:
    made = small_photos(store, [one.link for one in placed])
    return {
        mark: f"data:image/jpeg;base64,{base64.b64encode(data).decode()}"
        for mark, data in made.items()
        if len(data) <= MOST_SMALL
    }


def _text(one: PlacedPhoto) -> str:
    return f"{one.date}, {photo_words(VinePhoto.of(one.link))}"
