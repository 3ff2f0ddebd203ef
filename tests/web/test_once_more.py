"""trunkwatch.web: once_more, keeping, security: the code once more before people or phones change, and what keepers are told of it."""

import re
from pathlib import Path

import pytest

from trunkwatch.access.audit import entries_of
from trunkwatch.access.may import EVERYTHING, Right
from trunkwatch.access.people import add_person, people_of
from trunkwatch.access.phones import phones_of
from trunkwatch.intake import start_file
from trunkwatch.web.app import create_app
from trunkwatch.web.security import FREE_TRIES, PROVED_S, Gate

HOST = "127.0.0.1:8321"
BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}
CHANGES = {
    "/people/add": {"name": "Cleo", "may": ["look", "log"]},
    "/people/code": {"name": "Ben"},
    "/people/remove": {"name": "Ben"},
    "/phones/invite": {"block": "North", "person": "Ben", "name": "phone 7"},
    "/phones/stop": {"name": "phone 1"},
}


@pytest.fixture
def path(tmp_path) -> Path:
    start_file(tmp_path / "v.gpkg", BLOCK, 3, 8)
    return tmp_path / "v.gpkg"


@pytest.fixture
def app(path):
    return create_app(path, hosts=frozenset({HOST}))


class Browser:
    """A browser with its own cookies."""

    def __init__(self, app) -> None:
        self.client = app.test_client()

    def ask(self, where, **form):
        headers = {"Host": HOST, **({"Origin": f"http://{HOST}"} if form else {})}
        answer = (
            self.client.post(where, data=form, headers=headers) if form else self.client.get(where, headers=headers)
        )
        return answer.status_code, answer.get_data(as_text=True)

    def enter(self, code):
        assert self.ask("/enter", code=code, device="desk")[0] == 302
        return self


def grown_old(app):
    """Let the codes of all passes be entered long ago."""
    for one in app.extensions["gate"].passes.values():
        one.proved -= PROVED_S + 1


@pytest.fixture
def keeper(app, path):
    """Return a browser of Ana, who keeps the people, and her code; Ben may log."""
    code = add_person(path, "Ana", EVERYTHING)[1]
    add_person(path, "Ben", frozenset({Right.LOOK, Right.LOG}))
    return Browser(app).enter(code), code


@pytest.mark.parametrize("where", CHANGES)
def test_people_and_phones_are_changed_only_within_minutes_of_the_code(app, keeper, path, where):
    browser, code = keeper
    grown_old(app)
    before = (people_of(path), phones_of(path), len(app.extensions["invitations"]._waiting))
    status, page = browser.ask(where, **CHANGES[where])
    assert (status, "Your code, once more" in page) == (403, True)
    assert f'action="{where}"' in page
    for name, value in CHANGES[where].items():  # nothing that was filled in is lost
        for one in value if isinstance(value, list) else [value]:
            assert f'name="{name}" value="{one}"' in page
    assert (people_of(path), phones_of(path), len(app.extensions["invitations"]._waiting)) == before
    status, page = browser.ask(where, **CHANGES[where], own_code="000000000000000")
    assert (status, "That is not your code" in page) == (403, True)
    assert (people_of(path), phones_of(path), len(app.extensions["invitations"]._waiting)) == before
    assert next(entries_of(path)).done == "wrong code"
    status, page = browser.ask(where, **CHANGES[where], own_code=code)
    assert "Your code, once more" not in page
    assert code not in page
    if where != "/phones/stop":
        assert status in (200, 302)
        assert (people_of(path), phones_of(path), len(app.extensions["invitations"]._waiting)) != before


def test_the_code_holds_for_five_minutes_and_pages_are_looked_at_without_it(app, keeper):
    browser, code = keeper
    assert browser.ask("/people/add", name="Cleo", may="look")[0] == 200
    grown_old(app)
    assert browser.ask("/people")[0] == browser.ask("/phones")[0] == browser.ask("/audit")[0] == 200
    assert browser.ask("/people/add", name="Dan", may="look", own_code=code)[0] == 200
    assert browser.ask("/people/add", name="Eve", may="look")[0] == 200
    assert PROVED_S == 300


def test_the_code_of_somebody_else_is_a_wrong_one_and_tries_are_limited(app, keeper, path):
    browser, code = keeper
    other = add_person(path, "Zoe", EVERYTHING)[1]
    grown_old(app)
    for _ in range(FREE_TRIES):
        assert browser.ask("/people/code", name="Ben", own_code=other)[0] == 403
    status, page = browser.ask("/people/code", name="Ben", own_code=code)
    assert (status, bool(re.search(r"wait \d+ seconds", page))) == (403, True)


def test_the_form_is_filled_in_and_sent_by_the_keyboard_alone(app, keeper):
    browser, _ = keeper
    grown_old(app)
    page = browser.ask("/people/code", name="Ben")[1]
    field = re.search(r"<input[^>]*name=\"own_code\"[^>]*>", page)[0]
    assert "autofocus" in field
    assert 'type="password"' in field
    assert '<label for="own_code">' in page
    assert page.count("<button") - page.count('action="/leave"') >= 1


def test_where_nobody_is_asked_for_a_code_nobody_is_asked_once_more(app, path):
    browser = Browser(app)
    assert browser.ask("/people/add", name="Ana", may=[right.value for right in Right])[0] == 200
    assert "Ana" in [one.name for one in people_of(path).values()]


def test_the_access_code_is_asked_for_once_more_too(path):
    app = create_app(path, hosts=frozenset({HOST}), access_code="12345678")
    browser = Browser(app).enter("12345678")
    grown_old(app)
    every = [right.value for right in Right]
    assert browser.ask("/people/add", name="Ana", may=every)[0] == 403
    assert browser.ask("/people/add", name="Ana", may=every, own_code="12345678")[0] == 200


def test_keepers_are_told_at_their_next_visit_who_was_added_since(app, keeper, path):
    browser, _ = keeper
    code = add_person(path, "Zoe", EVERYTHING)[1]
    zoe = Browser(app).enter(code)
    assert "Since your last visit" not in zoe.ask("/")[1]
    browser.ask("/people/add", name="Cleo", may="look")
    browser.ask("/people/code", name="Ben")
    there = re.sub(r"<[^>]+>", "", zoe.ask("/")[1])
    assert "Since your last visit: Ana added a person: Cleo; Ana gave a new code: Ben" in there
    assert "Since your last visit" not in browser.ask("/")[1]  # who did it knows
    zoe.ask("/audit")
    assert "Since your last visit" not in zoe.ask("/")[1]  # it was looked at
    assert "Cleo" in Browser(app).enter(code).ask("/")[1]  # since she entered last
    assert "Since your last visit" not in Browser(app).enter(code).ask("/")[1]
    browser.ask("/people/add", name="Dan", may="look")
    later = Browser(create_app(path, hosts=frozenset({HOST}))).enter(code)  # the desk was started anew
    assert "Ana added a person: Dan" in re.sub(r"<[^>]+>", "", later.ask("/")[1])


def test_who_may_not_keep_people_is_told_of_the_own_code_only(app, keeper):
    browser, _ = keeper
    page = browser.ask("/people/code", name="Ben")[1]
    ben = Browser(app).enter(re.search(r'id="new_code">([^<]+)<', page)[1])
    browser.ask("/people/add", name="Cleo", may="look")
    there = re.sub(r"<[^>]+>", "", ben.ask("/")[1])
    assert "Ana gave a new code: Ben" in there
    assert "Cleo" not in there


def test_a_pass_without_a_code_proves_nothing():
    gate = Gate("12345678")
    token = gate.enter("12345678")
    assert gate.is_proved(token)
    assert not gate.is_proved("nothing")
    assert not gate.is_proved(token, now=gate.passes[token].proved + PROVED_S + 1)
    assert not gate.prove("nothing", "12345678")
    assert Gate(None).is_proved(None)
