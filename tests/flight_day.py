"""A day in flight mode: phones walk the winter's list, their browsers are killed, stores run full, clocks are set back.

What the page said it had saved is kept in plain Python beside it. After the day the hand-overs are loaded in every
order, and what stands is held against that.
"""

import itertools
import json
import os
import random
import signal
import time
from collections import Counter
from pathlib import Path

from trunkwatch.intake import add_records, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.handed_over import block_mark
from trunkwatch.sheets.field_page import field_data, field_page
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk

FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run"]  # fmt: skip
BLOCK = {"block": "Long", "planted": 2005, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral",
         "row_bearing_deg": 10}  # fmt: skip
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


def planned_vineyard(path, vines, a_row=60):
    """Write a vineyard with one piece of planned work on each of so many vines."""
    rows = -(-vines // a_row)
    start_file(path, BLOCK, rows, a_row)
    work = [
        {"block": "Long", "row": str(1 + n // a_row), "position": str(1 + n % a_row), "date": "2026-01-15", "status": "planned",
         "kind": KINDS[n % len(KINDS)], **({"arm": "end", "cut_height_cm": 85} if KINDS[n % len(KINDS)] == "renew_arm" else {})}
        for n in range(vines)
    ]  # fmt: skip
    add_records(path, "work", work)
    with Store.open(path) as store:
        mark = block_mark(store, "Long")
        data = field_data(to_walk(store, "Long", 2026), identity="day", look="dormant", language="en", mark=mark)
    page = path.with_suffix(".html")
    page.write_text(field_page(data), "utf-8")
    return page


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


class Phone:
    """One phone: its page, and what the page said it had saved."""

    def __init__(self, api, chromium, page_path, profile, name, *, offset=0) -> None:
        self.api, self.chromium, self.path, self.profile, self.name, self.offset = (
            api, chromium, page_path, profile, name, offset,
        )  # fmt: skip
        self.saved: dict[tuple[str, str], dict] = {}
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
        self.context.add_init_script(TRAPS.replace("OFFSET", str(self.offset)))
        self.page = self.context.pages[0]
        self.page.goto(self.path.as_uri())
        self.page.wait_for_selector("body[data-ready=yes]")

    def kill(self):
        """End the browser at once and open the page anew: every record of which it said so is there."""
        kill_browser(self.profile)
        self.kills += 1
        self.start()
        self.held()

    def held(self):
        """Hold what lies on the phone against what it said."""
        kept = self.page.evaluate(
            "items.filter((one) => one.table === 'work' && one.state === 'live').map((one) => [one.row.row, one.row.position, one.row.status, one.row.not_done || ''])"
        )
        assert len(kept) == len({tuple(one[:2]) for one in kept}), f"{self.name}: a vine twice"
        told = {(row, position): (status, why) for row, position, status, why in kept}
        assert told == {vine: (one["status"], one.get("not_done", "")) for vine, one in self.saved.items()}, self.name

    def set_clock(self, offset):
        """Set the phone's clock."""
        self.offset = offset
        self.page.evaluate(f"window.offset = {offset}")

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
                where = {"height": f"[data-height='{outcome['height']}']" if key == "height" else "",
                         "face": {0: "#clean", "": "#stained"}.get(outcome.get("face"), f"[data-stain='{outcome.get('face')}']"),
                         "protected": {"yes": "#protected", "no": "#open_wound"}.get(outcome.get("protected"), "")}[key]  # fmt: skip
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

    def handover(self, path):
        """Return the file that the phone hands over."""
        path.write_text(self.page.evaluate("together().then((out) => JSON.stringify(out))"), "utf-8")
        return path

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


def fly(api, chromium, folder, *, vines, kill_every, shared, seed=1):
    """Let three phones walk a list for a day in flight mode, load what they hand over in every order, and check all of it.

    Returns
    -------
    Counter
        What happened: records, kills, taps on a full store, clocks set back, orders.
    """
    rng = random.Random(seed)
    path = folder / "v.gpkg"
    page = planned_vineyard(path, vines)
    with Store.open(path) as store:
        places = [(r, p, k) for r, p, k in store.frame("work")[["row", "position", "kind"]].to_numpy().tolist()]
    phones = [Phone(api, chromium, page, folder / f"profile{n}", f"phone{n}") for n in range(3)]
    common = places[:shared]  # two phones say something of these
    walks = [[*common, *places[shared::3]], [*common, *places[shared + 1 :: 3]], places[shared + 2 :: 3]]
    happened: Counter[str] = Counter()
    for n, (phone, walk) in enumerate(zip(phones, walks, strict=True)):
        since = 0
        for k, (row, position, kind) in enumerate(walk):
            before = phone.records
            if k == len(walk) // 3:
                phone.refused_when_full(row, position)
            if n == 1 and k == len(walk) // 2:
                phone.set_clock(-3 * 3600 * 1000)
                happened["clocks set back"] += 1
            phone.decide(row, position, outcome_of(rng, kind))
            if rng.random() < 0.05:
                phone.take_back(row, position)
                if rng.random() < 0.5:
                    phone.decide(row, position, outcome_of(rng, kind))
            since += phone.records - before
            if since >= kill_every:
                phone.kill()
                since = 0
        phone.held()
    files = [phone.handover(folder / f"phone{n}.json") for n, phone in enumerate(phones)]
    for phone in phones:
        happened.update({"records": phone.records, "kills": phone.kills, "taps on a full store": phone.full})
        phone.close()
    stands = []
    for order in itertools.permutations(files):
        copy = folder / "copy.gpkg"
        copy.write_bytes(path.read_bytes())
        for file in (*order, order[0]):  # the first once more: the same twice changes nothing
            bring_files(copy, file)
        with Store.open(copy) as store:
            stands.append({name: _plain(store.frame(name)) for name in ("work", "symptoms", "plants")})
        happened["orders"] += 1
    assert all(one == stands[0] for one in stands)
    _held_against(stands[0], phones, {vine[:2] for vine in common}, vines)
    return happened


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
        there = Counter((line["row"], line["position"]) for line in _lines(stands[table]))
        said = Counter(
            vine for one in saved for vine, outcome in one.items()
            if ("face" in outcome if wanted == "face" else outcome.get("not_done") == "vine_gone")
        )  # fmt: skip
        assert {v: n for v, n in there.items() if v not in common} == {
            v: n for v, n in said.items() if v not in common
        }, table
        assert all(there[vine] <= 2 for vine in common)
