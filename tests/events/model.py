"""What stands of records on several devices, plain and slow: every device knows a set of acts, and merging joins the sets.

Written from section 1 of `trunkwatch/history/READING.md` and what DEVELOPERS.md says of the clock.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

__all__ = ["Act", "Cells", "acts_of", "key_of", "last_planned", "moment_after", "outweighed", "stands"]

#: Cells of a record, by column, in a fixed order.
Cells = tuple[tuple[str, str], ...]
#: Tells by which id one of several values of an entry stands: only ties ask for it.
NameOfValue = Callable[["Act"], str]


@dataclass(frozen=True)
class Act:
    """Something that a person wrote.

    Attributes
    ----------
    number : int
        Every act has its own, whatever it says.
    table, root, name : str
        The table, the id of the entry that it is about, and its own id.
    cells : Cells
        What it says; of an act that takes back, what is taken back.
    moment : int
        Thousandths of a second; 0 where none is written.
    takes_back : bool
    knew : frozenset of int
        Numbers of the acts about the same entry that the writer knew.
    """

    number: int
    table: str
    root: str
    name: str
    cells: Cells
    moment: int
    takes_back: bool
    knew: frozenset[int]


def key_of(table: str, cells: Cells) -> Cells:
    """Return the cells that name a record."""
    names = {"symptoms": ("row", "position", "date", "symptom"), "work": ("row", "position", "date", "kind")}[table]
    return tuple((name, value) for name, value in cells if name in names)


def acts_of(acts: Iterable[Act], table: str, root: str) -> list[Act]:
    """Return what is known about an entry."""
    return [act for act in acts if (act.table, act.root) == (table, root)]


def moment_after(acts: Iterable[Act], now: int) -> int:
    """Return the moment of an act whose writer knows some others."""
    last = max((act.moment for act in acts), default=0)
    return now if now > last else last + 1


def _last(acts: list[Act], name_of_value: NameOfValue) -> Act:
    """Return the act that counts of all about one entry."""
    entries = [act for act in acts if act.name == act.root]
    latest: dict[str, Act] = {}
    for act in acts:
        if act.name != act.root:  # one id, one correction: of the same words the later counts
            latest[act.name] = max(latest.get(act.name, act), act, key=lambda one: one.moment)
    if len({act.cells for act in entries}) > 1:  # several values under one id: each is a word against the others
        for act in entries:
            name = name_of_value(act)
            latest[name] = max(latest.get(name, act), act, key=lambda one: one.moment)
    if not latest:
        return max(entries, key=lambda one: one.moment)
    name = max(latest, key=lambda name: (latest[name].moment, name))
    return latest[name]


def stands(acts: Iterable[Act], name_of_value: NameOfValue) -> dict[tuple[str, str], Act]:
    """Return the act that stands of every entry, by table and id of the entry; nothing of those that were taken back."""
    acts = list(acts)
    found = {key: _last(acts_of(acts, *key), name_of_value) for key in {(act.table, act.root) for act in acts}}
    return {key: act for key, act in found.items() if not act.takes_back}


def last_planned(acts: Iterable[Act], before: Act, name_of_value: NameOfValue) -> Cells:
    """Return how work was planned last, by the acts about it: so it is planned again when a tick is taken back."""
    acts = list(acts)
    planned = [act for act in acts if dict(act.cells)["status"] == "planned" and not act.takes_back]
    values = {act.cells for act in acts if act.name == act.root}
    names = {act.number: [act.name] if act.name != act.root else [] for act in planned}
    for act in planned:
        if act.name == act.root and act.cells == min(values):  # of several values the smallest is the entry
            names[act.number].append(act.root)
        if act.name == act.root and len(values) > 1:
            names[act.number].append(name_of_value(act))
    if not planned:
        return tuple((name, "planned" if name == "status" else value) for name, value in before.cells)
    return max(planned, key=lambda act: (act.moment, max(names[act.number]))).cells


def outweighed(acts: Iterable[Act], name_of_value: NameOfValue) -> list[tuple[Act, Act]]:
    """Return acts that count though another act knew of them, with that other one: there must be none."""
    acts = list(acts)
    found = []
    for key in {(act.table, act.root) for act in acts}:
        family = acts_of(acts, *key)
        last = _last(family, name_of_value)
        found += [(last, act) for act in family if last.number in act.knew]
    return found
