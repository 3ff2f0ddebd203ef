"""trunkwatch.web: security, app, serving; the table of what is done to be safe names tests that there are."""

import re
import socket
import threading
from contextlib import closing

import pytest

from trunkwatch.access.may import EVERYTHING
from trunkwatch.access.people import add_person
from trunkwatch.intake import start_file
from trunkwatch.web.app import create_app
from trunkwatch.web.serving import listen

HOST = "127.0.0.1:8321"
BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}


@pytest.fixture
def path(tmp_path):
    start_file(tmp_path / "v.gpkg", BLOCK, 2, 6)
    return tmp_path / "v.gpkg"


def table_lines(pytestconfig):
    text = (pytestconfig.rootpath / "trunkwatch" / "web" / "SECURITY.md").read_text()
    return [line for line in text.splitlines() if re.match(r"\| [0-9]+\.[0-9]+", line)]


def test_every_test_that_the_table_names_exists(pytestconfig):
    written = {
        name
        for path in (pytestconfig.rootpath / "tests").rglob("test_*.py")
        for name in re.findall(r"^def (test_\w+)\(", path.read_text(), re.MULTILINE)
    }
    named = {name for line in table_lines(pytestconfig) for name in re.findall(r"`(test_\w+)`", line)}
    assert len(named) > 50
    assert named - written == set()


def test_every_line_of_the_table_names_a_test_or_says_why_there_is_none(pytestconfig):
    lines = table_lines(pytestconfig)
    assert len(lines) > 50
    bare = [
        line
        for line in lines
        if "`test_" not in line
        and "does not apply" not in line
        and "do not apply" not in line
        and "**not met" not in line
    ]
    assert bare == []


@pytest.mark.parametrize(
    "where",
    [
        "/",
        "/block/North",
        "/block/North/lists",
        "/import",
        "/people",
        "/phones",
        "/audit",
        "/enter",
        "/field/North/index.html",
        "/pair/x",
        "/nowhere",
        "/static/desk.css",
        "/api/block/North",
    ],
)
def test_every_page_has_its_headers(path, where):
    answer = create_app(path, hosts=frozenset({HOST})).test_client().get(where, headers={"Host": HOST})
    answer.get_data()
    answer.close()
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert answer.headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert answer.headers["Cache-Control"] in ("no-store", "no-cache")
    assert answer.mimetype in ("text/html", "text/css", "application/json")
    assert "charset=utf-8" in answer.headers["Content-Type"] or answer.mimetype == "application/json"
    policy = answer.headers["Content-Security-Policy"]
    assert all(
        part in policy
        for part in ("default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'")
    )
    assert "Access-Control-Allow-Origin" not in answer.headers


def test_no_header_names_the_program(path):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    app = create_app(path, hosts=frozenset({f"127.0.0.1:{port}"}))
    assert (app.debug, app.testing) == (False, False)
    threading.Thread(target=listen(app, "127.0.0.1", port), daemon=True).start()
    with closing(socket.create_connection(("127.0.0.1", port), timeout=10)) as line:
        line.sendall(f"GET /enter HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode())
        head = b""
        while b"\r\n\r\n" not in head:
            head += line.recv(4096)
    names = {one.split(b":")[0].lower() for one in head.split(b"\r\n\r\n")[0].split(b"\r\n")[1:]}
    assert b"content-security-policy" in names
    assert names & {b"server", b"x-powered-by", b"via"} == set()


def test_cookies_over_https_are_kept_to_this_desk(path):
    _, code = add_person(path, "Ana", EVERYTHING)
    app = create_app(path, hosts=frozenset({HOST}))
    client = app.test_client()
    safe = {"base_url": f"https://{HOST}", "headers": {"Origin": f"https://{HOST}"}}
    cookie = client.post("/enter", data={"code": code}, **safe).headers["Set-Cookie"]
    assert cookie.startswith("__Host-trunkwatch_pass=")
    assert all(word in cookie for word in ("Secure", "HttpOnly", "SameSite=Strict", "Path=/"))
    assert "Domain" not in cookie
    assert client.get("/", **safe).status_code == 200
    token = re.match(r"[^=]+=([^;]+)", cookie)[1]
    other = app.test_client()
    other.set_cookie("trunkwatch_pass", token, domain="127.0.0.1")  # without the prefix it is nobody's
    assert other.get("/", **safe).status_code == 302
    assert "Max-Age=0" in client.post("/leave", **safe).headers["Set-Cookie"]
    assert client.get("/", **safe).status_code == 302
