"""Workbooks as growers keep them, written without a look at what reads them. Run: python tests/calibration/other_workbooks.py [word of a name]

Each is loaded as a grower would: a first run, the answers in the mapping file, a second run; the records that come out
are held against those read off the sheet by hand. Prints the table, and below it what differs.
"""

import csv
import json
import re
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibration.other_answers import ANSWERS
from calibration.other_books import Case, Entry, Places
from calibration.other_grids import GRIDS
from calibration.other_lists import LISTS


def cases() -> list[Case]:
    """Return all workbooks, each with what must come out of it and what a grower would answer."""
    return [*LISTS, *GRIDS]


@dataclass
class Outcome:
    """What became of a workbook."""

    code: int
    shown: str
    lines: int = 0
    lacking: set[Entry] = field(default_factory=set)
    extra: set[Entry] = field(default_factory=set)
    places: list[str] = field(default_factory=list)
    sick_as_sound: int = 0
    rounds: int = 0

    @property
    def wrong(self) -> int:
        """How much differs."""
        return len(self.lacking) + len(self.extra) + len(self.places)


def run(folder: Path, *words: str) -> tuple[int, str]:
    """Run the command line in a folder; exit code and all that it shows."""
    done = subprocess.run(
        [sys.executable, "-m", "trunkwatch", *words], cwd=folder, capture_output=True, text=True, check=False
    )
    return done.returncode, done.stdout + done.stderr


def answered(
    text: str, edits: Iterable[tuple[str, str, str]], *, only_asked: bool
) -> tuple[str, int, list[tuple[str, str, str]]]:
    """Write the answers into a mapping file; the text, the number of lines changed, and the answers it had no line for."""
    lines, changed, left = text.splitlines(), 0, []
    for section, key, value in edits:
        plain = section.startswith(("sheet.", "block.")) and not section.endswith(".columns")
        line = f"{key if plain else json.dumps(key, ensure_ascii=False)} = "
        new = line + (value if value.startswith("[") else json.dumps(value, ensure_ascii=False))
        head = next((n for n, old in enumerate(lines) if old.split("  #")[0].strip() == f"[{section}]"), None)
        end = next((n for n in range((head or 0) + 1, len(lines)) if lines[n].startswith("[")), len(lines))
        at = next((n for n in range(head, end) if lines[n].startswith(line)), None) if head is not None else None
        if only_asked and (at is None or "# ASK" not in lines[at]):
            continue
        if at is not None:
            lines[at] = new
        elif head is not None:
            lines.insert(head + 1, new)
        elif section.startswith(("sheet.", "block.")):
            left.append((section, key, value))
            continue
        else:
            lines += ["", f"[{section}]", new]
        changed += 1
    return "\n".join(lines) + "\n", changed, left


def table(folder: Path, name: str) -> list[dict[str, str]]:
    """Read a table of the export."""
    path = folder / f"{name}.csv"
    if not path.exists():
        return []
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def row_name(label: str) -> str:
    """Return a row without the R before its number."""
    return re.sub(r"^R(?=\d)", "", label)


def season(day: str) -> str:
    """Return the season of a day, north of the equator."""
    return str(int(day[:4]) + (int(day[5:7]) > 9))


def fits(when: str, day: str) -> bool:
    """Tell whether a day is the one that was expected, or of the season that was."""
    return day == when if "-" in when else season(day) == when


def empty_on(plants: list[dict[str, str]], day: str) -> set[tuple[str, str, str]]:
    """Places in which no vine stood on a day."""
    gone: dict[tuple[str, str, str], str] = {}
    back: dict[tuple[str, str, str], str] = {}
    for plant in plants:
        place = (plant["block"], row_name(plant["row"]), plant["position"])
        if (removed := plant.get("removed", "")) and removed <= day:
            gone[place] = max(gone.get(place, ""), removed)
        if (planted := plant.get("planted", "")) and planted[:4] <= day[:4]:
            back[place] = max(back.get(place, ""), planted)
    return {place for place, removed in gone.items() if back.get(place, "") < removed[:4]}


def covered(text: str, rows: list[dict[str, str]]) -> Places:
    """Places that a survey covered."""
    labels = [row["row"] for row in rows]
    last = {row["row"]: (int(row.get("first") or 1), int(row["last"])) for row in rows}
    places: Places = set()
    for part in filter(None, (part.strip() for part in text.split(";"))):
        names, _, run_ = part.partition(":")
        ends = names.split("..")
        for label in labels[labels.index(ends[0]) : labels.index(ends[-1]) + 1]:
            whole, _, step = (run_ or "..".join(map(str, last[label]))).partition("/")
            low, high = (int(number) for number in (whole.split("..") * 2)[:2])
            places |= {(row_name(label), str(place)) for place in range(low, high + 1, int(step or 1))}
    return places


def seen(folder: Path) -> set[Entry]:
    """Findings and work of an export, as entries with their days."""
    entries: set[Entry] = set()
    for record in table(folder, "symptoms"):
        if record["symptom"] not in {"none", "not_seen"}:
            arm = f"@{record['arm']}" if record.get("arm") else ""
            percent = f" {float(record['percent']):g}%" if record.get("percent") else ""
            entries.add(
                (
                    record["block"],
                    row_name(record["row"]),
                    record["position"],
                    record["date"],
                    record["symptom"] + arm + percent,
                )
            )
    for record in table(folder, "work"):
        entries.add(
            (record["block"], row_name(record["row"]), record["position"], record["date"], f"work {record['kind']}")
        )
    return entries


def compare_records(case: Case, folder: Path, outcome: Outcome) -> None:
    """Hold the findings, the work and the plants of an export against those expected."""
    plants, actual = table(folder, "plants"), seen(folder)
    days = {(record["block"], record["date"]) for record in table(folder, "surveys")} | {
        entry[0:4:3] for entry in actual
    }
    young = {(p["block"], row_name(p["row"]), p["position"], p["planted"]) for p in plants if p.get("planted")}
    empty = {(*place, day, "no vine") for block, day in days for place in empty_on(plants, day) if place[0] == block}
    meant: set[Entry] = set()
    for block, row, position, when, what in case.records or set():
        if what == "no vine":
            hits = {e for e in empty if e[:3] == (block, row, position)}
            # What is gone stays gone on later days, whether a word says it again or not.
            meant |= {e for e in hits if season(e[3]) >= when[:4]}
            if not any(fits(when, e[3]) for e in hits):
                outcome.lacking.add((block, row, position, when, what))
        elif what.startswith("replanted"):
            hits_young = {y for y in young if y[:3] == (block, row, position) and y[3].startswith(what[10:])}
            young -= hits_young
            if not hits_young:
                outcome.lacking.add((block, row, position, when, what))
        else:
            found = {e for e in actual if e[:3] == (block, row, position) and e[4] == what and fits(when, e[3])}
            actual -= found
            if not found:
                outcome.lacking.add((block, row, position, when, what))
    outcome.extra |= actual | (empty - meant) | {(*y[:3], y[3], "planted") for y in young}


def compare_scouted(case: Case, folder: Path, outcome: Outcome) -> None:
    """Hold the vines that count as scouted against those expected, and the ends that rows are numbered from."""
    plants, surveys, rows = table(folder, "plants"), table(folder, "surveys"), table(folder, "rows")
    expected = dict(case.scouted)
    for survey in surveys:
        if not any(block == survey["block"] and fits(when, survey["date"]) for block, when in expected):
            outcome.places.append(f"a survey nobody wrote: {survey['block']} {survey['date']} {survey['covered']}")
    for (block, when), places in expected.items():
        actual: Places = set()
        for survey in surveys:
            if survey["block"] == block and fits(when, survey["date"]):
                own = [row for row in rows if row["block"] == block]
                actual |= covered(survey["covered"], own) - {
                    p[1:] for p in empty_on(plants, survey["date"]) if p[0] == block
                }
        unseen = {
            (row_name(s["row"]), s["position"])
            for s in table(folder, "symptoms")
            if s["symptom"] == "not_seen" and s["block"] == block and fits(when, s["date"])
        }
        either = case.either.get((block, when), set())
        for word, wrong in (("not scouted", places - (actual - unseen)), ("scouted", actual - unseen - places)):
            outcome.places += [
                f"{block} {row}:{place} {when} counts as {word}" for row, place in sorted(wrong - either)
            ]
        sick = {
            e[1:3]
            for e in case.records or ()
            if (e[0], e[3]) == (block, when) and not e[4].startswith(("no v", "rep", "work"))
        }
        noted = {e[1:3] for e in seen(folder) if e[0] == block and fits(when, e[3])}
        outcome.sick_as_sound += len(sick & (actual - unseen) - noted)
    for row in rows:
        block, label = row["block"], row_name(row["row"])
        if block not in {key[0] for key in expected}:
            outcome.places.append(f"a block nobody wrote: {block}")
        elif not re.fullmatch(r"\d+[A-Z]?", label):
            outcome.places.append(f"a row nobody wrote: {block} {label}")
        end = case.ends.get((block, label), "")
        if end and (row.get("numbered_from") or "start") != end:
            outcome.places.append(
                f"{block} row {label} is numbered from {row.get('numbered_from') or 'start'}, not {end}"
            )


def play(case: Case, *, only_asked: bool = False) -> Outcome:
    """Load a workbook as a grower would, and compare what came of it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = case.write(folder)
        if case.made_first:
            run(folder, "new", "v", *case.made_first)
        answers, flags, _ = ANSWERS.get(case.name, ((), (), ""))
        _, first = run(folder, "load", "v", path.name, *(() if answers else flags))
        code, shown, answer, lines, rounds, left = 1, first, first, 0, 0, list(answers)
        while (
            mapping := next(iter([*folder.glob("*.mapping.toml"), *folder.glob("v/*.mapping.toml")]), None)
        ) and rounds < 3:
            # What was answered may bring up further questions: of a block that only now has a name, say.
            text, more, left = answered(mapping.read_text(encoding="utf-8"), left, only_asked=only_asked)
            if rounds and not more and "wait for you" not in answer:
                break
            mapping.write_text(text, encoding="utf-8")
            code, answer = run(folder, "load", "v", path.name, "--mapping", str(mapping.relative_to(folder)), *flags)
            shown, lines, rounds = f"{shown}\n{answer}", lines + more, rounds + 1
            if not code:
                break
        outcome = Outcome(code, shown, lines, rounds=rounds)
        out = folder / "out"
        if (folder / "v").exists():
            failed, why = run(folder, "export", "v", "out")
            if failed:
                outcome.places.append(f"no other command can read the vineyard: {why.splitlines()[0]}")
        compare_records(case, out, outcome)
        if out.exists() or case.records:
            compare_scouted(case, out, outcome)
        return outcome


def word_for(case: Case, outcome: Outcome, told: str) -> str:
    """Name what became of a workbook."""
    if case.records is None:
        if not outcome.wrong:
            return "refused with a reason" if outcome.code else "right: nothing taken"
    elif outcome.code:
        return "refused with a reason"
    elif not outcome.wrong:
        return "right" if not outcome.lines else "right after answers"
    return "wrong with a warning" if told and re.search(told, outcome.shown) else "WRONG WITHOUT A WARNING"


def main() -> None:
    """Print the table, and what differs."""
    sought = sys.argv[1] if len(sys.argv) > 1 else ""
    counts: Counter[str] = Counter()
    below = []
    print(
        "| workbook | with all answers | lines changed | block made first | option | rounds | sick as sound | only what was asked | sick as sound |"
    )
    print("|---|---|---:|---|---|---:|---:|---|---:|")
    for case in cases():
        if sought not in case.name:
            continue
        told = ANSWERS.get(case.name, ((), (), ""))[2]
        with ThreadPoolExecutor(2) as pool:
            both = [pool.submit(play, case, only_asked=only_asked) for only_asked in (False, True)]
            outcome, careless = (task.result() for task in both)
        word = word_for(case, outcome, told)
        counts[word] += 1
        left = "refused" if careless.code else f"{careless.wrong} differ" if careless.wrong else "right"
        first = "yes" if case.made_first else ""
        flags = " ".join(ANSWERS.get(case.name, ((), (), ""))[1])
        cells = [
            case.name,
            word,
            outcome.lines,
            first,
            flags,
            outcome.rounds,
            outcome.sick_as_sound,
            left,
            careless.sick_as_sound,
        ]
        print(f"| {' | '.join(map(str, cells))} |", flush=True)
        if outcome.wrong or outcome.code:
            reason = [line for line in outcome.shown.splitlines() if line.startswith(("Error", "error", "fault"))]
            below += ["", f"{case.name}: {word}", *(f"  {line}" for line in reason[-3:])]
            below += [f"  lacks {entry}" for entry in sorted(outcome.lacking)][:8]
            below += [f"  has {entry}" for entry in sorted(outcome.extra)][:8]
            below += [f"  {line}" for line in outcome.places[:8]]
        if careless.wrong and not careless.code:
            below += ["", f"{case.name}, proposals left as they are:"]
            below += [f"  lacks {entry}" for entry in sorted(careless.lacking)][:6]
            below += [f"  has {entry}" for entry in sorted(careless.extra)][:6]
            below += [f"  {line}" for line in careless.places[:6]]
    print("\n" + "; ".join(f"{word}: {count}" for word, count in counts.items()))
    print("\n".join(below))


if __name__ == "__main__":
    main()
