"""The history of each vine in words, for maps, lists and the history of a position."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from trunkwatch.history.block_history import VineEvent
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import Plant
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import is_iso_date, season_of
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["events_of", "finding_text", "work_text"]

Line = Mapping[str, object]


def _parts(line: Line) -> list[str]:
    parts = []
    trunk = number_or_none(line.get("trunk"))
    if trunk is not None:
        parts.append(f"trunk {trunk:.0f}")
    if line.get("arm"):
        parts.append(str(line["arm"]).replace("_", " "))
    return parts


def finding_text(line: Line) -> str:
    """Return a finding in words: what, where on the vine, how much, suspected cause, who."""
    words = codes.SYMPTOMS.get(str(line["symptom"]), str(line["symptom"]))
    where = _parts(line)
    text = f"{words} ({', '.join(where)})" if where else words
    dead, total = number_or_none(line.get("dead")), number_or_none(line.get("total"))
    if dead is not None and total is not None:
        text += f", {dead:.0f} of {total:.0f} spurs"
    for name, unit in (
        ("percent", "%"),
        ("empty_percent", "% of the wire empty"),
        ("stain_cm", "cm stained"),
    ):
        value = number_or_none(line.get(name))
        if value is not None:
            text += f", {value:g} {unit}"
    if line.get("class"):
        text += f", class {line['class']}" + (f" ({line['scale']})" if line.get("scale") else "")
    if line.get("cause") and line["cause"] != "unknown":
        text += f", {codes.CAUSES[str(line['cause'])]}"
    if line.get("renewal_shoot") and line["renewal_shoot"] != "none":
        text += f", young shoot {codes.RENEWAL_SHOOTS[str(line['renewal_shoot'])]}"
    return _signed(text, line)


def work_text(line: Line) -> str:
    """Return a piece of work in words, with its status unless it is done."""
    words = codes.WORK_KINDS.get(str(line["kind"]), str(line["kind"]))
    where = _parts(line)
    text = f"{words} ({', '.join(where)})" if where else words
    cut = number_or_none(line.get("cut_height_cm"))
    if cut is not None:
        text += f", cut at {cut:g} cm"
    if line.get("status") in ("planned", "dropped"):
        text += f", {line['status']}"
    return _signed(text, line)


def _signed(text: str, line: Line) -> str:
    who = f", {line['observer']}" if line.get("observer") else ""
    note = f": {line['note']}" if line.get("note") else ""
    return f"{text}{who}{note}"


def events_of(
    findings: Sequence[tuple[Cell, Line]],
    covered: Sequence[bool],
    work: Sequence[tuple[Cell, Line]],
    plants: Mapping[Cell, Sequence[Plant]],
    hemisphere: str,
) -> dict[Cell, tuple[VineEvent, ...]]:
    """Collect what happened to each vine, in order of date."""
    found: defaultdict[Cell, list[VineEvent]] = defaultdict(list)
    for (cell, line), inside in zip(findings, covered, strict=True):
        day = str(line["date"])
        found[cell].append(
            VineEvent(
                day,
                season_of(day, hemisphere),
                "finding",
                finding_text(line),
                not inside,
                str(line["symptom"]),
            )
        )
    for cell, line in work:
        day = str(line["date"])
        found[cell].append(VineEvent(day, season_of(day, hemisphere), "work", work_text(line), code=str(line["kind"])))
    for cell, spells in plants.items():
        found[cell].extend(_plant_events(spells, hemisphere))
    return {cell: tuple(sorted(found[cell], key=lambda e: (e.date, e.kind, e.text))) for cell in sorted(found)}


def _plant_events(spells: Sequence[Plant], hemisphere: str) -> list[VineEvent]:
    events = []
    for spell in spells:
        if is_iso_date(spell.since):
            events.append(VineEvent(spell.since, season_of(spell.since, hemisphere), "planted", "vine planted"))
        if is_iso_date(spell.until):
            text = "vine gone, dead" if spell.died else "vine gone"
            events.append(VineEvent(spell.until, season_of(spell.until, hemisphere), "removed", text))
    return events
