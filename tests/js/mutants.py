"""Faults put into copies of the scripts one by one: which of them do the node tests find?

Run from the repository: `python -m js.mutants` with `tests` on the path (`PYTHONPATH=.:tests`). Prints a table. Words
behind it take only the faults whose description holds one of them.
"""

import shutil
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

from js.made_data import write_made
from js.node_runs import HERE, run

import trunkwatch

PACKAGE = Path(trunkwatch.__file__).parent
FIELD, DESK, SHARED = "static/field", "web/static", "static/shared"


class Mutant(NamedTuple):
    """A fault: where it is put, in place of what, and the tests that are run."""

    what: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


_WALK, _PHONE, _HANDOVER, _SIGN = (f"{name}.test.mjs" for name in ("walk", "phone", "handover", "sign"))
_MAP, _DESK, _LINT, _SHARED_TESTS = (f"{name}.test.mjs" for name in ("map", "desk", "lint", "shared"))

MUTANTS = (
    Mutant("walk: a count from the far end begins at 0", f"{FIELD}/walk.js", "row.last - position + 1 :", "row.last - position :", (_WALK,)),
    Mutant("walk: what was walked from the far end is written from the start", f"{FIELD}/walk.js",
           'const start = from === "last" ? row.last : row.first;', "const start = row.first;", (_WALK,)),
    Mutant("walk: a bay begins with the last vine of the bay before", f"{FIELD}/walk.js", "row.bay_ends[bay - 2] + 1", "row.bay_ends[bay - 2]", (_WALK,)),
    Mutant("walk: a row is whole only with its last place counted", f"{FIELD}/walk.js", "let at = count + 1; at <=", "let at = count; at <=", (_WALK,)),
    Mutant("walk: the next row is begun at the wrong end", f"{FIELD}/walk.js", "done.back !== next.back", "done.back === next.back", (_WALK,)),
    Mutant("walk: a slip moves one finding too few", f"{FIELD}/walk.js", "number < firstMoved", "number <= firstMoved", (_WALK,)),
    Mutant("walk: the next vine lies behind the scout", f"{FIELD}/walk.js", 'const step = from === "last" ? -1 : 1;', 'const step = from === "last" ? 1 : -1;', (_WALK,)),
    Mutant("walk: a post is met one vine late", f"{FIELD}/walk.js", "Math.min(at, at - step)", "Math.max(at, at - step)", (_WALK,)),
    Mutant("walk: a share of 101 % is taken", f"{SHARED}/rules.js", "number <= high", "number <= high + 1", (_WALK,)),
    Mutant("hand-over: a record taken back is left out where it was given", f"{FIELD}/walk.js",
           'if (item.state === "live" || item.handed) out[item.table].push(item.row);', 'if (item.state === "live") out[item.table].push(item.row);', (_HANDOVER,)),
    Mutant("hand-over: taken back meanwhile counts as said otherwise", f"{FIELD}/walk.js", 'if (item.state === "void" || pure.same', "if (pure.same", (_HANDOVER,)),
    Mutant("hand-over: a changed finding keeps its id", f"{FIELD}/walk.js", "row: { ...item.row, ...values, id, recorded_at", "row: { ...item.row, ...values, recorded_at", (_HANDOVER,)),
    Mutant("store: what another window wrote is lost", f"{FIELD}/keep.js", "const items = found().items;", "const items = kept;", (_PHONE,)),
    Mutant("signature: the two marks of HMAC are swapped", f"{FIELD}/sign.js",
           "after(0x5c, sealing.sha256(after(0x36, bytes)))", "after(0x36, sealing.sha256(after(0x5c, bytes)))", (_SIGN,)),
    Mutant("signature: one block too many at 55 bytes", f"{FIELD}/sign.js", "((length + 8) >> 6)", "((length + 9) >> 6)", (_SIGN,)),
    Mutant("finding: the arm is lost", f"{FIELD}/field.js", 'symptom, arm: arm || "" });\n  if', 'symptom, arm: "" });\n  if', (_PHONE,)),
    Mutant("finding: an old place of the phone goes with it", f"{FIELD}/field.js", "&& Date.now() - here.told < FRESH", "", (_PHONE,)),
    Mutant("finding: a slip that was found moves nothing", f"{FIELD}/field.js", "[...shiftedNow(every, moved), made]", "[made]", (_PHONE,)),
    Mutant("finding: one tap is written twice", f"{FIELD}/field.js", "if (busy) return;", "", (_PHONE,)),
    Mutant("known: the condition of another vine in rows that begin late", f"{FIELD}/findings.js", "const at = position - one.first;", "const at = position - 1;", (_PHONE,)),
    Mutant("work: hours that were planned count as worked", f"{FIELD}/winter.js", "const { hours, cost, date, ...planned }", "const { cost, date, ...planned }", (_PHONE,)),
    Mutant("work: up and down turns the wrong rows", f"{FIELD}/winter.js", "(k % 2 === 1) !== Boolean(", "(k % 2 === 1) === Boolean(", (_PHONE,)),
    Mutant("work: a pause counts as work", f"{FIELD}/winter.js", "gap > 0 && gap <= PAUSE", "gap > 0", (_PHONE,)),
    Mutant("map: the axes are swapped", "static/block_map.js", "const x = data.x[v] / 100, y = data.y[v] / 100;", "const x = data.y[v] / 100, y = data.x[v] / 100;", (_MAP,)),
    Mutant("map: areas take the color of the lines", "static/block_map.js", "colour(look.fill || data.paper)", "colour(look.ink)", (_MAP,)),
    Mutant("map: the last season is not shown", "static/block_map.js", "Math.min(data.seasons.length - 1, n)", "Math.min(data.seasons.length - 2, n)", (_MAP,)),
    Mutant("map: the legend counts one too many", "static/block_map.js", "told.split(mark).length - 1;", "told.split(mark).length;", (_MAP,)),
    Mutant("map: a vine is found by its place, not its position", "static/block_map.js", "data.position[v] === position", "data.station[v] + 1 === position", (_MAP,)),
    Mutant("map: ticks are turned the wrong way", f"{SHARED}/marks.js", "[along[0], -along[1]]", "[along[0], along[1]]", (_MAP,)),
    Mutant("map: conditions that are ticked off are found by a tap", "static/block_map.js",
           "at: placeOf, isShown }", "at: placeOf }", (_MAP,)),
    Mutant("map: the marks of paper on a dark screen", "static/block_map.js", "return night.matches && !printing ?", "return !night.matches && !printing ?", (_MAP,)),
    Mutant("map: cases lie under the vines without symptoms", "static/block_map.js", "data.rules.drawn.filter(", "data.rules.drawn.slice().reverse().filter(", (_MAP,)),
    Mutant("desk: the block upside down", f"{DESK}/ground.js", "box.height / 2 - (y - view.y)", "box.height / 2 + (y - view.y)", (_DESK,)),
    Mutant("desk: ticks are turned the wrong way", f"{SHARED}/marks.js", "[along[0], -along[1]]", "[along[0], along[1]]", (_DESK,)),
    Mutant("desk: row names over the vines of a row that counts back", f"{DESK}/ground.js", "const way = runs * (k ? 1 : -1)", "const way = (k ? 1 : -1)", (_DESK,)),
    Mutant("desk: a block without a season is shown without symptoms", f"{DESK}/ground.js", "data.rules.not_scouted", '"8"', (_DESK,)),
    Mutant("desk: what no survey covers is drawn as nothing seen", f"{DESK}/ground.js", '(open.has(vine) ? "written" : condition(vine))', "condition(vine)", (_DESK,)),
    Mutant("desk: the first day of a season belongs to the one before", f"{SHARED}/rules.js", "monthOf(day) >= rules", "monthOf(day) > rules", (_DESK,)),
    Mutant("desk: of several vines only the first is logged", f"{DESK}/desk.js", "send(many.map(", "send(many.slice(0, 1).map(", (_DESK,)),
    Mutant("desk: an entry that waits is kept nowhere", f"{DESK}/desk.js", "  keep(key, records);\n", "", (_DESK,)),
    Mutant("desk: the legend counts what no survey covers as not scouted", f"{DESK}/desk.js", "const key = markOf(vine);", "const key = condition(vine);", (_DESK,)),
    Mutant("desk: 100 % is refused", f"{SHARED}/rules.js", "number <= high", "number < high", (_DESK,)),
    Mutant("desk: the season's drawing stays where another was chosen", f"{DESK}/desk.js", "setGround({ season: Number(event.target.value) }); legend(); draw();", "legend(); draw();", (_DESK,)),
    Mutant("a name that nobody declared", f"{DESK}/lists.js", "const done = box.checked;", "done = box.checked;", (_LINT,)),
    Mutant("a helper that nothing uses", f"{DESK}/survey.js", "const page =", "const spareHelper = 1;\nconst page =", (_LINT,)),
    Mutant("a name that is imported and not used", f"{DESK}/weeks.js", "import { post, undo }", "import { post, undo, watchFile }", (_LINT,)),
    Mutant("a name that its module does not export", f"{SHARED}/rules.js", "export function lookOf", "function lookOf", (_LINT,)),
    Mutant("pages: a mark of a picture stands beside its place", f"{SHARED}/marks.js", "text(x + scale * u)", "text(scale * u)", (_SHARED_TESTS,)),
    Mutant("pages: what matters most is drawn first", f"{SHARED}/marks.js", "const mark of order.filter(", "const mark of [...order].reverse().filter(", (_SHARED_TESTS,)),
    Mutant("pages: a vine beyond the reach is the nearest", f"{SHARED}/marks.js", "reach ** 2", "Infinity", (_SHARED_TESTS,)),
    Mutant("pages: half a trunk is a trunk", f"{SHARED}/rules.js", "|| Number.isInteger(number)", "|| true", (_SHARED_TESTS,)),
    Mutant("pages: a season's first leaves come a month late", f"{SHARED}/rules.js", "months < rules.dormant", "months <= rules.dormant", (_SHARED_TESTS,)),
    Mutant("pages: what is false stands in an element", f"{SHARED}/elements.js", "value !== false && ", "", (_SHARED_TESTS,)),
    Mutant("desk: a line that is taken back is corrected to nothing", f"{DESK}/records.js", "await undo(table, id);", 'await post("/api/correct", { table, id, changes: {} });', (_DESK,)),
    Mutant("phone: the young vine has the mark of another", f"{FIELD}/field.js", '"missing", "young", "finding"', '"missing", "finding", "young"', (_PHONE,)),
    Mutant("text as HTML", f"{DESK}/book.js", "line.textContent = told + about();", "line.innerHTML = told + about();", (_LINT,)),
)  # fmt: skip


def copied(folder: Path) -> Path:
    """Return a copy of what the tests read of the package."""
    package = folder / "trunkwatch"
    for part in ("static", "web/static", "web/templates"):
        shutil.copytree(PACKAGE / part, package / part)
    return package


def found_by(mutant: Mutant, made: Path) -> list[str]:
    """Return the tests that fail with the fault; nothing where it stays alive."""
    with tempfile.TemporaryDirectory() as folder:
        package = copied(Path(folder))
        script = package / mutant.file
        text = script.read_text()
        if mutant.old not in text:
            raise ValueError(f"{mutant.file} does not hold {mutant.old!r} any more: say anew where the fault goes")
        script.write_text(text.replace(mutant.old, mutant.new, 1))
        told = [run(HERE / name, made, package, "--expose-internals") for name in mutant.tests]
        return [name for one in told for name, text in one.items() if text]


def main(*words: str) -> int:
    """Print the table, and end with the number of faults that stay alive."""
    chosen = [mutant for mutant in MUTANTS if not words or any(word in mutant.what for word in words)]
    with tempfile.TemporaryDirectory() as folder:
        made = write_made(Path(folder))
        alive = 0
        print("| fault | found by |\n|---|---|")
        for mutant in chosen:
            found = found_by(mutant, made)
            alive += not found
            more = f" and {len(found) - 1} more" if len(found) > 1 else ""
            print(f"| {mutant.what} | {found[0] + more if found else '**alive**'} |", flush=True)
        print(f"\n{len(chosen) - alive} of {len(chosen)} are found.")
    return alive


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
