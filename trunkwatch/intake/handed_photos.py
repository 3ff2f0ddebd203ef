"""Photos that a phone hands over with its records: each is looked at by itself, and none keeps a record out."""

import hashlib
import tempfile
from dataclasses import replace
from pathlib import Path

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.photos import photo_bytes
from trunkwatch.errors import FileError
from trunkwatch.intake.handed_over import Handover
from trunkwatch.spreadsheets.photo import MOST_KEPT, read_photo
from trunkwatch.spreadsheets.photo_folder import keep_in_folder
from trunkwatch.store import Store
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import standing

__all__ = ["keep_handed_photos"]


def keep_handed_photos(vineyard: Path, handover: Handover) -> tuple[Handover, list[Fault]]:
    """Keep the bytes of the photos of a hand-over that is believed; leave out the records of those that cannot be.

    Parameters
    ----------
    vineyard : Path
        Folder or file.
    handover : Handover
        As `read_sealed` returns it.

    Returns
    -------
    handover : Handover
        With the records of photos that are kept.
    refused : list of Fault
        A note for each of the others.

    Raises
    ------
    FileError
        If the vineyard cannot be written to.
    """
    photos = handover.frames.get("photos")
    if photos is None:
        return handover, []
    with open_vineyard(vineyard, keep_good=True) as store:
        known = set(standing(store.stored("photos"))["sha256"])
        there = {mark for mark in known if photo_bytes(vineyard, store, mark) is not None}
    sound: list[bytes] = []
    why: dict[str, str] = {}
    for mark in dict.fromkeys(photos["sha256"].tolist()):
        if mark not in there and (wrong := _wrong(mark, handover.photos.get(mark))):
            why[mark] = wrong
        elif mark not in there:
            sound.append(handover.photos[mark])
    _keep(vineyard, sound)
    refused = [
        Fault(
            "note",
            f"{handover.name}: a photo was not taken, its record was: {text}",
            handover.name,
            value=mark[:12],
            lines=0,
        )
        for mark, text in why.items()
    ]
    kept = photos[~photos["sha256"].isin(list(why))].reset_index(drop=True)
    frames = {table: frame for table, frame in handover.frames.items() if table != "photos"}
    return replace(handover, frames={**frames, "photos": kept} if len(kept) else frames), refused


def _wrong(mark: str, data: bytes | None) -> str:
    """Say what is wrong with a photo; empty where it is one, of no more than the picture, and what it was on the phone."""
    if data is None:
        return "its picture is not in the file"
    if len(data) > MOST_KEPT:
        return f"it has {len(data) / 1e6:.1f} MB, a photo of a phone has {MOST_KEPT / 1e6:.1f} at most"
    if hashlib.sha256(data).hexdigest() != mark:
        return "it was damaged on the way"
    with tempfile.TemporaryDirectory(prefix="trunkwatch-photo-") as folder:
        path = Path(folder) / "the photo"
        path.write_bytes(data)
        try:
            read = read_photo(path)
        except FileError as error:
            return str(error)
    return (
        "" if read.data == data else "it is larger than the page of the phone makes them, or says more than the picture"
    )


def _keep(vineyard: Path, sound: list[bytes]) -> None:
    if vineyard.is_dir():
        for data in sound:
            keep_in_folder(vineyard, data)
    elif sound:
        with Store.writing(vineyard) as store, store.transaction():
            store.keep_photo_files(sound)
