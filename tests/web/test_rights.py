"""trunkwatch.web: allowed, keeping, pairing, security, app; trunkwatch.intake: own; who may do what, and what is noted of it."""

import io
import json
import re
from pathlib import Path

import pytest

from trunkwatch.access.audit import entries_of
from trunkwatch.access.may import EVERYTHING, ROLES, Right
from trunkwatch.access.people import add_person, new_code, people_of, remove_person
from trunkwatch.access.phones import pair_phone, phones_of, stop_phone
from trunkwatch.access.private import private_folder
from trunkwatch.access.signature import literal_json, signature, signed_bytes
from trunkwatch.intake import add_records, start_file
from trunkwatch.store import Store
from trunkwatch.web.allowed import NEEDS, OPEN, PHONE_ROUTES
from trunkwatch.web.app import create_app
from trunkwatch.web.pairing import HOLDS_S, Invitations
from trunkwatch.web.security import FREE_TRIES, Gate

HOST = "127.0.0.1:8321"
BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
FINDING = {"block": "North", "row": "1", "position": "2", "date": "2026-08-05", "symptom": "leaf_stripe", "observer": "somebody"}  # fmt: skip


@pytest.fixture
def path(tmp_path) -> Path:
    start_file(tmp_path / "v.gpkg", BLOCK, 3, 8)
    add_records(
        tmp_path / "v.gpkg", "surveys", [{"survey": "s", "block": "North", "date": "2026-08-01", "covered": "1..3"}]
    )
    return tmp_path / "v.gpkg"


class Browser:
    """A browser with its own cookies."""

    def __init__(self, app, address="192.0.2.10") -> None:
        self.client, self.address = app.test_client(), address

    def ask(self, where, *, method="GET", **more):
        headers = {"Host": HOST, **({} if method == "GET" else {"Origin": f"http://{HOST}"})}
        answer = self.client.open(
            where, method=method, headers=headers, environ_base={"REMOTE_ADDR": self.address}, **more
        )
        answer.get_data()
        answer.close()
        return answer

    def post(self, where, **more):
        return self.ask(where, method="POST", **more)

    def enter(self, code, device="desk"):
        assert self.post("/enter", data={"code": code, "device": device}).status_code == 302
        return self

    def log(self, **more):
        return self.post("/api/log", json={"table": "symptoms", "records": [{**FINDING, **more}]})


@pytest.fixture
def app(path):
    return create_app(path, hosts=frozenset({HOST}))


@pytest.fixture
def desk(app, path):
    """Return browsers of people with the rights asked for; Keeper is there first."""
    add_person(path, "Keeper", EVERYTHING)

    def browser(name, *rights, device="desk"):
        return Browser(app).enter(add_person(path, name, frozenset(rights))[1], device)

    return browser


def symptoms(path):
    with Store.open(path) as store:
        return store.frame("symptoms")


def test_no_route_that_writes_is_without_a_right_or_a_reason(app):
    writing = {rule.endpoint for rule in app.url_map.iter_rules() if rule.methods - {"GET", "HEAD", "OPTIONS"}}
    assert len(writing) >= 16
    assert writing - set(NEEDS) - set(OPEN) == set()
    assert (set(NEEDS) | set(OPEN)) - {rule.endpoint for rule in app.url_map.iter_rules()} == set()
    assert all(NEEDS.values())
    assert set(NEEDS) & set(OPEN) == set()


def test_a_route_that_writes_and_stands_in_no_list_is_refused(path):
    app = create_app(path, hosts=frozenset({HOST}))
    app.add_url_rule("/forgotten", "forgotten", lambda: "written", methods=["GET", "POST"])
    assert Browser(app).post("/forgotten").status_code == 403
    assert Browser(app).ask("/forgotten").status_code == 200


def filled(rule):
    """Return an address of a rule."""
    return re.sub(r"<(?:\w+:)?(\w+)>", lambda found: {"block": "North", "vines": "40"}.get(found[1], "x"), rule.rule)


def test_every_route_refuses_whoever_has_none_of_its_rights(app, desk, path):
    """Each right alone at every address: what is not refused is allowed by the table."""
    before = path.read_bytes()
    for right in Right:
        browser = desk(f"Only {right.value}", right)
        for rule in app.url_map.iter_rules():
            if rule.endpoint in OPEN:
                continue
            for method in sorted(rule.methods & {"GET", "POST"}):
                needed = NEEDS.get(rule.endpoint, frozenset({Right.LOOK}))
                if right in needed or (rule.endpoint in PHONE_ROUTES and right is Right.LOG):
                    continue
                answer = browser.ask(filled(rule), method=method)
                assert answer.status_code == 403, (right, rule)
                assert f"Only {right.value} may not do this; it needs the right" in answer.get_data(
                    as_text=True
                ).replace("&#39;", "'")
    assert path.read_bytes() == before


def test_without_people_everything_is_as_it_was(app, path):
    browser = Browser(app)
    assert browser.log(device="tablet").get_json()["new"] == 1
    assert symptoms(path)["device"].tolist() == ["tablet"]
    assert browser.ask("/people").status_code == 200
    coded = Browser(create_app(path, hosts=frozenset({HOST}), access_code="12345678"))
    assert coded.ask("/").status_code == 302
    coded.enter("12345678")
    assert coded.ask("/audit").status_code == 200


def test_a_person_is_made_at_the_desk_and_everybody_else_is_out(app, path):
    browser = Browser(app)
    refused = browser.post("/people/add", data={"name": "Ben", "may": ["look", "log"]})
    assert (refused.status_code, "the first needs the right keep" in refused.get_data(as_text=True)) == (409, True)
    page = browser.post("/people/add", data={"name": "Ana", "may": [right.value for right in Right]}).get_data(
        as_text=True
    )
    code = re.search(r'id="new_code">([0-9-]+)<', page)[1]
    assert browser.ask("/").status_code == 302
    assert browser.log().status_code == 401
    browser.enter(code, "tablet 2")
    assert code not in browser.ask("/people").get_data(as_text=True)
    assert "Log out Ana" in browser.ask("/").get_data(as_text=True)
    page = browser.post("/people/add", data={"name": "Ben", "may": "scout"}).get_data(as_text=True)
    ben = Browser(app).enter(re.search(r'id="new_code">([0-9-]+)<', page)[1])
    assert ben.ask("/").status_code == 200
    assert "/people" not in ben.ask("/").get_data(as_text=True)
    assert browser.post("/people/remove", data={"name": "Ana"}).status_code == 409
    assert browser.post("/people/remove", data={"name": "Ben"}).status_code == 302
    assert ben.ask("/").status_code == 302  # at once
    assert people_of(path)[2].lives is False


def test_the_access_code_lets_nobody_in_once_there_are_people(path):
    app = create_app(path, hosts=frozenset({HOST}), access_code="12345678")
    old = Browser(app).enter("12345678")
    _, code = add_person(path, "Ana", EVERYTHING)
    assert old.ask("/").status_code == 302
    assert Browser(app).post("/enter", data={"code": "12345678"}).status_code == 403
    ana = Browser(app).enter(code)
    assert ana.ask("/").status_code == 200
    new_code(path, "Ana")
    assert ana.ask("/").status_code == 302
    remove_person(path, "Ana")
    assert Browser(app).ask("/").status_code == 302  # the access code is asked for again
    assert Browser(app).enter("12345678").ask("/").status_code == 200


def test_wrong_codes_of_people_make_their_address_wait(path):
    _, code = add_person(path, "Ana", EVERYTHING)
    gate = Gate(None, lambda: people_of(path))
    for _ in range(FREE_TRIES):
        assert gate.enter("001-0000-0000-0000", "192.0.2.66", now=5.0) is None
    assert gate.enter(code, "192.0.2.66", now=5.0) is None
    assert gate.enter(code, "192.0.2.7", now=5.0) is not None
    assert gate.enter(code, "192.0.2.66", now=7.0) is not None


def test_a_damaged_list_of_people_opens_nothing(path):
    app = create_app(path, hosts=frozenset({HOST}))
    private_folder(path).mkdir()
    (private_folder(path) / "people.json").write_text("{")
    for where in ("/", "/block/North", "/enter", "/api/version"):
        answer = Browser(app).ask(where)
        assert answer.status_code == 409
        assert "people.json" in answer.get_data(as_text=True)
    assert Browser(app).log().status_code == 409


def test_what_a_person_writes_names_the_person_and_the_scout_stays(desk, path):
    ana = desk("Ana", *ROLES["scout"], device="tablet 2")
    assert ana.log(device="Ben, phone 9").status_code == 200
    assert symptoms(path)[["observer", "device"]].to_numpy().tolist() == [["somebody", "Ana, tablet 2"]]
    assert desk("Cai", *ROLES["scout"], device="<b>;\x00").log(position="3").status_code == 200
    assert "Cai, desk" in symptoms(path)["device"].tolist()


def test_own_records_are_those_that_the_person_wrote(desk, path):
    ana, ben = (desk(name, *ROLES["scout"]) for name in ("Ana", "Ben"))
    boss = desk("Boss", *ROLES["manager"])
    mine = ana.log().get_json()["ids"][0]

    def correct(browser, record, **changes):
        return browser.post("/api/correct", json={"table": "symptoms", "id": record, "changes": changes})

    refused = correct(ben, mine, position="5")
    assert refused.status_code == 403
    assert "Ben may not do this; it needs the right correct-all" in refused.get_json()["error"]
    assert ben.post("/api/correct", json={"table": "symptoms", "id": mine, "void": True}).status_code == 403
    assert ben.post("/api/correct", json={"table": "symptoms", "id": "nothing", "void": True}).status_code == 403
    mine = correct(ana, mine, position="5").get_json()["stands"]["id"]
    assert symptoms(path)["device"].tolist() == ["Ana, desk"]
    theirs = correct(boss, mine, position="6").get_json()["stands"]["id"]
    assert symptoms(path)["device"].tolist() == ["Boss, desk"]
    assert correct(ana, theirs, position="7").status_code == 403
    assert boss.post("/api/correct", json={"table": "symptoms", "id": theirs, "void": True}).status_code == 200
    longer = desk("Ana-Li", *ROLES["scout"])
    assert correct(longer, ana.log(position="8").get_json()["ids"][0], position="1").status_code == 403


def test_to_log_what_another_wrote_makes_it_nobodys_own(desk, path):
    ana, ben = (desk(name, *ROLES["scout"]) for name in ("Ana", "Ben"))
    theirs = ana.log().get_json()["ids"][0]
    for more in (
        {},
        {"recorded_at": "2020-01-01"},
        {"id": theirs, "recorded_at": "2020-01-01"},
        {"id": theirs, "position": "7"},
    ):
        ben.log(**more)
        assert symptoms(path)[["id", "position", "device"]].to_numpy().tolist() == [[theirs, "2", "Ana, desk"]]
    assert ben.post("/api/correct", json={"table": "symptoms", "id": theirs, "void": True}).status_code == 403


def test_a_tick_of_planned_work_needs_the_right_to_log_only(desk, path):
    boss, crew = desk("Boss", *ROLES["manager"]), desk("Crew", Right.LOOK, Right.LOG)
    work = {
        "block": "North",
        "row": "1",
        "position": "4",
        "date": "2026-12-01",
        "kind": "renew_arm",
        "arm": "start",
        "status": "planned",
    }
    planned = boss.post("/api/log", json={"table": "work", "records": [work]}).get_json()["ids"][0]

    def correct(record, **changes):
        return crew.post("/api/correct", json={"table": "work", "id": record, "changes": changes})

    assert correct(planned, status="dropped").status_code == 403
    assert correct(planned, status="done", position="5").status_code == 403
    done = correct(planned, status="done", date="2026-11-20", hours="0.2", crew="C")
    assert done.status_code == 200
    assert correct(done.get_json()["stands"]["id"], hours="9").status_code == 403
    assert crew.post("/api/planned-again", json={"id": done.get_json()["stands"]["id"]}).status_code == 200
    assert crew.post("/api/planned-again", json={"id": planned}).status_code == 403
    assert crew.post("/api/plan", json={"block": "North"}).status_code == 403


def test_the_mark_of_a_plan_stays_and_says_who_asked(path):
    from trunkwatch.intake.correct import correct_record, plan_again
    from trunkwatch.intake.winter_work import BlockPlan, write_winter_work

    def work(position):
        return {
            "row": "1",
            "position": position,
            "date": "2026-12-01",
            "kind": "renew_arm",
            "arm": "start",
            "status": "planned",
        }

    def devices():
        with Store.open(path) as store:
            return sorted(store.frame("work")["device"])

    write_winter_work(path, [BlockPlan("North", 2027, [work("1"), work("2")])], who="Ana, desk")
    assert devices() == ["plan; Ana, desk"] * 2
    with Store.open(path) as store:
        first = store.frame("work")["id"].iloc[0]
    ticked = correct_record(path, "work", first, {"status": "done", "date": "2026-03-20"}, device="Ben, desk")
    assert devices() == ["Ben, desk", "plan; Ana, desk"]
    plan_again(path, ticked.id, device="Ben, desk")
    assert devices() == ["plan; Ana, desk", "plan; Ben, desk"]
    done = write_winter_work(path, [BlockPlan("North", 2027, [])], who="Cai, desk")
    assert (done.dropped, done.by_hand) == (2, 0)


# ---- Phones -----------------------------------------------------------------------------------------------------


def invited(browser, **more):
    page = browser.post("/phones/invite", data={"block": "North", **more}).get_data(as_text=True)
    return re.search(r'id="address">http://[^/]+(/pair/[^<]+)<', page)[1], page


def field_data_of(phone, query=""):
    page = phone.ask(f"/field/North/index.html?season=2026{query}").get_data(as_text=True)
    return json.loads(re.search(r'id="data">(.*?)</script>', page, re.DOTALL)[1])


def handover(data, number=1, **more):
    record = {
        **FINDING,
        "vineyard": data["vineyard_name"],
        "id": f"p{number}",
        "position": str(number),
        "device": "x",
        **more,
    }
    told = {
        "trunkwatch_handover": 2,
        "vineyard": data["vineyard"],
        "block": "North",
        "season": 2026,
        "device": "x",
        "surveys": [],
        "work": [],
        "symptoms": [record],
        **{name: data[name] for name in ("vineyard_name", "block_root", "block_began")},
    }
    if "pairing" not in data:
        return told
    told["phone"] = data["pairing"]["phone"]
    return {**told, "signature": signature(data["pairing"]["secret"], signed_bytes(literal_json(json.dumps(told))))}


def sync(browser, told):
    return browser.post("/api/field/North/sync", json=told)


def test_a_phone_is_paired_by_an_address_that_holds_once(app, desk, path):
    keeper, stranger, late = desk("Ana", *EVERYTHING), Browser(app), Browser(app)
    where, page = invited(keeper, person="Ana", name="phone 3")
    assert 'src="data:image/svg+xml' in page
    assert "no phone reaches the address" in page
    for _ in range(2):
        shown = stranger.ask(where)
        assert "Ana, phone 3" in shown.get_data(as_text=True)
    assert phones_of(path) == ()  # to look pairs nothing
    paired = stranger.post(where)
    assert (paired.status_code, paired.headers["Location"]) == (302, "/field/North/index.html")
    assert all(word in paired.headers["Set-Cookie"] for word in ("HttpOnly", "SameSite=Strict"))
    assert (late.post(where).status_code, late.ask(where).status_code) == (410, 410)
    data = field_data_of(stranger)
    assert data["pairing"]["device"] == "Ana, phone 3"
    assert stranger.ask("/").status_code == 302  # the phone page is all that it opens
    assert stranger.ask("/api/block/North").status_code == 401
    assert sync(stranger, handover(data)).get_json()["new"] == 1
    assert symptoms(path)[["observer", "device"]].to_numpy().tolist() == [["somebody", "Ana, phone 3"]]
    assert "pairing" not in field_data_of(keeper)  # another browser gets no secret of it
    assert data["pairing"]["secret"] not in path.read_bytes().decode("latin-1")


def test_invitations_end_and_are_few():
    waiting = Invitations()
    token = waiting.add("phone 1", "", "North", now=0.0)
    assert waiting.find(token, now=HOLDS_S - 1).name == "phone 1"
    assert waiting.find(token, now=HOLDS_S + 1) is None
    tokens = [waiting.add(f"phone {n}", "", "North", now=float(n)) for n in range(60)]
    assert [waiting.find(one, now=60.0) is None for one in tokens] == [True] * 10 + [False] * 50
    assert waiting.take(tokens[-1], now=60.0).name == "phone 59"
    assert waiting.take(tokens[-1], now=60.0) is None


def test_without_people_a_phone_is_paired_too_and_then_asked_for(app, path):
    desk = Browser(app)
    assert sync(desk, handover(field_data_of(desk))).get_json()["new"] == 1
    phone = Browser(app)
    phone.post(invited(desk)[0])
    data = field_data_of(phone)
    assert data["pairing"]["device"] == "phone 1"
    assert sync(phone, handover(data, 2)).get_json()["new"] == 1
    refused = sync(desk, handover(field_data_of(desk), 3))
    assert (refused.status_code, "is not signed" in refused.get_json()["error"]) == (409, True)
    assert desk.post("/phones/stop", data={"name": "phone 1"}).status_code == 302
    assert "pairing" not in field_data_of(phone)
    assert "was stopped" in sync(phone, handover(data, 4)).get_json()["error"]
    assert len(symptoms(path)) == 2


def test_a_phone_of_somebody_who_was_removed_or_may_not_log_is_refused(app, desk, path):
    keeper = desk("Ana", *EVERYTHING)
    desk("Ben", *ROLES["scout"])
    phone = Browser(app)
    phone.post(invited(keeper, person="Ben")[0])
    data = field_data_of(phone)
    assert keeper.post("/phones/invite", data={"block": "North", "person": "Zoe"}).status_code == 409
    keeper.post("/people/remove", data={"name": "Ben"})
    assert phones_of(path)[0].lives is False
    assert sync(phone, handover(data)).status_code == 401
    assert "was stopped" in sync(keeper, handover(data)).get_json()["error"]
    other, cookie = pair_phone(path, person="Cai")
    desk("Cai", Right.LOOK)
    cai = Browser(app)
    cai.client.set_cookie("trunkwatch_phone", cookie, domain="127.0.0.1")
    told = handover({**data, "pairing": {"phone": other.id, "secret": other.secret}})
    assert sync(cai, told).status_code == 403
    assert "may not log here any more" in sync(keeper, told).get_json()["error"]
    assert symptoms(path).empty


def test_a_hand_over_corrects_the_records_of_its_person_only(app, desk, path):
    keeper, ben = desk("Ana", *EVERYTHING), desk("Ben", *ROLES["scout"])
    theirs = ben.log(position="8").get_json()["ids"][0]
    planned = keeper.post(
        "/api/log",
        json={
            "table": "work",
            "records": [
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
        },
    ).get_json()["ids"][0]
    desk("Cai", *ROLES["scout"])
    phone = Browser(app)
    phone.post(invited(keeper, person="Cai")[0])
    data = field_data_of(phone)
    for more in ({"corrects": theirs, "void": "yes"}, {"corrects": theirs}):
        refused = sync(phone, handover(data, 1, **more))
        assert (refused.status_code, "which Cai did not write" in refused.get_json()["error"]) == (409, True)
    smuggled = handover(data)
    own = smuggled["symptoms"][0]
    smuggled |= {"symptoms": [{**own, "id": theirs}, {**own, "id": "v", "corrects": theirs, "void": "yes"}]}
    assert "did not write" in sync(phone, resigned(smuggled, data)).get_json()["error"]
    both = {**handover(data), "symptoms": [own, {**own, "id": "v1", "corrects": own["id"], "void": "yes"}]}
    assert sync(phone, resigned(both, data)).get_json()["new"] == 2
    tick = {
        "id": "t1",
        "block": "North",
        "row": "1",
        "position": "4",
        "date": "2026-11-20",
        "kind": "renew_arm",
        "arm": "start",
        "status": "done",
        "corrects": planned,
    }
    assert sync(phone, resigned({**handover(data), "symptoms": [], "work": [tick]}, data)).get_json()["new"] == 1
    assert symptoms(path)["id"].tolist() == [theirs]


def resigned(told, data):
    bare = {name: value for name, value in told.items() if name != "signature"}
    return {**bare, "signature": signature(data["pairing"]["secret"], signed_bytes(literal_json(json.dumps(bare))))}


@pytest.mark.long
def test_the_tick_on_the_import_page_takes_an_unsigned_hand_over(app, path):
    desk = Browser(app)
    told = json.dumps(handover(field_data_of(desk))).encode()
    assert 'name="unsigned"' not in desk.ask("/import").get_data(as_text=True)
    pair_phone(path)
    assert 'name="unsigned"' in desk.ask("/import").get_data(as_text=True)
    where = desk.post("/import", data={"file": (io.BytesIO(told), "day.json")}).headers["Location"]
    shown = desk.ask(where)
    assert (shown.status_code, "is not signed, and phones are paired here" in shown.get_data(as_text=True)) == (
        409,
        True,
    )
    assert desk.post(f"{where}/take").status_code == 409
    where = desk.post("/import", data={"file": (io.BytesIO(told), "day.json"), "unsigned": "yes"}).headers["Location"]
    assert "1 in symptoms" in desk.ask(where).get_data(as_text=True)
    assert "was imported" in desk.post(f"{where}/take").get_data(as_text=True)
    assert len(symptoms(path)) == 1


def test_imports_say_who_brought_what_says_nothing_itself(desk, path):
    boss = desk("Boss", *ROLES["manager"])
    text = b"block,row,position,date,symptom,device\nNorth,1,3,2026-08-05,leaf_stripe,\nNorth,1,4,2026-08-05,leaf_stripe,tablet\n"
    where = boss.post("/import", data={"file": (io.BytesIO(text), "symptoms.csv")}).headers["Location"]
    boss.post(f"{where}/take")
    assert sorted(symptoms(path)["device"]) == ["Boss, desk", "tablet"]
    foreign = b"Row,Vine,Sick\n2,1,1\n2,2,0\n"
    where = boss.post("/import", data={"file": (io.BytesIO(foreign), "counts.csv")}).headers["Location"]
    told = {
        "row": "Row",
        "position": "Vine",
        "status": "Sick",
        "case_when": "1",
        "block_label": "North",
        "day": "2026-08-20",
        "look": "summer",
        "symptom": "leaf_stripe",
        "sheet": "counts",
        "heading": "1",
    }
    assert "was imported" in boss.post(f"{where}/take", data={**told, "mapped": "yes", "sheet": "sheet"}).get_data(
        as_text=True
    )
    assert sorted(symptoms(path)["device"]) == ["Boss, desk", "Boss, desk", "tablet"]


# ---- What was done ----------------------------------------------------------------------------------------------


def test_what_was_done_is_on_the_page_and_holds_no_code_and_no_secret(app, path):
    first = Browser(app)
    first.ask("/")
    page = first.post("/people/add", data={"name": "Ana", "may": "keeper"}).get_data(as_text=True)
    code = re.search(r'id="new_code">([0-9-]+)<', page)[1]
    guesser = Browser(app, "192.0.2.66")
    guesser.post("/enter", data={"code": "001-9999-8888-7777"})
    ana = Browser(app).enter(code, "tablet 2")
    mine = ana.log().get_json()["ids"][0]
    ana.post("/api/correct", json={"table": "symptoms", "id": mine, "void": True})
    page = ana.post("/people/add", data={"name": "Ben", "may": "reader"}).get_data(as_text=True)
    ben = Browser(app).enter(re.search(r'id="new_code">([0-9-]+)<', page)[1])
    ben.log()
    phone = Browser(app)
    phone.post(invited(ana, person="Ana")[0])
    data = field_data_of(phone)
    sync(phone, handover(data))
    sync(phone, {**handover(data), "block": "x"})
    where = ana.post(
        "/import",
        data={
            "file": (io.BytesIO(b"block,row,position,date,symptom\nNorth,1,3,2026-08-05,leaf_stripe\n"), "symptoms.csv")
        },
    ).headers["Location"]
    ana.post(f"{where}/take")
    ana.post("/phones/stop", data={"name": "phone 1"})
    ana.post("/people/code", data={"name": "Ben"})
    ana.post("/people/remove", data={"name": "Ben"})
    ana.post("/leave")
    found = list(entries_of(path))[::-1]
    assert [one.done for one in found] == [
        "added a person",
        "wrong code",
        "entered",
        "wrote",
        "took back",
        "added a person",
        "entered",
        "not allowed",
        "paired a phone",
        "sent",
        "hand-over refused",
        "imported",
        "stopped a phone",
        "gave a new code",
        "removed a person",
        "left",
    ]
    assert {one.who for one in found} == {"this machine", "", "Ana, tablet 2", "Ben, desk", "Ana, phone 1"}
    assert [one.at for one in found] == sorted(one.at for one in found)
    assert all(one.at.startswith("20") for one in found)
    assert found[1].address == "192.0.2.66"
    assert found[7].more == {"asked": "writing.log"}
    assert found[3].more == {"table": "symptoms", "new": 1}
    raw = "".join(file.read_text() for file in private_folder(path).glob("*.jsonl"))
    secrets = [
        code,
        code.replace("-", ""),
        "9999",
        "7777",
        data["pairing"]["secret"],
        *(one.hashed for one in people_of(path).values() if one.hashed),
    ]
    assert [one for one in secrets if one in raw] == []
    ana = Browser(app).enter(new_code(path, "Ana")[1])
    page = ana.ask("/audit").get_data(as_text=True)
    assert page.index("removed a person") < page.index("took back") < page.index("wrong code")


def test_a_name_of_a_file_cannot_forge_a_line_or_a_tag(app, path):
    browser = Browser(app)
    name = "symptoms_<b>&{'}.csv"
    where = browser.post(
        "/import",
        data={"file": (io.BytesIO(b"block,row,position,date,symptom\nNorth,1,3,2026-08-05,leaf_stripe\n"), name)},
    ).headers["Location"]
    browser.post(f"{where}/take")
    (one,) = [one for one in entries_of(path) if one.done == "imported"]
    assert "<b>" in one.sentence
    page = browser.ask("/audit").get_data(as_text=True)
    assert "symptoms_<b>" not in page
    assert "symptoms_&lt;b&gt;" in page


def test_a_record_is_written_though_it_cannot_be_noted(app, path, capsys):
    private_folder(path).mkdir()
    (private_folder(path) / "done.jsonl").mkdir()
    assert Browser(app).log().get_json()["new"] == 1
    assert "done.jsonl cannot be written" in capsys.readouterr().err


def test_stopped_at_the_command_line_is_stopped_at_the_desk(app, path):
    phone, cookie = pair_phone(path)
    browser = Browser(app)
    browser.client.set_cookie("trunkwatch_phone", cookie, domain="127.0.0.1")
    assert field_data_of(browser)["pairing"]["phone"] == phone.id
    stop_phone(path, "phone 1")
    assert "pairing" not in field_data_of(browser)
