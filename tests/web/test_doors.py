"""trunkwatch.web: security, app, patience, tls, serving, imports; who comes in, who is let wait, and what stays behind."""

import os
import shutil
import socket
import ssl
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest

from trunkwatch.intake.bring import bring_files
from trunkwatch.web import imports, patience
from trunkwatch.web.app import create_app
from trunkwatch.web.security import FREE_TRIES, LONGEST_S, MANY, PASS_S, UNUSED_S, Gate, own_page
from trunkwatch.web.serving import listen
from trunkwatch.web.tls import TlsDoor

HOST = "127.0.0.1:8321"
CODE = "12345678"


@pytest.fixture(scope="module")
def path(tmp_path_factory, pytestconfig) -> Path:
    where = tmp_path_factory.mktemp("doors") / "v.gpkg"
    bring_files(where, pytestconfig.rootpath / "sample_blocks")
    return where


class Browser:
    """A browser of its own, with its own cookies and address."""

    def __init__(self, app, address="192.0.2.10") -> None:
        self.client, self.address = app.test_client(), address

    def ask(self, where, *, post=False, **more):
        headers = {"Host": HOST, **({"Origin": f"http://{HOST}"} if post else {})}
        answer = self.client.open(
            where, method="POST" if post else "GET", headers=headers, environ_base={"REMOTE_ADDR": self.address}, **more
        )
        answer.get_data()
        answer.close()
        return answer


@pytest.fixture
def app(path):
    return create_app(path, hosts=frozenset({HOST}), access_code=CODE)


@pytest.mark.parametrize(
    "wanted", ["//evil.example", "/\\evil.example", "/\t/evil.example", "/%09/evil.example", "/\n/evil.example", "\\\\evil.example",
               "https://evil.example", "evil.example", "", "/\\/evil.example", "/\r\n/evil.example", "/a\\b"],
)  # fmt: skip
def test_the_code_leads_to_a_page_of_this_program_only(app, wanted):
    browser = Browser(app)
    address = wanted if "%" in wanted else wanted.replace("\t", "%09").replace("\n", "%0A").replace("\r", "%0D")
    good = browser.ask(f"/enter?next={address}", post=True, data={"code": CODE})
    assert (good.status_code, good.headers["Location"]) == (302, "/")


def test_a_page_that_was_asked_for_is_shown_after_the_code():
    for page in ("/", "/block/Mill", "/block/Upper Hill?x=1", "/block/Nord%2F1", "/import?a=//b"):
        assert own_page(page) == page


def test_who_logs_out_is_out_and_the_others_are_not(app):
    ana, ben = Browser(app), Browser(app)
    for browser in (ana, ben):
        assert browser.ask("/enter", post=True, data={"code": CODE}).status_code == 302
    assert 'action="/leave"' in ana.ask("/").get_data(as_text=True)
    cookie = ana.client.get_cookie("trunkwatch_pass", domain="127.0.0.1").value
    assert ana.ask("/leave", post=True).headers["Location"] == "/enter"
    assert ana.ask("/").status_code == 302
    assert 'action="/leave"' not in ana.ask("/enter").get_data(as_text=True)
    ana.client.set_cookie("trunkwatch_pass", cookie, domain="127.0.0.1")  # kept by somebody
    assert ana.ask("/").status_code == 302
    assert ben.ask("/").status_code == 200


def test_without_a_code_there_is_nothing_to_log_out_of(path):
    browser = Browser(create_app(path, hosts=frozenset({HOST})))
    assert 'action="/leave"' not in browser.ask("/").get_data(as_text=True)


def test_passes_end_after_hours_of_no_use_and_after_days():
    gate = Gate(CODE)
    token = gate.enter(CODE, "a", now=0.0)
    assert gate.is_open_for(token, now=UNUSED_S - 1)
    assert gate.is_open_for(token, now=2 * UNUSED_S - 2)
    assert not gate.is_open_for(token, now=3 * UNUSED_S)
    token = gate.enter(CODE, "a", now=0.0)
    last = 0.0
    while last + UNUSED_S < PASS_S:
        last += UNUSED_S
        assert gate.is_open_for(token, now=last)
    assert not gate.is_open_for(token, now=PASS_S + 1)
    assert gate.passes == {}


def test_a_new_code_ends_the_passes_of_the_old():
    gate = Gate(CODE)
    token = gate.enter(CODE, "a")
    assert gate.is_open_for(token)
    gate.code = "87654321"
    assert not gate.is_open_for(token)


def test_wrong_codes_make_their_own_address_wait_and_no_other(app):
    guesser, ana = Browser(app, "192.0.2.66"), Browser(app, "192.0.2.7")
    for _ in range(FREE_TRIES):
        assert guesser.ask("/enter", post=True, data={"code": "00000000"}).status_code == 403
    page = guesser.ask("/enter", post=True, data={"code": CODE})
    assert page.status_code == 403
    assert "wait 2 seconds" in page.get_data(as_text=True)
    assert ana.ask("/enter", post=True, data={"code": CODE}).status_code == 302


def test_waits_grow_and_the_right_code_waits_too():
    gate, now, waits = Gate(CODE), 0.0, []
    for _ in range(16):
        gate.enter("00000000", "192.0.2.66", now=now)
        waits.append(gate.wait_of("192.0.2.66", now=now))
        now += waits[-1]
    assert waits[: FREE_TRIES - 1] == [0.0] * (FREE_TRIES - 1)
    assert waits[FREE_TRIES - 1 : FREE_TRIES + 3] == [2.0, 4.0, 8.0, 16.0]
    assert waits[-1] == LONGEST_S
    assert gate.enter(CODE, "192.0.2.66", now=now - 1) is None
    assert gate.enter(CODE, "192.0.2.66", now=now) is not None


def test_addresses_of_one_long_network_are_one():
    gate = Gate(CODE)
    for number in range(FREE_TRIES):
        gate.enter("00000000", f"2001:db8:1:2::{number:x}", now=5.0)
    assert gate.wait_of("2001:db8:1:2:ffff::9", now=5.0) == 2.0
    assert gate.wait_of("2001:db8:1:3::9", now=5.0) == 0.0


def test_very_many_wrong_codes_slow_everyone_down_to_one_a_second():
    gate = Gate(CODE)
    for number in range(MANY):
        gate.enter("00000000", f"198.51.{number // 250}.{number % 250}", now=5.0)
    assert gate.enter(CODE, "192.0.2.7", now=5.5) is None
    assert gate.enter(CODE, "192.0.2.7", now=6.0) is not None


def test_a_phone_enters_the_new_code_without_leaving_its_page(app):
    phone = Browser(app)
    day = {"trunkwatch_handover": 1, "surveys": [], "symptoms": [], "work": []}
    refused = phone.ask("/api/field/Mill/sync", post=True, json=day)
    assert (refused.status_code, refused.is_json) == (401, True)
    assert phone.ask("/api/enter", post=True, json={"code": "00000000"}).status_code == 403
    assert phone.ask("/api/enter", post=True, json=["x"]).status_code == 403
    good = phone.ask("/api/enter", post=True, json={"code": CODE})
    assert (good.status_code, good.get_json()) == (200, {"entered": True})
    assert phone.ask("/api/field/Mill/sync", post=True, json=day).status_code == 409  # it was let in: it had no record


# ---- What is handed in ------------------------------------------------------------------------------------------


def uploads():
    return sorted(
        place
        for folder in Path(tempfile.gettempdir()).glob(f"trunkwatch-import-{os.getpid()}-*")
        for place in folder.iterdir()
    )


def hand_in(browser, name="surveys.csv", text="survey,block,date,look,covered\ns,Mill,2025-08-20,summer,1\n"):
    import io

    return browser.ask("/import", post=True, data={"file": (io.BytesIO(text.encode()), name)}).headers["Location"]


def test_uploads_go_when_taken_and_when_left(path, tmp_path):
    copy = tmp_path / "v.gpkg"
    shutil.copy(path, copy)
    browser = Browser(create_app(copy, hosts=frozenset({HOST})))
    before = uploads()
    where = hand_in(browser)
    assert len(uploads()) == len(before) + 1
    assert browser.ask(where).status_code == 200
    assert browser.ask(f"{where}/take", post=True).status_code == 200
    assert uploads() == before
    where = hand_in(browser)
    assert f'action="{where}/leave"' in browser.ask(where).get_data(as_text=True)
    assert browser.ask(f"{where}/leave", post=True).headers["Location"] == "/import"
    assert uploads() == before
    assert browser.ask(where).status_code == 404


def test_uploads_of_a_program_that_was_killed_go_at_the_next_start(path):
    dead = subprocess.Popen(["true"])
    dead.wait()
    left = Path(tempfile.mkdtemp(prefix=f"trunkwatch-import-{dead.pid}-"))
    (left / "surveys.csv").write_text("x")
    old_kind = Path(tempfile.mkdtemp(prefix="trunkwatch-import-"))
    os.utime(old_kind, (time.time() - 2 * imports.DAY_S,) * 2)
    create_app(path, hosts=frozenset({HOST}))
    assert not left.exists()
    assert not old_kind.exists()


@pytest.mark.long
def test_uploads_go_when_the_program_ends(path, tmp_path):
    program = (
        "import io, sys\nfrom pathlib import Path\nfrom trunkwatch.web.app import create_app\n"
        f"client = create_app(Path({str(path)!r}), hosts=frozenset({{'localhost'}})).test_client()\n"
        "client.post('/import', data={'file': (io.BytesIO(b'a'), 'surveys.csv')}, headers={'Origin': 'http://localhost'})\n"
        "print(len(list(Path(sys.argv[1]).glob('trunkwatch-import-*/*/surveys.csv'))))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)],
        env={**os.environ, "TMPDIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == ["1"]
    assert list(tmp_path.glob("trunkwatch-import-*")) == []


# ---- Slow and many clients --------------------------------------------------------------------------------------


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answered(port, secret=None):
    """Ask for a page that needs no vineyard; return the first line, within ten seconds."""
    line = socket.create_connection(("127.0.0.1", port), timeout=10)
    with closing(line):
        if secret is not None:
            line = secret.wrap_socket(line, server_hostname="localhost")
        with closing(line):
            line.sendall(
                f"GET /static/desk.css HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode()
            )
            return line.recv(100).split(b"\r\n")[0]


def cut_within(line, seconds):
    line.settimeout(seconds)
    try:
        while line.recv(1000):
            pass
    except TimeoutError:
        return False
    except OSError:
        return True
    return True


@pytest.fixture
def hasty(monkeypatch):
    monkeypatch.setattr(patience, "WHOLE_S", 1.0)
    monkeypatch.setattr(patience, "IDLE_S", 2)


@pytest.fixture
def port(path, hasty):
    number = free_port()
    run = listen(create_app(path, hosts=frozenset({f"127.0.0.1:{number}"})), "127.0.0.1", number)
    threading.Thread(target=run, daemon=True).start()
    return number


def test_two_hundred_half_sent_requests_hold_up_nobody_and_are_cut(port):
    lines = []
    try:
        for _ in range(200):
            line = socket.create_connection(("127.0.0.1", port), timeout=10)
            line.sendall(b"POST /api/log HTTP/1.1\r\nHost: x\r\nContent-Length: 100000\r\n\r\nhalf")
            lines.append(line)
        assert answered(port) == b"HTTP/1.1 200 OK"
        assert all(cut_within(line, 10) for line in lines)
    finally:
        for line in lines:
            line.close()


def test_a_request_that_comes_letter_by_letter_is_cut(port):
    with closing(socket.create_connection(("127.0.0.1", port), timeout=10)) as line:
        began = time.monotonic()
        with pytest.raises(OSError):
            while time.monotonic() - began < 15:
                line.sendall(b"G")
                time.sleep(0.2)
        assert time.monotonic() - began < 10


def test_a_connection_that_says_nothing_is_cut(port):
    with closing(socket.create_connection(("127.0.0.1", port), timeout=10)) as line:
        assert cut_within(line, 10)


def test_a_file_that_comes_slowly_but_comes_is_taken(port):
    body = b"x" * 60_000
    with closing(socket.create_connection(("127.0.0.1", port), timeout=10)) as line:
        line.sendall(
            f"POST /nowhere HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nContent-Length: {len(body)}\r\n\r\n".encode()
        )
        for at in range(0, len(body), 12_000):
            time.sleep(0.4)
            line.sendall(body[at : at + 12_000])
        assert line.recv(100).startswith(b"HTTP/1.1 404")


@pytest.fixture
def certificate(tmp_path):
    if shutil.which("openssl") is None:
        pytest.skip("openssl makes the certificate of this test")
    subprocess.run(
        [
            "openssl",
            "req",
            "-x509",
            "-newkey",
            "rsa:2048",
            "-nodes",
            "-days",
            "2",
            "-subj",
            "/CN=localhost",
            "-keyout",
            tmp_path / "key.pem",
            "-out",
            tmp_path / "cert.pem",
        ],
        check=True,
        capture_output=True,
    )
    return tmp_path / "cert.pem", tmp_path / "key.pem"


def test_https_lets_nobody_stand_in_the_door(path, certificate, hasty, monkeypatch):
    monkeypatch.setattr("trunkwatch.web.tls.HANDSHAKE_S", 1.0)
    number = free_port()
    app = create_app(path, hosts=frozenset({f"127.0.0.1:{number}"}), access_code=CODE)
    door = TlsDoor(app, *certificate)
    threading.Thread(target=door.run, args=("127.0.0.1", number), daemon=True).start()
    secret = ssl.create_default_context(cafile=certificate[0])
    secret.check_hostname = False
    idle = []
    try:
        for _ in range(100):
            for _try in range(50):
                try:
                    idle.append(socket.create_connection(("127.0.0.1", number), timeout=10))
                    break
                except ConnectionRefusedError:
                    time.sleep(0.1)
        assert answered(number, secret) == b"HTTP/1.1 200 OK"
        assert all(cut_within(line, 10) for line in idle)
    finally:
        for line in idle:
            line.close()
    inner = door._server.effective_port
    assert answered(inner) == b"HTTP/1.1 403 Forbidden"
    with closing(secret.wrap_socket(socket.create_connection(("127.0.0.1", number), timeout=10))) as line:
        line.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{number}\r\nConnection: close\r\n\r\n".encode())
        assert b"Location: /enter" in line.recv(1000)


def test_a_certificate_that_cannot_be_read_is_named(path, tmp_path):
    from trunkwatch.errors import FileError

    (tmp_path / "bad.pem").write_text("no certificate")
    with pytest.raises(FileError, match=r"certificate bad\.pem"):
        listen(create_app(path, hosts=frozenset()), "127.0.0.1", free_port(), cert=tmp_path / "bad.pem")
