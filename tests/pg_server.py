"""A PostgreSQL server of the tests' own: in a folder under the temporary one, on a socket there, gone at the end."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

__all__ = ["PASSWORD", "Server", "shared_at", "shared_server", "started"]

#: Users that a server may run as where the tests run as root, which it refuses.
_UNPRIVILEGED = ("postgres", "nobody")
PASSWORD = "a pass:word that is nowhere else"  # noqa: S105 - of a server that lives as long as the tests


def binaries() -> Path | None:
    """Return the folder of the newest server on this machine."""
    there = shutil.which("initdb")
    if there:
        return Path(there).resolve().parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3]))
    return found[-1].parent if found else None


@dataclass
class Server:
    """A server that runs.

    Attributes
    ----------
    folder : Path
        Where its socket is.
    bin : Path
        Its programs.
    """

    folder: Path
    bin: Path
    prefix: list[str]
    made: int = 0
    common: str = ""  # the database in which tests have growers of their own

    def address(self, database: str, login: str = "postgres", **more: str) -> str:
        """Return the address of a database for a login."""
        own = "".join(f"&{name}={value}" for name, value in more.items())
        return f"postgresql://{login}@/{database}?host={self.folder}{own}"

    def sql(self, database: str, text: str, *values: object, login: str = "postgres") -> list[tuple[object, ...]]:
        """Ask as a login; every statement is kept."""
        import psycopg

        with psycopg.connect(self.address(database, login), autocommit=True) as server:
            cursor = server.execute(text, values or None)
            return cursor.fetchall() if cursor.description else []

    def run(self, program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run one of the server's programs."""
        return subprocess.run(
            [*self.prefix, str(self.bin / program), *arguments], check=True, capture_output=True, text=True, cwd="/"
        )

    def let_go(self, database: str) -> None:
        """End the connections that are kept to a database, which may be copied or dropped then."""
        self.sql("postgres", "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", database)

    def database(self, *growers: str, template: str = "ready") -> str:
        """Make a database with a store in it, and a login `w_GROWER` for each grower."""
        self.made += 1
        name = f"db{self.made}"
        self.sql("postgres", f'CREATE DATABASE "{name}" TEMPLATE "{template}"')
        for grower in growers:
            login = f"w_{grower}"
            if not self.sql("postgres", "SELECT 1 FROM pg_roles WHERE rolname = %s", login):
                self.sql("postgres", f'CREATE ROLE "{login}" LOGIN')
            self.sql(name, "SELECT trunkwatch.add_grower(%s)", grower)
            self.sql(name, "SELECT trunkwatch.add_writer(%s, %s)", login, grower)
        return name


def started(*, durable: bool = False) -> Iterator[Server]:
    """Start a server, and stop it at the end.

    Parameters
    ----------
    durable : bool
        Force to disk what is acknowledged, as a server in use does.
    """
    folder = binaries()
    if folder is None:
        pytest.skip("no PostgreSQL server (initdb) is installed on this machine")
    prefix: list[str] = []
    place = Path(tempfile.mkdtemp(prefix="tw", dir="/tmp"))
    if os.geteuid() == 0:
        user = next((name for name in _UNPRIVILEGED if name in {one.pw_name for one in pwd.getpwall()}), None)
        if user is None or not shutil.which("setpriv"):
            pytest.skip("a PostgreSQL server does not run as root, and there is no other user to run it as")
        entry = pwd.getpwnam(user)
        os.chown(place, entry.pw_uid, entry.pw_gid)
        prefix = ["setpriv", f"--reuid={entry.pw_uid}", f"--regid={entry.pw_gid}", "--clear-groups"]
    place.chmod(0o755)
    data = place / "d"
    server = Server(place, folder, prefix)
    try:
        server.run("initdb", "-D", str(data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        rules = data / "pg_hba.conf"
        text = f"local all secretive scram-sha-256\n{rules.read_text()}"
        rules.write_text(text)
        told = f"-c listen_addresses='' -c unix_socket_directories={place} -c max_connections=60"
        if not durable:
            told += " -c fsync=off -c full_page_writes=off"
        server.run("pg_ctl", "-D", str(data), "-l", str(place / "log"), "-w", "-t", "120", "-o", told, "start")
        try:
            from trunkwatch.store.address import address_of
            from trunkwatch.store.shared_server import upgrade_shared

            for name, geometry in (("ready", True), ("plain", False)):
                server.sql("postgres", f"CREATE DATABASE {name}")
                upgrade_shared(address_of(server.address(name)), geometry=geometry)
                server.let_go(name)
            yield server
        finally:
            server.run("pg_ctl", "-D", str(data), "-m", "immediate", "stop")
    finally:
        shutil.rmtree(place, ignore_errors=True)


def shared_at(server: Server, name: str) -> Path:
    """Return the address of a new grower, for a login that writes for it."""
    from trunkwatch.store.address import shared_path

    database = server.common = server.common or server.database("all")
    many = len(server.sql(database, "SELECT grower FROM trunkwatch.growers"))
    grower = f"{name}{many}"
    server.sql(database, "SELECT trunkwatch.add_grower(%s)", grower)
    server.sql(database, "SELECT trunkwatch.add_writer('w_all', %s)", grower)
    return shared_path(server.address(database, "w_all", grower=grower))


@pytest.fixture(scope="session")
def shared_server() -> Iterator[Server]:
    """A server with two databases to copy: `ready`, and `plain` without geometry."""
    pytest.importorskip("psycopg", reason="a shared store needs psycopg: pip install 'trunkwatch[shared]'")
    pytest.importorskip("sqlalchemy", reason="a shared store needs SQLAlchemy: pip install 'trunkwatch[shared]'")
    yield from started()
