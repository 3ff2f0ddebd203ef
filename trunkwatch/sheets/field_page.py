"""The page for a phone in the row: one file that works a whole day without a network."""

import json
import uuid
from collections.abc import Mapping
from hashlib import sha256
from html import escape
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import NamedRow
from trunkwatch.history import BlockHistory, BlockReading, Condition
from trunkwatch.history.plants import plant_after
from trunkwatch.history.written import Work
from trunkwatch.intake.handed_over import BlockMark
from trunkwatch.maps.map_data import script_text
from trunkwatch.maps.scripts import joined
from trunkwatch.sheets.crew_lists import CrewLine, Standing, crew_lines, last_season, without_what_stands_beside
from trunkwatch.sheets.crew_words import part_in, words_in
from trunkwatch.sheets.field_buds import BudFacts
from trunkwatch.sheets.field_ground import ground_of
from trunkwatch.sheets.field_rules import FIRST_SYMPTOMS, field_rules
from trunkwatch.sheets.field_words import LANGUAGES, words_of
from trunkwatch.sheets.second_look import SecondLook
from trunkwatch.spreadsheets.write import replace_file
from trunkwatch.surveys.to_walk import ToWalk
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import season_bounds
from trunkwatch.vineyard.records import NAMESPACE
from trunkwatch.vineyard.spelling import spelled
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["app_texts", "field_data", "field_page", "script_of", "vineyard_id", "write_app_folder"]

#: Modules of all pages that the parts of the script use.
SHARED = ("shared/elements.js", "shared/marks.js", "shared/rules.js")
#: The parts of the script, in the order in which one needs the other: they share names and state, and are one script in the page.
SCRIPTS = (
    "sign.js", "walk.js", "keep.js", "photos.js", "field.js", "start.js", "findings.js", "winter.js", "buds.js", "recheck.js", "place.js", "give.js",
)  # fmt: skip


def vineyard_id(vineyard: str, blocks: tuple[str, ...]) -> str:
    """Return an id of a vineyard that stays the same on every machine: from its name and its blocks."""
    return str(uuid.uuid5(NAMESPACE, "\x1f".join([vineyard, *sorted(blocks)])))


def field_data(
    walk: ToWalk,
    *,
    identity: str,
    look: str,
    language: str,
    mark: BlockMark | None = None,
    pairing: Mapping[str, str] | None = None,
    today: str | None = None,
    standing: Standing | None = None,
    buds: BudFacts | None = None,
    recheck: SecondLook | None = None,
) -> dict[str, Any]:
    """Collect what the page knows of a block.

    Parameters
    ----------
    walk : ToWalk
        The block, its years, the season to be walked.
    identity : str
        Id of the vineyard; the phone keeps its records under it.
    look : {"dormant", "spring", "summer"}
        Which symptoms come first.
    language : {"en", "es"}
        That the page opens in.
    mark : BlockMark, optional
        Of the block: what the page hands over is taken by no other vineyard.
    pairing : mapping, optional
        Id, name and secret of the phone (`phone`, `device`, `secret`), where it is paired: it signs what it hands over.
    today : str, optional
        Day as YYYY-MM-DD: work of a winter that is over by then gives way to that of the next, as in `last_season`.
    standing : Standing, optional
        What stands on the vines, for the walk of the winter's list; with it vines to be looked at again are on the list too.
    buds : BudFacts, optional
        Cultivars and parts of the block, and which of its rows are pruned.
    recheck : SecondLook, optional
        Vines drawn for a blind recheck: the page is for them alone, and holds nothing of what is on record of any vine.

    Raises
    ------
    ValueError
        If there is no such language or look.
    """
    if language not in LANGUAGES or look not in FIRST_SYMPTOMS:
        raise ValueError(
            f"language {language!r}, look {look!r}: one of {', '.join(LANGUAGES)}, {', '.join(FIRST_SYMPTOMS)}"
        )
    reading, history, season = walk.reading, walk.history, walk.season
    block = reading.records.block
    grid = history.grid
    season_from, season_to = season_bounds(season, reading.hemisphere)
    known = _last_known(history, season_to) if recheck is None else _nothing_known(history)
    look = look if recheck is None else recheck.look
    training = str(block.get("training") or "bilateral")
    buds = buds or BudFacts()
    return {
        "vineyard": identity,
        "block": history.block,
        "vineyard_name": str(block.get("vineyard") or ""),
        "season": season,
        "season_from": season_from,
        "season_to": season_to,
        "look": look,
        "language": language,
        "arms": list(codes.ARMS.get(training, codes.ARMS["bilateral"])),
        **field_rules(look),
        "symptoms": [code for code in codes.SYMPTOMS if code not in ("none", "not_seen")] + ["none", "not_seen"],
        "causes": list(codes.CAUSES),
        "shoots": list(codes.RENEWAL_SHOOTS),
        "qualities": list(codes.SHOOT_QUALITIES),
        "patterns": list(codes.PATTERNS),
        "rows": [_row(walk, row, *known, blind=recheck is not None) for row in grid.named],
        "arm_names": _arm_names(reading, training),
        "trunks": 3 if training == "multi_trunk" else 1,
        "work": _planned(reading, last_season(walk, today), standing or Standing()) if recheck is None else [],
        "words": {**(words := words_of()), "en": {key: spelled(text) for key, text in words["en"].items()}},
        "languages": {code: list(told) for code, told in LANGUAGES.items()},
        "buds": {
            "cultivars": list(buds.cultivars),
            "parts": list(buds.parts),
            "pruned": list(buds.pruned),
            "needed": buds.needed,
        },
        "block_root": mark.root if mark else "",
        "block_began": mark.began if mark else "",
        **({"pairing": dict(pairing)} if pairing else {}),
        **({"ground": ground} if (ground := ground_of(walk)) else {}),
        **({"recheck": _drawn(recheck, reading)} if recheck else {}),
    }


def _nothing_known(history: BlockHistory) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Return what a blind recheck may know of the vines: nothing."""
    shape = history.grid.shape
    return np.full(shape, Condition.NOT_SEEN, dtype=np.uint8), np.zeros(shape, dtype=np.int64)


def _drawn(recheck: SecondLook, reading: BlockReading) -> dict[str, Any]:
    """Return the vines of a recheck, and who made the first inspection: that one cannot make the second."""
    first = {look.observer for look in reading.looks if look.season == recheck.season and look.kind == recheck.look}
    return {"look": recheck.look, "vines": [list(vine) for vine in recheck.vines], "first": sorted(first - {""})}


def _last_known(history: BlockHistory, day: str) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Return the condition in which the plant that stands after a day was last found, and in which season: 0 for never."""
    shape = history.grid.shape
    known, season = np.full(shape, Condition.NOT_SEEN, dtype=np.uint8), np.zeros(shape, dtype=np.int64)
    stands = np.zeros(shape, dtype=np.int16)
    for cell, plants in history.reading.plants.items():
        stands[cell] = plant_after(plants, day)
    for year, condition, plant in zip(history.seasons, history.condition, history.plant, strict=True):
        looked = (condition != Condition.NOT_SEEN) & (condition != Condition.NO_POSITION) & (plant == stands)
        known[looked], season[looked] = condition[looked], year
    return known, season


def _arm_names(reading: BlockReading, training: str) -> dict[str, dict[str, str]]:
    """Return the arms by compass in each language; nothing where nobody wrote which way the rows run."""
    bearing = number_or_none(reading.records.block.get("row_bearing_deg"))
    arms = codes.ARMS.get(training, codes.ARMS["bilateral"])
    return (
        {
            language: {arm: part_in(words_in(language), 0, arm, bearing, language=language) for arm in arms}
            for language in LANGUAGES
        }
        if bearing is not None
        else {}
    )


def _planned(reading: BlockReading, through: int, standing: Standing) -> list[dict[str, Any]]:
    """Return the planned work up to a season in walking order, as records that the phone writes back as done or not done.

    What the crew's lists say of a vine stands beside it in every language; a vine to be looked at again that nobody planned
    has a root of its own making, which no record bears.
    """
    listed = {
        language: [
            (name, line)
            for name, found in crew_lines(reading, through=through, standing=standing, language=language).items()
            for line in found
            if not line.done
        ]
        for language in LANGUAGES
    }
    lines = enumerate(listed["en"])
    # By position, whichever end a row is numbered from: the phone turns rows round where they are walked up and down.
    in_order = sorted(lines, key=lambda pair: _as_painted(reading, pair[1][1]))
    return [
        {
            **_piece(reading, line),
            "list": name,
            "told": {
                language: _told(without_what_stands_beside(lines[number][1])) for language, lines in listed.items()
            },
        }
        for number, (name, line) in in_order
    ]


def _as_painted(reading: BlockReading, line: CrewLine) -> tuple[int, int]:
    """Return the number of the row in the block and the position: each row from its start."""
    position = int(line.position)
    return reading.grid.cell(line.row, position)[0], position


def _told(line: CrewLine) -> list[str]:
    """Return what a list says of a vine: part, what was seen, the day of it, shoot, note."""
    return [line.part, line.stands, line.seen, line.shoot, line.note]


def _piece(reading: BlockReading, line: CrewLine) -> dict[str, Any]:
    block = reading.records.block
    if line.work is not None:
        return {"root": line.work.root, "row": _as_record(block, line, line.work)}
    cells = {
        "block": block["block"],
        "vineyard": block.get("vineyard"),
        "row": line.row,
        "position": line.position,
        "kind": "watch",
    }
    return {
        "root": f"again {line.row}:{line.position}",
        "unplanned": True,
        "row": {name: cell for name, cell in cells.items() if cell},
    }


def _as_record(block: Mapping[str, Any], line: CrewLine, work: Work) -> dict[str, Any]:
    """Return what is said of a planned work as columns of the work table; who did it when is told anew."""
    cells = {
        "block": block["block"],
        "vineyard": block.get("vineyard"),
        "row": line.row,
        "position": line.position,
        "date": work.date,
        "kind": work.kind,
        "status": work.status,
        "trunk": work.trunk,
        "arm": work.arm,
        "cut_height_cm": work.cut_height_cm,
        "hours": work.hours,
        "crew": work.crew,
        "cost": work.cost,
        "note": work.note,
    }
    numbers = {"trunk": float(work.trunk) if work.trunk else None}
    return {name: cell for name, cell in {**cells, **numbers}.items() if cell not in ("", None)}


def _last_found(history: BlockHistory, row: NamedRow, day: str) -> dict[str, list[str]]:
    """Return the last finding by a day on the plant that stands after it, by position, as code and day; no second looks."""
    found: dict[str, list[str]] = {}
    for cell, vine in history.reading.vines.items():
        if history.grid.row_at(*cell) is not row or (plant := plant_after(vine.plants, day)) < 0:
            continue
        findings = [
            f
            for f in vine.findings
            if f.plant == plant and f.date <= day and f.symptom != "not_seen" and not f.clean_face
        ]
        if findings:
            last = findings[-1]  # of one day, the one that was written last
            found[str(history.grid.position[cell])] = [last.symptom, last.date]
    return found


def _row(
    walk: ToWalk, row: NamedRow, known: NDArray[np.uint8], season: NDArray[np.int64], *, blind: bool
) -> dict[str, Any]:
    number, order = row.line, range(row.first, row.last + 1)
    at = dict(zip(order, row.stations.tolist(), strict=True))
    return {
        "label": row.label,
        "back": row.backwards,
        "first": row.first,
        "last": row.last,
        "bay_ends": list(row.bay_ends),
        "missing": [p for p in order if walk.missing[number, at[p]]],
        "young": [p for p in order if walk.young[number, at[p]]],
        "found": {}
        if blind
        else _last_found(walk.history, row, season_bounds(walk.season, walk.reading.hemisphere)[1]),
        "known": [int(known[number, at[p]]) for p in order],
        "known_in": [int(season[number, at[p]]) for p in order],
    }


def field_page(data: Mapping[str, Any], *, sync: str = "", app: bool = False) -> str:
    """Write the page.

    Parameters
    ----------
    data : mapping
        As `field_data` makes it.
    sync : str
        Address that takes records, where the page is served by the same program.
    app : bool
        Whether manifest and service worker lie beside the page.

    Returns
    -------
    str
        One HTML page without any outside request; same input, same bytes.
    """
    return Template(_text("field.html")).substitute(
        title=escape(f"Block {data['block']}, {data['season']}"),
        lang=escape(str(data["language"])),
        css=_text("field.css"),
        js=joined(*SHARED, *(f"field/{name}" for name in SCRIPTS)),
        data=script_text({**data, "sync": sync, "app": app}),
        # With its pass: browsers ask for a manifest as a stranger otherwise, and find the door.
        manifest='<link rel="manifest" href="manifest.webmanifest" crossorigin="use-credentials">' if app else "",
    )


def app_texts(data: Mapping[str, Any], *, sync: str = "") -> dict[str, str]:
    """Return the files of the page as an app that a phone installs: page, service worker, manifest, icon.

    Parameters
    ----------
    data : mapping
        As `field_data` makes it.
    sync : str
        As in `field_page`.
    """
    page = field_page(data, sync=sync, app=True)
    version = sha256(page.encode()).hexdigest()[:12]
    name = f"Block {data['block']} {data['season']}"
    manifest = {
        "name": name,
        "short_name": name[:12],
        "start_url": "index.html",
        "display": "standalone",
        "background_color": "#fffdf8",
        "theme_color": "#1e2a33",
        "lang": data["language"],
        "icons": [{"src": "icon.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any maskable"}],
    }
    return {
        "index.html": page,
        "worker.js": _text("worker.js").replace("@version@", version),
        "manifest.webmanifest": json.dumps(manifest, ensure_ascii=False, indent=1),
        "icon.svg": _text("icon.svg"),
    }


def write_app_folder(data: Mapping[str, Any], folder: Path) -> list[Path]:
    """Write the page as an app into a folder that any static https host can serve.

    Parameters
    ----------
    data : mapping
        As `field_data` makes it.
    folder : Path
        Folder to write; made if it is not there.

    Returns
    -------
    list of Path
        The files.
    """
    folder.mkdir(parents=True, exist_ok=True)
    texts = app_texts(data)
    for file, text in texts.items():
        replace_file(folder / file, text.encode())
    return [folder / file for file in texts]


def script_of(name: str) -> str:
    """Return a part of the page's script."""
    return _text(name)


def _text(name: str) -> str:
    return files("trunkwatch").joinpath("static").joinpath("field").joinpath(name).read_text("utf-8")
