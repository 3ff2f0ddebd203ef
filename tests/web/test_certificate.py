"""trunkwatch.web: certificate, tls; the certificate that a desk makes for itself, and what a browser makes of it."""

import datetime as dt
import hashlib
import shutil
import socket
import ssl
import stat
import subprocess
import threading
import time
from contextlib import closing

import pytest
from click.testing import CliRunner

from trunkwatch.access.private import private_folder
from trunkwatch.cli import main
from trunkwatch.intake import start_file
from trunkwatch.web import certificate
from trunkwatch.web.app import create_app
from trunkwatch.web.certificate import DAYS, fingerprint_of, made_certificate, own_certificate
from trunkwatch.web.tls import TlsDoor

BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}
NOW = dt.datetime.now(tz=dt.UTC)


@pytest.fixture
def path(tmp_path):
    start_file(tmp_path / "v.gpkg", BLOCK, 2, 6)
    return tmp_path / "v.gpkg"


def test_points_of_the_curve_are_the_published_ones():
    """Twice and three times the base point of P-256 (x), and its order, by the published test values for the curve."""
    assert (
        certificate._times(2, certificate._G)[0] == 0x7CF27B188D034F7E8A52380304B51AC3C08969E277F21B35A60B48FC47669978
    )
    assert (
        certificate._times(3, certificate._G)[0] == 0x5ECBE4D1A6330A44C8F7EF951D4BF165E6C6B721EFADA985FB41661BC6E7FD6C
    )
    x, y = certificate._times(certificate._N - 1, certificate._G)
    assert (x, (y + certificate._G[1]) % certificate._P) == (certificate._G[0], 0)


def test_a_browser_that_trusts_it_shakes_hands(path):
    place, fresh = own_certificate(path, "192.0.2.7")
    assert fresh
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    door = TlsDoor(create_app(path, hosts=frozenset({f"127.0.0.1:{port}"})), place, None)
    threading.Thread(target=door.run, args=("127.0.0.1", port), daemon=True).start()
    for name in ("127.0.0.1", "192.0.2.7", "localhost"):
        trusting = ssl.create_default_context(cafile=place)
        for _ in range(100):
            try:
                line = socket.create_connection(("127.0.0.1", port), timeout=10)
                break
            except ConnectionRefusedError:
                time.sleep(0.1)
        with closing(trusting.wrap_socket(line, server_hostname=name)) as safe:
            assert safe.version() in ("TLSv1.2", "TLSv1.3")
            shown = hashlib.sha256(safe.getpeercert(binary_form=True)).hexdigest()
            assert fingerprint_of(place).replace(":", "").casefold() == shown
            safe.sendall(
                f"GET /static/desk.css HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode()
            )
            answer = safe.recv(2000)
            assert answer.startswith(b"HTTP/1.1 200 OK")
            assert b"Strict-Transport-Security" not in answer  # other programs on this address may speak http
    strange = ssl.create_default_context(cafile=place)
    with pytest.raises(ssl.SSLCertVerificationError):
        strange.wrap_socket(socket.create_connection(("127.0.0.1", port), timeout=10), server_hostname="192.0.2.8")
    with pytest.raises(ssl.SSLCertVerificationError):
        ssl.create_default_context().wrap_socket(
            socket.create_connection(("127.0.0.1", port), timeout=10), server_hostname="127.0.0.1"
        )


def test_another_program_reads_it(tmp_path):
    if shutil.which("openssl") is None:
        pytest.skip("openssl reads the certificate of this test")
    (tmp_path / "c.pem").write_text(made_certificate(["localhost", "192.0.2.7"], NOW))
    done = subprocess.run(
        ["openssl", "x509", "-in", tmp_path / "c.pem", "-noout", "-text", "-checkend", str(86_400 * (DAYS - 2))],
        capture_output=True,
        text=True,
        check=True,
    )
    for word in (
        "CA:FALSE",
        "Digital Signature",
        "TLS Web Server Authentication",
        "DNS:localhost, IP Address:192.0.2.7",
        "ASN1 OID: prime256v1",
    ):
        assert word in done.stdout
    done = subprocess.run(
        ["openssl", "verify", "-CAfile", tmp_path / "c.pem", tmp_path / "c.pem"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "OK" in done.stdout


def test_it_is_private_stays_and_is_made_anew_before_it_ends(path):
    place, fresh = own_certificate(path, "192.0.2.7")
    assert fresh
    first = fingerprint_of(place)
    assert stat.S_IMODE(place.stat().st_mode) == 0o600
    assert place.parent == private_folder(path)
    assert own_certificate(path, "192.0.2.99") == (place, False)
    assert own_certificate(path, "192.0.2.7", NOW + dt.timedelta(days=DAYS - 40)) == (place, False)
    assert fingerprint_of(place) == first
    assert own_certificate(path, "192.0.2.7", NOW + dt.timedelta(days=DAYS - 20)) == (place, True)
    assert fingerprint_of(place) != first


@pytest.fixture
def served(monkeypatch):
    """Start no server; say what would be served, and how."""
    asked = {}

    def listen(app, host, port, *, cert=None, key=None):
        asked.update(app=app, host=host, cert=cert, key=key)
        return lambda: None

    monkeypatch.setattr("trunkwatch.web.serving.listen", listen)

    def run(*words):
        done = CliRunner().invoke(main, ["serve", *(str(word) for word in words), "--no-browser"])
        assert done.exit_code == 0, done.output
        return done.output, asked

    return run


def test_the_local_network_is_served_by_https_and_the_fingerprint_is_shown(path, served):
    said, asked = served(path, "--lan")
    place = private_folder(path) / "desk.pem"
    assert (asked["host"], asked["cert"]) == ("0.0.0.0", place)  # noqa: S104
    assert "https://127.0.0.1:8321/" in said
    assert "http://" not in said
    assert fingerprint_of(place) in said
    assert "access code: " in said
    assert asked["app"].config["OUTSIDE"].startswith("https://")
    again, _ = served(path, "--lan")
    assert fingerprint_of(place) in again


def test_plain_is_asked_for_and_warned_of(path, served):
    said, asked = served(path, "--lan", "--plain")
    assert asked["cert"] is None
    assert "Without https others on the network can read along" in said
    assert not (private_folder(path) / "desk.pem").exists()
    done = CliRunner().invoke(main, ["serve", str(path), "--plain"])
    assert (done.exit_code, "--plain goes with --lan" in done.output) == (2, True)


def test_an_own_certificate_is_taken_as_before_and_this_machine_needs_none(path, served, tmp_path):
    (tmp_path / "mine.pem").write_text(made_certificate(["localhost"], NOW))
    _, asked = served(path, "--lan", "--cert", tmp_path / "mine.pem")
    assert asked["cert"] == tmp_path / "mine.pem"
    said, asked = served(path)
    assert (asked["host"], asked["cert"], asked["app"].extensions["gate"].code) == ("127.0.0.1", None, None)
    assert "http://127.0.0.1:8321/" in said


def test_where_people_are_set_up_no_access_code_is_shown_and_one_is_kept_behind_them(path, served):
    from trunkwatch.access.may import EVERYTHING
    from trunkwatch.access.people import add_person

    add_person(path, "Ana", EVERYTHING)
    said, asked = served(path, "--lan")
    assert "access code" not in said
    assert "everybody enters with a code of their own" in said
    assert asked["app"].extensions["gate"].code  # were all people removed, nobody were let in by that
