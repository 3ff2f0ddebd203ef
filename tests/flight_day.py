"""A day in flight mode: browsers are killed, stores run full, clocks are set back.

Phones walk the winter's list, count buds, make a blind recheck and tick rows that are pruned. What the page said it had saved is kept in plain Python beside it. After the day the hand-overs are loaded in several
orders, and what stands is held against that.
"""

import itertools
import json
import os
import random
import signal
import time
from collections import Counter
from datetime import datetime
from pathlib import Path

from trunkwatch.intake import add_records, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.handed_over import block_mark
from trunkwatch.sheets.field_buds import BudFacts
from trunkwatch.sheets.field_page import field_data, field_page
from trunkwatch.sheets.second_look import SecondLook
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk

FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run"]  # fmt: skip
BLOCK = {"block": "Long", "planted": 2005, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral",
         "row_bearing_deg": 10}  # fmt: skip
#: When the day begins: in the months in which buds are cut.
MORNING = datetime(2026, 1, 20, 8)
KINDS = ("renew_arm", "renew_arm", "renew_trunk", "replant", "train", "clear_mummies")
#: A store that is full where a test says so, and a clock that a test sets.
TRAPS = """
window.full = false;
const plainPut = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (...what) {
  if (window.full) throw new DOMException('the store is full', 'QuotaExceededError');
  return plainPut.apply(this, what);
};
window.offset = OFFSET;
const Plain = Date;
window.Date = class extends Plain {
  constructor(...when) { if (when.length) super(...when); else super(Plain.now() + window.offset); }
  static now() { return Plain.now() + window.offset; }
};
"""


def planned_vineyard(path, vines, a_row, again):
    """Write a vineyard with one piece of planned work on each of so many vines; return the pages of its list and of a recheck."""
    rows = -(-vines // a_row)
    start_file(path, BLOCK, rows, a_row)
    work = [
        {
            "block": "Long",
            "row": str(1 + n // a_row),
            "position": str(1 + n % a_row),
            "date": "2026-01-15",
            "status": "planned",
            "kind": KINDS[n % len(KINDS)],
            **({"arm": "end", "cut_height_cm": 85} if KINDS[n % len(KINDS)] == "renew_arm" else {}),
        }
        for n in range(vines)
    ]
    add_records(path, "work", work)
    drawn = tuple((str(1 + n // a_row), 1 + n % a_row) for n in range(0, vines, vines // again))
    pages = {}
    with Store.open(path) as store:
        mark, walk = block_mark(store, "Long"), to_walk(store, "Long", 2026)
        for name, recheck in (("list", None), ("recheck", SecondLook("Long", 2026, "dormant", drawn, "", 0, 0, 0, 0))):
            data = field_data(
                walk,
                identity="day",
                look="dormant",
                language="en",
                mark=mark,
                buds=BudFacts(("Riesling",), ("low end",), (), 60),
                recheck=recheck,
            )
            pages[name] = path.with_name(f"{name}.html")
            pages[name].write_text(field_page(data), "utf-8")
    return pages


def kill_browser(profile):
    """Kill the browser that was started with a profile of its own: no goodbye to the page."""
    wanted = f"--user-data-dir={profile}".encode()
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "cmdline").read_bytes().split(b"\0")
        except OSError:
            continue
        if wanted in words and not any(word.startswith(b"--type=") for word in words):
            os.kill(int(folder.name), signal.SIGKILL)
    time.sleep(0.5)


#: What lies on a phone of each page, as values that the model beside it has too.
ON_LIST = """({
  work: items.filter((one) => one.table === 'work' && one.state === 'live').map((one) => [one.row.row, one.row.position, one.row.status, one.row.not_done || '']),
  counts: items.filter((one) => one.table === 'bud_counts' && one.state === 'live').map((one) => [one.row.part, one.canes.map((cane) => cane.map((bud) => [bud.primary || '', bud.secondary || '']))]),
  pruned: items.filter((one) => one.table === 'pruning' && one.state === 'live').map((one) => one.row.covered),
})"""
ON_RECHECK = """({
  covered: coverings(items).flatMap((one) => one.vines.map(vineKey)),
  seen: items.filter((one) => one.table === 'symptoms' && one.state === 'live').map((one) => [`${one.row.row}:${one.row.position}`, one.row.symptom]),
})"""


class Phone:
    """One phone: its pages, and what they said they had saved."""

    def __init__(self, api, chromium, pages, profile, name) -> None:
        self.api, self.chromium, self.pages, self.profile, self.name = api, chromium, pages, profile, name
        self.at, self.late = "list", 0
        self.saved: dict[tuple[str, str], dict] = {}
        self.counts: list[tuple[str, list[list[list[str]]]]] = []
        self.pruned: set[str] = set()
        self.answers: dict[str, list[str]] = {}
        self.records = self.kills = self.full = 0
        self.start()
        self.page.evaluate(
            f"state.observer = {name!r}; state.device = {name!r}; state.allWork = true; write(nothing, '')"
        )

    def start(self):
        """Open the page as it was left."""
        self.context = self.api.chromium.launch_persistent_context(
            str(self.profile),
            executable_path=self.chromium,
            args=FLAGS,
            offline=True,
            viewport={"width": 390, "height": 664},
        )
        self.context.add_init_script(
            TRAPS.replace("OFFSET", str(round(1000 * (MORNING.timestamp() - time.time())) + self.late))
        )
        self.page = self.context.pages[0]
        self.turn_to(self.at)

    def turn_to(self, name):
        """Open one of the phone's pages, or the same anew."""
        self.at = name
        self.page.goto(self.pages[name].as_uri())
        self.page.wait_for_selector("body[data-ready=yes]")

    def kill(self):
        """End the browser at once and open the page anew: every record of which it said so is there."""
        kill_browser(self.profile)
        self.kills += 1
        self.start()
        self.held()

    def tap_and_kill(self, what):
        """End the browser while the page does what a key asks of it."""
        self.page.evaluate(f"document.querySelector({what!r}).click()")
        kill_browser(self.profile)
        self.kills += 1
        self.start()

    def held(self):
        """Hold what lies on the phone against what it said."""
        if self.at == "recheck":
            there = self.page.evaluate(ON_RECHECK)
            assert sorted(there["covered"]) == sorted(self.answers), self.name
            wanted = [[vine, symptom] for vine, symptoms in self.answers.items() for symptom in symptoms]
            assert sorted(there["seen"]) == sorted(wanted), self.name
            return
        there = self.page.evaluate(ON_LIST)
        kept = there["work"]
        assert len(kept) == len({tuple(one[:2]) for one in kept}), f"{self.name}: a vine twice"
        told = {(row, position): (status, why) for row, position, status, why in kept}
        assert told == {vine: (one["status"], one.get("not_done", "")) for vine, one in self.saved.items()}, self.name
        assert sorted(there["pruned"]) == sorted(self.pruned), self.name
        assert there["counts"] == [[part, canes] for part, canes in self.counts], self.name

    def set_clock(self, offset):
        """Set the phone's clock on by so many milliseconds, or back."""
        self.late += offset
        self.page.evaluate(f"window.offset += {offset}")

    def tap(self, what):
        """Tap a key, and wait until the page has done what it does."""
        self.page.evaluate(f"document.querySelector({what!r}).click()")
        self.page.wait_for_function("!busy")

    def go(self, row, position):
        self.page.evaluate(
            f"goTo(data.work.find((one) => one.row.row === {row!r} && one.row.position === {position!r}))"
        )
        self.page.wait_for_function("!busy && state.screen === 'vine'")

    def decide(self, row, position, outcome):
        """Say of one vine what became of its work, as a person taps it."""
        self.go(row, position)
        if outcome["status"] == "done":
            self.tap("#did")
        else:
            self.tap("#not_done")
            self.tap(f"[data-why={outcome['not_done']}]")
        self.saved[row, position] = dict(outcome)
        self.records += 1
        for key in ("height", "face", "protected"):
            if key in outcome:
                where = {
                    "height": f"[data-height='{outcome['height']}']" if key == "height" else "",
                    "face": {0: "#clean", "": "#stained"}.get(
                        outcome.get("face"), f"[data-stain='{outcome.get('face')}']"
                    ),
                    "protected": {"yes": "#protected", "no": "#open_wound"}.get(outcome.get("protected"), ""),
                }[key]
                self.tap(where)
                self.records += key == "face"
        self.records += outcome.get("not_done") == "vine_gone"

    def refused_when_full(self, row, position):
        """Tap while the store is full: the page says that nothing was saved, and nothing was."""
        self.go(row, position)
        before = self.page.evaluate("items.length")
        self.page.evaluate("window.full = true")
        self.tap("#did")
        assert "NOT saved" in self.page.inner_text("#tick")
        assert self.page.evaluate("state.screen") == "vine"
        self.page.evaluate("window.full = false")
        assert self.page.evaluate("items.length") == before
        self.full += 1

    def take_back(self, row, position):
        """Take the tick of a vine back."""
        self.go(row, position)
        self.tap("#undo")
        del self.saved[row, position]
        self.records += 1

    # What is counted, rechecked, pruned

    def count_buds(self, rng, part, canes, *, killed, midway=lambda: None):
        """Count buds cane by cane, as a person taps them; `midway` happens between two buds of one cane."""
        self.page.evaluate("go('buds')")
        self.page.fill("#buds_part", part)
        self.half_typed("#buds_part", part)
        self.tap("#count")
        count: list[list[list[str]]] = []
        self.counts.append((part, count))
        for cane in range(canes):
            count.append([])
            for bud in range(4):
                value = rng.choice(["dead", "alive"])
                key = f"[data-bud='{bud + 1} primary {value}']"
                if killed and (cane, bud) == (canes // 2, 1):
                    self.tap_and_kill(key)
                    assert self.page.inner_text("h1") == f"Cane {cane + 1}"  # the count goes on where it was
                    if (
                        self.page.get_attribute(key, "aria-pressed") != "true"
                    ):  # the tap was not on the disk: it shows so
                        self.tap(key)
                else:
                    self.tap(key)
                count[-1].append([value, ""])
                if (cane, bud) == (canes // 2, 2):
                    midway()
                if rng.random() < 0.2:
                    self.tap(f"[data-bud='{bud + 1} secondary alive']")
                    count[-1][-1][1] = "alive"
            self.held()
            if cane + 1 < canes:
                self.tap("#next")
        self.records += 1
        self.page.evaluate("go('start')")

    def half_typed(self, field, text):
        """What is typed and not sent yet is there when the page begins anew."""
        self.page.evaluate("disk.read().then(() => true)")  # what the page writes of itself is on the disk
        self.page.reload()
        self.page.wait_for_selector("body[data-ready=yes]")
        assert self.page.input_value(field) == text, f"{self.name}: {field}"

    def recheck(self, rng, *, killed):
        """Answer every vine of the recheck."""
        self.turn_to("recheck")
        self.page.fill("#observer", self.name)
        self.half_typed("#observer", self.name)
        self.tap("#go_on")
        vines = self.page.evaluate("listed().map(vineKey)")
        for n, vine in enumerate(vines):
            here = self.page.evaluate("vineKey(listed()[state.list_at])")
            assert here == vine, f"{self.name}: {here} instead of {vine}"
            if rng.random() < 0.5 and not (killed and n == len(vines) // 2):
                self.tap("#nothing")
                self.answers[vine] = []
                continue
            key = "[data-see='dead_arm']"
            if killed and n == len(vines) // 2:
                self.tap_and_kill(key)
                if not self.page.evaluate("seenOn(items, listed()[state.list_at]).length"):
                    assert self.page.is_disabled("#undo")  # neither the finding nor the answer
                    self.tap(key)
            else:
                self.tap(key)
            self.answers[vine] = ["dead_arm"]
            if rng.random() < 0.3:
                self.tap("[data-see='canker']")
                self.tap("#undo")  # of the last alone
            self.held()
            self.tap("#next")
        self.records += 1 + sum(map(len, self.answers.values()))
        assert self.page.evaluate("unanswered(listed()).length") == 0

    def prune(self, labels):
        """Tick rows as pruned, take the last back and tick it again."""
        self.page.evaluate("go('pruned')")
        for label in (*labels, *labels[-1:] * 2):
            self.tap(f"[data-pruned='{label}']")
        self.pruned |= set(labels)
        self.records += len(labels)
        self.page.evaluate("go('start')")

    def digits_stay(self):
        """The position that was typed when the browser was killed is there: a finding goes to that vine."""
        self.page.evaluate("go('start')")
        self.page.evaluate("startRow()")
        self.page.wait_for_function("state.walk && !busy")
        self.page.evaluate("digit('1'); digit('2')")
        self.page.evaluate("disk.read().then(() => true)")
        self.kill()
        assert self.page.inner_text("#at") == "12", self.name
        self.page.evaluate("leaveRow()")
        self.page.wait_for_function("state.walk === null")

    def handover(self, path):
        """Return the file that the phone hands over."""
        path.write_text(self.page.evaluate("together().then((out) => JSON.stringify(out))"), "utf-8")
        return path

    def midday(self, path):
        """Hand over what there is, let the page know that it was taken, and set the clock back three hours."""
        self.handover(path)
        self.page.evaluate("together().then(markHanded)")
        self.page.wait_for_function("!items.some(pure.pending)")
        self.set_clock(-3 * 3600 * 1000)

    def close(self):
        self.context.close()


def outcome_of(rng, kind):
    """Draw what became of a piece of work."""
    if rng.random() < 0.2:
        cuts = kind in ("renew_arm", "renew_trunk")
        whys = (
            ["vine_gone", "no_shoot", "looks_sound"]
            if cuts
            else ["no_shoot", "vine_gone"]
            if kind == "train"
            else ["looks_sound"]
        )
        return {"status": "dropped", "not_done": rng.choice(whys)}
    out = {"status": "done"}
    if kind in ("renew_arm", "renew_trunk"):
        if rng.random() < 0.5:
            out["height"] = 70 if kind == "renew_arm" else 40
        if rng.random() < 0.6:
            out["face"] = rng.choice([0, "", 5, 20])
        if rng.random() < 0.5:
            out["protected"] = rng.choice(["yes", "no"])
    return out


def fly(api, chromium, folder, *, vines, kill_every, shared, full=True, seed=1):
    """Let three phones work for a day in flight mode, load what they hand over in several orders, and check all of it.

    With `full` every phone does all and is killed at all of it, and every order is loaded; without, each does one thing beside the
    list and is killed at that, and two orders are loaded in which each phone comes before and after each other.

    Returns
    -------
    Counter
        What happened: records, kills, taps on a full store, clocks set back, orders.
    """
    rng = random.Random(seed)
    path = folder / "v.gpkg"
    pages = planned_vineyard(path, vines, 60 if full else 6, 40 if full else 6)
    with Store.open(path) as store:
        places = [(r, p, k) for r, p, k in store.frame("work")[["row", "position", "kind"]].to_numpy().tolist()]
    phones = [Phone(api, chromium, pages, folder / f"profile{n}", f"phone{n}") for n in range(3)]
    common = places[:shared]  # two phones say something of these
    walks = [[*common, *places[shared::3]], [*common, *places[shared + 1 :: 3]], places[shared + 2 :: 3]]
    rows = list(dict.fromkeys(row for row, _, _ in places))
    happened: Counter[str] = Counter()
    files = []
    for n, (phone, walk) in enumerate(zip(phones, walks, strict=True)):
        own: list[Path] = []
        _walk(phone, walk, rng, kill_every)
        if full or n == 2:
            phone.prune(rows[n::3])
            phone.digits_stay()
        if full or n < 2:

            def midway(phone=phone, own=own, n=n):
                if n == 1:
                    own.append(folder / "midday.json")
                    phone.midday(own[0])
                    happened["clocks set back"] += 1

            phone.count_buds(rng, f"part {n}", 15 if full else 2, killed=full or n == 0, midway=midway)
        if n == 1:
            _walk(phone, walk[-len(walk) // 4 :], rng, kill_every, again=True)
        phone.held()
        own.append(phone.handover(folder / f"phone{n}.json"))
        if full or n == 1:
            phone.recheck(rng, killed=True)
            own.append(phone.handover(folder / f"recheck{n}.json"))
        files.append(own)
    for phone in phones:
        happened.update({"records": phone.records, "kills": phone.kills, "taps on a full store": phone.full})
        phone.close()
    orders = list(itertools.permutations(range(3))) if full else [(0, 1, 2), (2, 1, 0)]
    stands = []
    for order in orders:
        copy = folder / "copy.gpkg"
        copy.write_bytes(path.read_bytes())
        turn = -1 if order[0] > order[-1] else 1  # what a phone sent at midday comes after its evening as well
        for file in (
            file for n in (*order, order[0]) for file in files[n][::turn]
        ):  # the first once more: the same twice changes nothing
            bring_files(copy, file)
        with Store.open(copy) as store:
            stands.append({name: _plain(store.frame(name)) for name in TABLES})
        happened["orders"] += 1
    assert all(one == stands[0] for one in stands)
    _held_against(stands[0], phones, {vine[:2] for vine in common}, vines)
    _counted(stands[0], phones)
    return happened


#: What the phones write.
TABLES = ("work", "symptoms", "plants", "surveys", "bud_counts", "pruning")


def _walk(phone, walk, rng, kill_every, *, again=False):
    """Decide on the vines of a walk; `again` says it of vines that were decided on before, otherwise."""
    since = 0
    for k, (row, position, kind) in enumerate(walk):
        before = phone.records
        if k == len(walk) // 3 and not again:
            phone.refused_when_full(row, position)
        if again and (row, position) in phone.saved:
            phone.take_back(row, position)
        phone.decide(row, position, outcome_of(rng, kind))
        if rng.random() < 0.05:
            phone.take_back(row, position)
            if rng.random() < 0.5:
                phone.decide(row, position, outcome_of(rng, kind))
        since += phone.records - before
        if since >= kill_every:
            phone.kill()
            since = 0


def _plain(frame):
    """Return what the records of a frame say, in an order of their own; which version of several is a matter of ids."""
    columns = [name for name in frame.columns if name not in ("recorded_at", "read_from")]
    return sorted(json.dumps([str(cell) for cell in line]) for line in frame[columns].to_numpy().tolist()), columns


def _lines(stand):
    lines, columns = stand
    return [dict(zip(columns, json.loads(line), strict=True)) for line in lines]


def _held_against(stands, phones, common, vines):
    """Nothing lost and nothing twice: each piece stands once, as its phone said last."""
    work = _lines(stands["work"])
    assert len(work) == vines
    saved = [phone.saved for phone in phones]
    for line in work:
        vine = line["row"], line["position"]
        told = [one[vine] for one in saved if vine in one]
        if vine in common:
            words = {(one["status"], one.get("not_done", "")) for one in told} | (
                {("planned", "")} if len(told) < 2 else set()
            )
            assert (line["status"], line["not_done"]) in words, (vine, line, told)
            continue
        if not told:
            assert (line["status"], line["not_done"]) == ("planned", ""), (vine, line)
            continue
        (one,) = told
        assert (line["status"], line["not_done"]) == (one["status"], one.get("not_done", "")), (vine, line, one)
        assert line["wound_protected"] == one.get("protected", ""), (vine, line, one)
        if "height" in one:
            assert float(line["cut_height_cm"]) == one["height"], (vine, line, one)
    for table, wanted in (("symptoms", "face"), ("plants", "gone")):
        there = Counter(
            (line["row"], line["position"])
            for line in _lines(stands[table])
            if table == "plants" or line["symptom"] == "wood_staining"
        )
        said = Counter(
            vine
            for one in saved
            for vine, outcome in one.items()
            if ("face" in outcome if wanted == "face" else outcome.get("not_done") == "vine_gone")
        )
        assert {v: n for v, n in there.items() if v not in common} == {
            v: n for v, n in said.items() if v not in common
        }, table
        assert all(there[vine] <= 2 for vine in common)


def _counted(stands, phones):
    """Buds, rows pruned and answers of the recheck stand once each, as their phone said."""
    counts = sorted(
        (
            phone.name,
            part,
            len(canes),
            len(buds),
            sum(bud[0] == "dead" for bud in buds),
            sum(bud[1] == "alive" for bud in buds),
        )
        for phone in phones
        for part, canes in phone.counts
        for buds in [[bud for cane in canes for bud in cane]]
    )
    columns = ("canes", "buds", "primary_dead", "secondary_alive")
    number = lambda cell: int(float(cell)) if cell not in ("", "nan", "<NA>") else 0  # noqa: E731
    there = [
        (line["observer"], line["part"], *(number(line[name]) for name in columns))
        for line in _lines(stands["bud_counts"])
    ]
    assert sorted(there) == counts
    pruned = [(line["crew"], line["covered"]) for line in _lines(stands["pruning"])]
    assert sorted(pruned) == sorted((phone.name, label) for phone in phones for label in phone.pruned)
    covered = [(line["observer"], vine) for line in _lines(stands["surveys"]) for vine in line["covered"].split("; ")]
    assert sorted(covered) == sorted((phone.name, vine) for phone in phones for vine in phone.answers)
    assert len(_lines(stands["surveys"])) == sum(bool(phone.answers) for phone in phones)
    seen = [
        (line["observer"], f"{line['row']}:{line['position']}", line["symptom"])
        for line in _lines(stands["symptoms"])
        if line["symptom"] != "wood_staining"
    ]
    told = [(phone.name, vine, one) for phone in phones for vine, symptoms in phone.answers.items() for one in symptoms]
    assert sorted(seen) == sorted(told)
