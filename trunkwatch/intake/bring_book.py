"""A whole workbook into a vineyard: understood first, taken once its words have meanings."""

import re
import shlex
import shutil
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from html import unescape
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.block.whole_folder import read_whole_folder
from trunkwatch.errors import FileError, RecordError, TrunkwatchError
from trunkwatch.intake.add import Added, add_frames
from trunkwatch.intake.bring import brought_by, of_the_vineyard, ready, rows_there
from trunkwatch.intake.start import check_name
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.book.gather import book_plan
from trunkwatch.spreadsheets.book.kept import Kept
from trunkwatch.spreadsheets.book.made import Made, made_of
from trunkwatch.spreadsheets.book.mapping_file import differs, mapping_text, read_mapping
from trunkwatch.spreadsheets.book.pages import Page, read_pages
from trunkwatch.spreadsheets.book.plan import BlockFacts, BookPlan, Choice
from trunkwatch.spreadsheets.folder import files_in, table_of_file
from trunkwatch.spreadsheets.located import Known
from trunkwatch.spreadsheets.one_step import replace_file
from trunkwatch.spreadsheets.worksheet import refuse_packed
from trunkwatch.store import Store
from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.calendar import hemisphere_is_known, hemisphere_of
from trunkwatch.vineyard.records import now_text, standing
from trunkwatch.vineyard.row_layout import runs_other_way
from trunkwatch.vineyard.rows_on_day import ordered_rows
from trunkwatch.vineyard.tables import records_of

__all__ = [
    "Understood", "draft_book", "is_book", "is_changed", "kept_answers", "kept_place", "mapping_place", "take_book",
    "understand_book", "write_mapping",
]  # fmt: skip

#: Seconds that reading a whole workbook may take: long enough for 200,000 lines on a slow machine.
MOST_SECONDS = 90.0
#: The part of a workbook that names its sheets is no longer.
_MOST_NAMES = 1_000_000
_SHEET = re.compile(r'<(?:\w+:)?sheet\s[^<>]*?name="([^"<>]*)"')
_BOOKS = (".xlsx", ".xlsm", ".ods", ".csv", ".xls", ".xlsb", ".numbers")


@dataclass(frozen=True, slots=True)
class Understood:
    """What was understood of a workbook, what would come of it, and the mapping that it was read by."""

    plan: BookPlan
    made: Made
    kept: Kept

    @property
    def stopping(self) -> int:
        """How many causes of faults stand in the way."""
        return sum(cause.stops for cause in (*self.plan.causes, *self.made.causes))


def is_book(path: Path) -> bool:
    """Tell whether a file is a workbook of a grower's own: neither its name nor that of a sheet is one of our tables."""
    if not path.is_file() or path.suffix.casefold() not in _BOOKS or table_of_file(path.stem):
        return False
    if path.suffix.casefold() not in (".xlsx", ".xlsm"):
        return True
    return not any(table_of_file(name) for name in _sheet_names(path))


def _sheet_names(path: Path) -> list[str]:
    """Return the names of the sheets of a workbook, without reading the sheets."""
    refuse_packed(path)
    try:
        with zipfile.ZipFile(path) as packed:
            raw = packed.read("xl/workbook.xml")[:_MOST_NAMES].decode("utf-8", errors="replace")
    except (KeyError, zipfile.BadZipFile, OSError) as error:
        raise FileError(
            f"{path.name} cannot be read as a workbook (damaged, or something else renamed): {error}"
        ) from error
    return [unescape(name) for name in _SHEET.findall(raw)]


def mapping_place(vineyard: Path) -> Path:
    """Return where the mapping file is written that a person looks over: in the folder of a vineyard, or beside it."""
    return vineyard / "book.mapping.toml" if vineyard.is_dir() else vineyard.with_name(f"{vineyard.name}.mapping.toml")


def kept_place(vineyard: Path) -> Path:
    """Return where the mapping is kept by which workbooks were taken: in the folder of a vineyard, or beside its file.

    Beside a file and not inside it: a mapping is text that a person edits, and no record; whoever copies the file
    alone has every record, and can make the mapping anew.
    """
    return vineyard / "book.kept.toml" if vineyard.is_dir() else vineyard.with_name(f"{vineyard.name}.kept.toml")


def kept_answers(vineyard: Path) -> Kept:
    """Return the mapping by which workbooks were taken into a vineyard; an empty one where none was."""
    place = kept_place(vineyard)
    return read_mapping(place) if place.is_file() else Kept()


def understand_book(
    vineyard: Path,
    path: Path,
    mapping: Path | None = None,
    *,
    answers: Kept | None = None,
    name: str = "",
    hemisphere: str = "",
) -> Understood:
    """Read a workbook and tell what it says, before anything is taken.

    Parameters
    ----------
    vineyard, path : Path
        Where to, and the workbook.
    mapping : Path, optional
        Mapping file; that by which workbooks were taken before where left out, if there is one.
    answers : Kept, optional
        What a mapping file would say, where there is none to read.
    name : str
        What the workbook is called, where its file has another name.
    hemisphere : str
        Where the vineyard lies, as it was said of the whole; goes before what the workbook makes likely.

    Raises
    ------
    FileError, RecordError
        If the workbook or the mapping cannot be read, or the mapping says what cannot be.
    """
    if not vineyard.exists() and vineyard.suffix.casefold() != ".gpkg":
        check_name(vineyard)
    kept = answers if answers is not None else read_mapping(mapping) if mapping else kept_answers(vineyard)
    pages = apart(read_pages, path, seconds=MOST_SECONDS)
    if name:
        pages = [_called(page, path, Path(name)) for page in pages]
    known, names = rows_there(vineyard)
    there, turned = _blocks_there(vineyard, names)
    plan = book_plan(Path(name) if name else path, pages, kept, _of_blocks(known, there), list(there))
    if hemisphere:
        facts = (_lies(block, hemisphere) if block.hemisphere.sure == "proposed" else block for block in plan.blocks)
        plan = replace(plan, blocks=tuple(facts))
    owner = names.vineyards[0] if len(names.vineyards) == 1 else vineyard.resolve().stem if not names.vineyards else ""
    return Understood(plan, made_of(plan, _of_blocks(known, there), there, owner, turned), kept)


def _called(page: Page, path: Path, name: Path) -> Page:
    """Call a sheet by the name that its workbook has for its owner."""
    own = name.stem if page.name == path.stem else page.name
    return replace(page, file=page.file.replace(path.name, name.name, 1), name=own)


def _lies(block: BlockFacts, hemisphere: str) -> BlockFacts:
    return replace(block, hemisphere=Choice(hemisphere, "said", "as it was said of the vineyard"))


def is_changed(place: Path, understood: Understood) -> bool:
    """Tell whether a mapping file says anything otherwise than what was understood without it."""
    return differs(read_mapping(place).raw, understood.plan, understood.kept)


def _of_blocks(known: Known, there: Mapping[str, str]) -> Known:
    """Return the rows under the names that blocks have outside."""
    return {pair: extent for pair, extent in known.items() if pair[0] in there}


def _blocks_there(vineyard: Path, names: BlockNames) -> tuple[dict[str, str], set[tuple[str, str]]]:
    """Return the blocks of a vineyard by the name that people use, each with its hemisphere, and the rows that are numbered from the far end."""
    if vineyard.is_dir() and files_in(vineyard):
        frames = read_whole_folder(vineyard).frames
        blocks, rows = frames["blocks"], frames["rows"]
    elif vineyard.is_file():
        with Store.open(vineyard) as store:
            blocks, rows = store.stored("blocks"), store.stored("rows")
    else:
        return {}, set()
    there: dict[str, str] = {}
    turned: set[tuple[str, str]] = set()
    lines: dict[str, list[dict[str, Any]]] = {}
    for record in records_of(standing(rows)):
        block = names.of_name(str(record["vineyard"]), str(record["block"]))
        if block is not None and not record["valid_to"]:
            lines.setdefault(names.outside(block), []).append(record)
    for record in records_of(standing(blocks)):
        block = names.of_name(str(record["vineyard"]), str(record["block"]))
        if block is None:
            continue
        label = names.outside(block)
        there[label] = hemisphere_of(record) if hemisphere_is_known(record) else "north"
        try:
            ordered = ordered_rows(label, lines.get(label, []))
        except RecordError:  # `check` names it; the arms of such rows are as on any other
            continue
        other_way = runs_other_way(ordered, str(record["numbering"]))
        turned |= {(label, str(row["row"])) for row, other in zip(ordered, other_way, strict=True) if other}
    return there, turned


def write_mapping(place: Path, understood: Understood, vineyard: Path, path: Path) -> Path:
    """Write the mapping file: what was understood, what was said of it, and what was said before of other workbooks.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    command = shlex.join(["trunkwatch", "load", str(vineyard), str(path), "--mapping", str(place)])
    try:
        replace_file(place, mapping_text(understood.plan, understood.kept, command).encode())
    except OSError as error:
        raise FileError(f"{place} cannot be written: {error.strerror or error}") from error
    return place


def take_book(
    vineyard: Path, understood: Understood, *, take_changes: bool = False, keep_good: bool = False, device: str = ""
) -> Added:
    """Take a workbook whose words all have a meaning.

    Parameters
    ----------
    vineyard : Path
        Where to; made where it is not there.
    understood : Understood
        What was understood of it.
    take_changes, keep_good : bool
        As in `add_frames`; with `keep_good` lines at fault are left out.
    device : str
        Who brings it, as in `bring_files`.

    Raises
    ------
    RecordError
        If something waits for an answer, faults stand in the way, or there is nothing to take.
    FaultyNotesError
        If a record does not fit what is there.
    """
    if understood.plan.asked:
        about, _ = understood.plan.asked[0]
        raise RecordError(
            f"{understood.plan.file}: {len(understood.plan.asked):,} answer(s) are missing, the first for {about}"
        )
    if understood.stopping and not keep_good:
        raise RecordError(
            f"{understood.plan.file}: {understood.stopping} kind(s) of fault stand in the way; nothing was imported"
        )
    if not _says_anything(understood):
        raise RecordError(f"{understood.plan.file}: nothing to take; no sheet says anything of a vine")
    new = not vineyard.exists()
    frames = _frames_for(vineyard, understood)
    ready(vineyard)
    try:
        added = add_frames(vineyard, brought_by(frames, device), take_changes=take_changes, keep_good=keep_good)
    except TrunkwatchError:
        if new:
            _unmake(vineyard)
        raise
    return replace(added, lines=None)


def draft_book(copy: Path, understood: Understood, *, rows_only: bool = False) -> None:
    """Add what is understood so far to a copy of the vineyard, to be drawn: lines at fault and words without a meaning are left out.

    Parameters
    ----------
    copy : Path
        The copy.
    understood : Understood
        What was understood.
    rows_only : bool
        Whether blocks and rows are added alone, without what was seen on the vines.

    Raises
    ------
    TrunkwatchError
        If nothing of it can be added.
    """
    frames = _frames_for(copy, understood)
    if rows_only:
        frames = {name: frame for name, frame in frames.items() if name in ("blocks", "rows")}
    if frames:
        add_frames(copy, frames, keep_good=True)


def _says_anything(understood: Understood) -> bool:
    return any(name in understood.made.frames for name in ("surveys", "symptoms", "plants", "work"))


def _frames_for(vineyard: Path, understood: Understood) -> dict[str, pd.DataFrame]:
    """Return the records of a workbook; blocks that it makes go to the vineyard that is there."""
    frames = dict(understood.made.frames)
    if "blocks" not in frames:
        return frames
    _, names = rows_there(vineyard)
    # When it was started tells a block from those of the same name in other vineyards.
    blocks = frames["blocks"].assign(recorded_at=now_text())
    frames["blocks"] = of_the_vineyard(blocks, names) if names.vineyards else blocks
    if names.vineyards and "rows" in frames:
        owners = dict(zip(frames["blocks"]["block"], frames["blocks"]["vineyard"], strict=True))
        frames["rows"] = frames["rows"].assign(vineyard=[owners.get(label, "") for label in frames["rows"]["block"]])
    return frames


def _unmake(vineyard: Path) -> None:
    """Take away a vineyard that was made for a workbook of which nothing could be taken."""
    if vineyard.is_dir():
        if not any(path.suffix.casefold() in (".csv", ".xlsx") for path in vineyard.iterdir()):
            shutil.rmtree(vineyard)
    else:
        vineyard.unlink(missing_ok=True)
