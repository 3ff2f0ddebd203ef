"""Hand-overs of phones: of which block they are, which phone signed them, and whether that is to be believed."""

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from trunkwatch.access.phones import Phone, phones_of
from trunkwatch.access.signature import SIGNED_BY, literal_json, signature, signed_bytes
from trunkwatch.errors import HandoverError
from trunkwatch.spreadsheets.handover import damaged, handover_frames, handover_photos, handover_text
from trunkwatch.store import Store
from trunkwatch.vineyard.block_names import Block, BlockNames
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import record_id

__all__ = ["BlockMark", "Handover", "block_mark", "bound_frames", "phone_of", "read_sealed", "sealed"]


@dataclass(frozen=True, slots=True)
class BlockMark:
    """What tells a block from every other, of other vineyards too.

    Attributes
    ----------
    root : str
        Id of its first record: made from its first label and the first name of its vineyard.
    began : str
        When that record was written; empty where nobody wrote it down.
    """

    root: str
    began: str = ""


@dataclass(frozen=True, slots=True)
class Handover:
    """What a phone hands over.

    Attributes
    ----------
    name : str
        Of the file, for messages.
    frames : dict of table name to DataFrame
        Records without fault.
    faults : list of Fault
        What is wrong with the others.
    mark : BlockMark or None
        Of the block; None where the page was older than marks are.
    block, vineyard : str
        As the page called them.
    phone, signature : str
        Id of the phone and its signature; empty where it is not signed.
    signed : bytes
        What was signed.
    photos : mapping of str to bytes
        Bytes of photos, by the SHA-256 that is said of them.
    """

    name: str
    frames: dict[str, pd.DataFrame]
    faults: list[Fault]
    mark: BlockMark | None
    block: str
    vineyard: str
    phone: str
    signature: str
    signed: bytes
    photos: Mapping[str, bytes] = field(default_factory=dict, repr=False)


def block_mark(store: Store, block: str) -> BlockMark:
    """Return the mark of a block.

    Parameters
    ----------
    store : Store
        The vineyard.
    block : str
        Its name.

    Raises
    ------
    UnknownBlockError
        If there is none of that name.
    """
    return _mark(store.names().find(block), store.stored("blocks"))


def _mark(block: Block, blocks: pd.DataFrame) -> BlockMark:
    first = blocks[blocks["id"] == block.root]["recorded_at"].tolist()
    return BlockMark(block.root, str(first[0]) if first else "")


def read_sealed(path: Path) -> Handover:
    """Read a hand-over file.

    Raises
    ------
    FileError
        If it is too large, damaged, or something else.
    """
    return sealed(handover_text(path), path.name)


def sealed(text: str, name: str) -> Handover:
    """Read the text of a hand-over.

    Raises
    ------
    FileError
        If it is damaged, or something else.
    """
    try:
        told, literal = json.loads(text), literal_json(text)
        frames, faults = handover_frames(told, name)
        raw = signed_bytes(literal)
    except (ValueError, RecursionError) as error:
        raise damaged(name) from error
    cells = {
        key: told.get(key, "") for key in ("block_root", "block_began", "block", "vineyard_name", "phone", SIGNED_BY)
    }
    if not all(isinstance(cell, str) for cell in cells.values()):
        raise damaged(name)
    bound = told["trunkwatch_handover"] > 1
    if bound and not cells["block_root"]:
        raise damaged(name)
    mark = BlockMark(cells["block_root"], cells["block_began"]) if bound else None
    return Handover(
        name,
        frames,
        faults,
        mark,
        cells["block"],
        cells["vineyard_name"],
        cells["phone"],
        cells[SIGNED_BY],
        raw,
        handover_photos(told),
    )


def phone_of(vineyard: Path, handover: Handover, *, unsigned: bool = False) -> Phone | None:
    """Return the phone that signed a hand-over; None where none did and that is allowed.

    Where no phone was ever paired nothing can be checked, and nothing is asked for.

    Parameters
    ----------
    vineyard : Path
        The vineyard with which phones are paired.
    handover : Handover
        As `read_sealed` returns it.
    unsigned : bool
        Take it though no phone of this vineyard signed it. A wrong signature, or one of a phone that was stopped, is
        refused all the same.

    Raises
    ------
    HandoverError
        If it is not to be believed.
    """
    phones = phones_of(vineyard)
    if not phones:
        return None
    name = handover.name
    phone = next((one for one in phones if one.id == handover.phone), None) if handover.phone else None
    if phone is None:
        if unsigned:
            return None
        why = (
            f"is signed by a phone ({handover.phone[:20]!r}) that was never paired with {vineyard.name}"
            if handover.phone
            else "is not signed, and phones are paired here"
        )
        raise HandoverError(
            f"{name} {why}. Send from a paired phone; if you know where it comes from, "
            "`trunkwatch load --unsigned` or the tick on the import page takes it"
        )
    if not phone.lives:
        raise HandoverError(
            f"{name} is signed by {phone.device!r}, which was stopped on {phone.stopped[:10]}: none of it was imported. "
            "Pair the phone anew at the desk, and send from the new page"
        )
    if not secrets.compare_digest(
        signature(phone.secret, handover.signed), handover.signature.encode("ascii", "replace").decode()
    ):
        raise HandoverError(
            f"{name} says that it is of {phone.device!r}, and its signature is wrong: it was changed on the way, "
            "or somebody else wrote it. None of it was imported; send again on the phone"
        )
    return phone


def bound_frames(handover: Handover, blocks: pd.DataFrame, phone: Phone | None = None) -> Mapping[str, pd.DataFrame]:
    """Return the records of a hand-over under the name that its block has today.

    Parameters
    ----------
    handover : Handover
        As `read_sealed` returns it.
    blocks : DataFrame
        Every version of every block of the vineyard.
    phone : Phone, optional
        Which signed it: its name stands in the column `device`, whatever the file says.

    Raises
    ------
    HandoverError
        If it is of another vineyard, of a block that was taken back, or a record is of another block.
    """
    frames = dict(handover.frames)
    if phone is not None:
        frames = {table: frame.assign(device=phone.device) for table, frame in frames.items()}
    if handover.mark is None:
        return frames
    block = _block_meant(handover, handover.mark, blocks)
    labels = {label for _, label in block.names} | {f"{owner}/{label}" for owner, label in block.names}
    owners = {owner for owner, _ in block.names} | {"", handover.vineyard}
    for table, frame in frames.items():
        for owner, label in zip(frame["vineyard"], frame["block"], strict=True):
            if label not in labels or owner not in owners:
                raise HandoverError(
                    f"{handover.name} is of block {handover.block!r}, and a record in its {table} is of block "
                    f"{'/'.join(part for part in (owner, label) if part)[:60]!r}: nothing was imported; send again on the phone"
                )
        frames[table] = frame.assign(vineyard=block.vineyard, block=block.label)
    return frames


def _block_meant(handover: Handover, mark: BlockMark, blocks: pd.DataFrame) -> Block:
    names = BlockNames(blocks)
    called = "/".join(part for part in (handover.vineyard, handover.block) if part)[:60]
    block = next((one for one in names.every if one.root == mark.root), None) or _named_since(
        handover, mark, names, blocks
    )
    if block is None:
        raise HandoverError(
            f"{handover.name} is of another vineyard: its block {called!r} is none of the blocks here "
            f"({', '.join(names.labels[:12]) or 'there are none'}). Load it into the vineyard whose page it was written with"
        )
    own = _mark(block, blocks)
    if mark.began and own.began and mark.began != own.began:
        raise HandoverError(
            f"{handover.name} is of another vineyard: its block {called!r} was started on {mark.began[:19]}, "
            f"the one of that name here on {own.began[:19]}. Load it into the vineyard whose page it was written with"
        )
    if not block.stands:
        raise HandoverError(
            f"{handover.name} is of block {called!r}, which was taken back here; `trunkwatch rename --bring-back` lets it stand again"
        )
    return block


def _named_since(handover: Handover, mark: BlockMark, names: BlockNames, blocks: pd.DataFrame) -> Block | None:
    """Return the block of a vineyard that had no name when the page was written: with the name its first record got another id.

    Without the moment at which it was started nothing would tell it from another vineyard's.
    """
    if handover.vineyard or not mark.began:
        return None
    return next(
        (
            block
            for block in names.every
            if _mark(block, blocks).began == mark.began
            and any(record_id("blocks", {"block": label}) == mark.root for _, label in block.names)
        ),
        None,
    )
