"""Asks the desk what nobody should ask: hostile values at every address, bodies of every kind, with and without rights.

Run: python tests/fuzz/asking.py 20000 [SEED]  -- tells what broke, and what wrote without a right.
"""

import io
import json
import random
import re
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from flask import got_request_exception

from trunkwatch.access.may import ROLES, Right
from trunkwatch.access.people import add_person, people_of, person_in
from trunkwatch.access.phones import pair_phone, phones_of
from trunkwatch.access.private import private_folder
from trunkwatch.access.signature import literal_json, signature, signed_bytes
from trunkwatch.intake import add_records, start_file
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import TABLES, records_of
from trunkwatch.web.allowed import NEEDS, PHONE_COOKIE
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"
#: So many requests are asked of one desk, then it is made anew.
TURN = 200
BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
#: Endpoints that take long, or end a pass: asked seldom.
HEAVY = {
    "leave",
    "views.report",
    "views.map_page",
    "views.pattern",
    "views.decide_page",
    "writing.plan",
    "imports.hand_in",
    "imports.look",
}
TEXTS = ["", " ", "North", "Far/North", "South", "Foreign", "1", "2", "0", "-1", "999999999999999999999", "1e308", "NaN", "Infinity", "\x00", "\n", "\r\nSet-Cookie: a=b", "../../etc/passwd", "..", "%2e%2e%2f",
         "%00", "%ff", "<script>alert(1)</script>", "{{7*7}}", "${7*7}", "'; DROP TABLE symptoms;--", '"', "\\", "\u202e", "\ufeff", "\U0001f347", "\u0000\ud800".encode("utf-16", "surrogatepass").decode("utf-16", "replace"),
         "e\u0301", "\u0661", "A" * 300, "2026-08-05", "2026-13-45", "0000-00-00", "leaf_stripe", "yes", "done", "planned", "//evil.example", "https://evil.example/", "=cmd|' /C calc'!A0", "Ana", "phone 1", "plan", "keep", "look"]  # fmt: skip
TYPES = [
    "application/json",
    "application/json; charset=utf-16",
    "text/plain",
    "application/x-www-form-urlencoded",
    "multipart/form-data",
    "multipart/form-data; boundary=x",
    "application/xml",
    "",
    "\u00e9/json",
]
METHODS = ["GET", "POST", "POST", "POST", "POST", "PUT", "DELETE", "PATCH", "HEAD", "OPTIONS", "TRACE", "GE T"]


@dataclass
class World:
    """A desk with people, and a browser for each."""

    folder: Path
    chance: random.Random
    broken: list[BaseException] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.path = self.folder / "v.gpkg"
        start_file(self.path, BLOCK, 3, 6)
        start_file(self.path, {**BLOCK, "vineyard": "Far", "block": "South"}, 2, 4)
        walk = {"survey": "s", "block": "North", "date": "2026-08-01", "covered": "1..3"}
        add_records(self.path, "surveys", [walk])
        seen = {"block": "North", "row": "1", "date": "2026-08-05", "symptom": "leaf_stripe"}
        add_records(
            self.path,
            "symptoms",
            [
                {**seen, "position": "1", "device": "Ana, desk"},
                {**seen, "position": "2", "device": "Ben, desk"},
                {**seen, "position": "3"},
            ],
        )
        add_records(
            self.path,
            "work",
            [
                {
                    "block": "North",
                    "row": "1",
                    "position": "4",
                    "date": "2026-12-01",
                    "kind": "renew_arm",
                    "arm": "start",
                    "status": "planned",
                }
            ],
        )
        self.app = create_app(self.path, hosts=frozenset({HOST}))
        got_request_exception.connect(self._broke, self.app)
        self.browsers = {"nobody": self.app.test_client()}
        self.salts: dict[str, str] = {}
        for name, role in (("Kay", "keeper"), ("Ana", "scout"), ("Ben", "reader"), ("Max", "manager")):
            person, code = add_person(self.path, name, ROLES[role])
            browser = self.app.test_client()
            entered = browser.post("/enter", data={"code": code}, headers={"Host": HOST, "Origin": f"http://{HOST}"})
            if entered.status_code != 302:
                raise RuntimeError(f"{name} is not let in")
            self.browsers[name], self.salts[name] = browser, person.salt
        _, cookie = pair_phone(self.path, person="Ana")
        self.browsers["phone"] = self.app.test_client()
        self.browsers["phone"].set_cookie(PHONE_COOKIE, cookie, domain="127.0.0.1")
        rules = [rule for rule in self.app.url_map.iter_rules() if rule.endpoint not in ("static", "shared")]
        self.rules = [rule for rule in rules for _ in range(8 if rule.endpoint.startswith("writing.") else 1)]

    def _broke(self, _app: object, exception: BaseException) -> None:
        self.broken.append(exception)

    def may(self, name: str) -> frozenset[Right]:
        """Return what a browser may do now: a keeper among them may have removed its person."""
        person = next(
            (one for one in people_of(self.path).values() if one.name == ("Ana" if name == "phone" else name)), None
        )
        if person is None or (name != "phone" and person.salt != self.salts.get(name)):
            return frozenset()
        if name == "phone":
            return (
                frozenset({Right.LOG}) & person.may if any(one.lives for one in phones_of(self.path)) else frozenset()
            )
        return person.may

    def records(self) -> dict[str, dict[str, tuple[str, str, str, str]]]:
        """Return device, what it corrects, status and void of every record, by table and id."""
        with Store.open(self.path) as store:
            return {
                table: {
                    str(one["id"]): (
                        str(one["device"]),
                        str(one["corrects"]),
                        str(one.get("status", "")),
                        str(one["void"]),
                    )
                    for one in records_of(store.stored(table))
                }
                for table in TABLES
            }

    def kept(self) -> tuple[bytes, bytes]:
        """Return the lists of people and phones as they are."""
        folder = private_folder(self.path)
        return (folder / "people.json").read_bytes(), (folder / "phones.json").read_bytes()


def value(chance: random.Random, deep: int = 0) -> object:
    """Return a value of any kind."""
    kind = chance.randrange(12)
    if kind < 5:
        return chance.choice(TEXTS)
    if kind == 5 and deep < 4:
        return [value(chance, deep + 1) for _ in range(chance.randrange(4))]
    if kind == 6 and deep < 4:
        return {
            chance.choice(["id", "block", "table", "records", "row", *TEXTS]): value(chance, deep + 1)
            for _ in range(chance.randrange(4))
        }
    return chance.choice(
        [None, True, False, 0, 1, -1, 3.5, 10**400, -(10**30), 1e308, float("nan"), float("inf"), chance.random()]
    )


def mutated(chance: random.Random, told: object) -> object:
    """Return what is good with some of it changed."""
    if isinstance(told, dict):
        out = {name: mutated(chance, one) for name, one in told.items() if chance.random() > 0.03}
        return {**out, chance.choice(TEXTS): value(chance)} if chance.random() < 0.05 else out
    if isinstance(told, list):
        return [mutated(chance, one) for one in told] * chance.choice([1, 1, 1, 1, 0, 2])
    return value(chance) if chance.random() < 0.03 else told


def good_body(world: World, endpoint: str) -> dict[str, object]:
    """Return a body that the endpoint may take."""
    chance = world.chance
    table = chance.choice(["symptoms", "symptoms", "symptoms", "surveys", "work", "plants", "blocks"])
    every = world.records()
    ids = [name for own in every.values() for name in own]
    seen = {
        "block": chance.choice([*["North"] * 6, "Far/South", "Foreign"]),
        "vineyard": chance.choice([*[""] * 6, "v", "Far", "Elsewhere"]),
        "row": str(chance.randrange(1, 4)),
        "position": str(chance.randrange(1, 8)),
        "date": "2026-08-05",
        "observer": chance.choice(TEXTS),
        "device": chance.choice(TEXTS),
    }
    made = {
        "symptoms": {**seen, "symptom": "leaf_stripe"},
        "surveys": {"block": seen["block"], "date": "2026-08-05", "covered": "1"},
        "work": {**seen, "kind": "renew_arm", "status": chance.choice(["done", "planned"]), "date": "2026-03-05"},
        "plants": {"block": "North", "row": "1", "position": "2", "planted": "2020"},
        "blocks": {"block": "New"},
    }[table]
    if endpoint == "writing.sync":
        handed = {**made, "id": chance.choice([*ids, f"f{chance.randrange(10**6)}"])}
        if chance.random() < 0.4:
            handed |= {"corrects": chance.choice(ids), "void": chance.choice(["", "yes"])}
        root = next(iter(every["blocks"]))
        told = {
            "trunkwatch_handover": chance.choice([1, 2, 2, 2, 3]),
            "block": "North",
            "block_root": chance.choice([root, root, root, *ids]),
            table: [handed],
        }
        phone = chance.choice(phones_of(world.path))
        told = mutated(chance, told) | {"phone": chance.choice([phone.id] * 4 + ["x"])}
        if phone.lives and chance.random() < 0.8:
            told["signature"] = signature(phone.secret, signed_bytes(literal_json(json.dumps(told))))
        return told
    if endpoint in ("writing.correct", "writing.planned_again"):
        return {
            "table": table,
            "id": chance.choice([*every[table], *every[table], *ids]),
            "changes": chance.choice([{"position": "3"}, {"status": "done"}, {"note": "x"}, {"block": "Far/South"}]),
            "void": chance.random() < 0.3,
        }
    if endpoint == "writing.plan":
        return {"block": chance.choice(["North", "Far/South", "Foreign"]), "crew_days": 3}
    if endpoint == "enter_code":
        return {"code": f"00{chance.randrange(6)}-{chance.randrange(10**4):04d}"}
    return {"table": table, "records": [made]}


@dataclass(frozen=True)
class Asked:
    """One request, and what was wrong about its answer."""

    what: str
    status: int
    wrong: tuple[str, ...]
    wrote: bool


def ask(world: World) -> Asked:
    """Ask once."""
    chance = world.chance
    rule = chance.choice(world.rules)
    while rule.endpoint in HEAVY and chance.random() < 0.95:
        rule = chance.choice(world.rules)
    name = chance.choice([*world.browsers, "Ana", "Ana", "Max", "phone"])
    method = chance.choice(sorted(rule.methods & {"GET", "POST"})) if chance.random() < 0.9 else chance.choice(METHODS)
    known = {
        "block": ["North", "North", "South", "Far/South"],
        "row": ["1", "2"],
        "position": ["2"],
        "kind": ["findings", "strip", "lists"],
        "file": ["index.html", "worker.js"],
    }
    where = re.sub(
        r"<(?:\w+:)?(\w+)>",
        lambda part: _quoted(chance.choice(known.get(part[1], ["x"]) if chance.random() < 0.7 else TEXTS)),
        rule.rule,
    )
    if chance.random() < 0.3:
        where += f"?{chance.choice(['season', 'survey', 'next', 'sheet', 'look', 'language', 'heading', 'shown', 'size'])}={_quoted(chance.choice(TEXTS))}"
    headers = {"Host": HOST if chance.random() < 0.97 else "evil.example"}
    if chance.random() < 0.95:
        headers["Origin"] = f"http://{HOST}" if chance.random() < 0.95 else "http://evil.example"
    body, kind = _body(world, rule.endpoint)
    before, lists = world.records(), world.kept()
    may, size = world.may(name), len(world.broken)
    try:
        answer = world.browsers[name].open(
            where,
            method=method,
            headers=headers,
            environ_base={"REMOTE_ADDR": f"198.51.100.{chance.randrange(250)}"},
            **({"data": body, "content_type": kind} if method != "GET" else {}),
        )
        text, status = answer.get_data(as_text=False), answer.status_code
        answer.close()
    except (UnicodeError, ValueError) as error:  # the test client itself cannot put it into a request
        return Asked(f"{method} {rule.rule}", 0, () if len(world.broken) == size else (repr(error),), wrote=False)
    wrong = [repr(one) for one in world.broken[size:]]
    if status >= 500 or b"Traceback" in text:
        wrong.append(f"answer {status}")
    after = world.records()
    if after != before:
        wrong += _unallowed(world, name, rule.endpoint, may, before, after)
    if world.kept() != lists and Right.KEEP not in may:
        wrong.append("people or phones changed without the right")
    shown = f"{name} {method} {where[:80]} {str(body)[:300]}"
    return Asked(shown, status, tuple(wrong), wrote=after != before)


def _quoted(text: str) -> str:
    from urllib.parse import quote

    return quote(text.encode("utf-8", "replace"), safe="%/" if text.startswith("%") else "")


def _body(world: World, endpoint: str) -> tuple[object, str]:
    chance = world.chance
    draw = chance.random()
    if endpoint.startswith(("writing.", "enter_code")) and draw < 0.9:
        return json.dumps(
            good_body(world, endpoint) if endpoint == "writing.sync" else mutated(chance, good_body(world, endpoint))
        ), "application/json" if chance.random() < 0.95 else chance.choice(TYPES)
    if draw < 0.93:
        form: dict[str, object] = {
            chance.choice(
                [
                    "name",
                    "may",
                    "code",
                    "device",
                    "block",
                    "person",
                    "keep_good",
                    "mapped",
                    "sheet",
                    "heading",
                    "row",
                    "position",
                    "status",
                    "unsigned",
                ]
            ): chance.choice(TEXTS)
            for _ in range(6)
        }
        if endpoint == "imports.hand_in":
            form["file"] = (
                io.BytesIO(chance.choice([b"", b"block,row\nNorth,1\n", b"\x00" * 50, b"{}", b"[" * 2000])),
                chance.choice(["symptoms.csv", "a.json", "x.xlsx", "v.gpkg", "a.csv", "../x.csv", "\u202egpj.csv"]),
            )
        return form, "multipart/form-data" if "file" in form else chance.choice(TYPES[3:5])
    return chance.randbytes(chance.randrange(200)) if draw < 0.97 else b"[" * 3000, chance.choice(TYPES)


def _unallowed(world: World, name: str, endpoint: str, may: frozenset[Right], before: dict, after: dict) -> list[str]:
    """Say which records were written that the browser's person may not write."""
    if endpoint not in NEEDS or not NEEDS[endpoint] & may:
        return [f"{name} wrote by {endpoint} without a right"]
    wrong = []
    # Whoever carries it to the desk, what a paired phone signed is its person's word, and has that person's rights.
    signed = endpoint == "writing.sync" and any(
        one[0] == "Ana, phone 1" for table, own in after.items() for key, one in own.items() if key not in before[table]
    )
    person = "Ana" if name == "phone" or signed else name
    may = world.may("phone") if signed else may
    for table, own in after.items():
        for record, (device, corrects, status, void) in own.items():
            if record in before[table]:
                continue
            if not endpoint.startswith("imports.") and person not in (
                person_in(device),
                person_in(device.removeprefix("plan; ")),
            ):
                wrong.append(f"{table} {record} says {device!r}, {person} wrote it")
            if not corrects or Right.CORRECT_ALL in may or endpoint.startswith("imports."):
                continue
            old = [one for key, one in before[table].items() if key == corrects or one[1] == corrects]
            ticked = (
                table == "work"
                and void != "yes"
                and status in ("done", "planned")
                and any(one[2] == "planned" for one in old)
            )
            if not ticked and not any(person_in(one[0]) == person for one in old):
                wrong.append(f"{person} corrected {table} {corrects}, which others wrote")
    return wrong


def run(many: int, seed: int, folder: Path) -> list[Asked]:
    """Ask so many times; the same seed asks the same."""
    out: list[Asked] = []
    for turn in range(0, many, TURN):
        place = folder / f"turn{turn}"
        place.mkdir()
        world = World(place, random.Random(f"{seed} {turn}"))
        out += [ask(world) for _ in range(min(TURN, many - turn))]
    return out


__all__ = ["Asked", "World", "ask", "run"]

if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as home:
        asked = run(wanted, int(sys.argv[2]) if len(sys.argv) > 2 else 1, Path(home))
    print(f"{len(asked):,} requests in {time.monotonic() - started:.0f} s; {sum(one.wrote for one in asked):,} wrote")
    print(
        "answers:",
        ", ".join(f"{status}: {count:,}" for status, count in sorted(Counter(one.status for one in asked).items())),
    )
    for one in asked:
        if one.wrong:
            print("WRONG", one.what, one.wrong)
    sys.exit(1 if any(one.wrong for one in asked) else 0)
