"""Which finding or work a photo belongs to, through all corrections of either."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trunkwatch.vineyard.records import earlier_id, roots_of, standing
from trunkwatch.vineyard.tables import records_of

__all__ = ["PhotoLink", "photo_links"]


@dataclass(frozen=True, slots=True)
class PhotoLink:
    """A photo that stands, and the record that it belongs to.

    Attributes
    ----------
    photo : dict
        Its record.
    table : str
        Table of the record that it belongs to; empty where there is no such record.
    root : str
        Id of the first version of that record.
    versions : tuple of str
        Ids of all its versions.
    """

    photo: dict[str, Any]
    table: str
    root: str
    versions: tuple[str, ...]

    @property
    def sha256(self) -> str:
        """The mark of its bytes."""
        return str(self.photo["sha256"])


def photo_links(photos: pd.DataFrame, frames: Mapping[str, pd.DataFrame]) -> list[PhotoLink]:
    """Find the record of every photo that stands, with its record; the same picture of one record counts once.

    A photo of a record that was taken back is taken back with it, and stands again when the record does.

    A record gets another id when its vineyard is given a name: it is found by the one that it had before, too.

    Parameters
    ----------
    photos : DataFrame
        All versions of the photos.
    frames : mapping of table name to DataFrame
        All versions of findings and work, as they are kept.
    """
    if photos.empty:
        return []
    found: dict[str, tuple[str, str]] = {}
    families: dict[tuple[str, str], list[str]] = {}
    stands: set[tuple[str, str]] = set()
    for table, frame in frames.items():
        roots = roots_of(frame)
        stands.update((table, roots.get(name, name)) for name in standing(frame)["id"].tolist())
        for name in frame["id"].tolist():
            root = roots.get(name, name)
            found[name] = table, root
            families.setdefault((table, root), []).append(name)
    every = records_of(standing(photos))
    if any(photo["record"] not in found for photo in every):
        for table, frame in frames.items():
            roots = roots_of(frame)
            for record in records_of(frame):
                found.setdefault(
                    earlier_id(table, {**record, "id": ""}), (table, roots.get(record["id"], record["id"]))
                )
    links: dict[tuple[str, str, str], PhotoLink] = {}
    for photo in every:
        table, root = found.get(photo["record"], ("", str(photo["record"])))
        if table and (table, root) not in stands:
            continue
        link = PhotoLink(photo, table, root, tuple(families.get((table, root), ())))
        links.setdefault((table, root, link.sha256), link)
    return list(links.values())
