"""What a vineyard file says after somebody or something has changed it, and whether any command stumbles over it."""

import json
import shutil
import signal
import time
import traceback
from dataclasses import dataclass, field
from pathlib import Path

from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.demo import demo_tables
from trunkwatch.errors import TrunkwatchError
from trunkwatch.intake import add_records
from trunkwatch.intake.bring import bring_files
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.store import Store
from trunkwatch.store.inside import WRITTEN
from trunkwatch.vineyard.tables import TABLES

#: Seconds that any command may take.
MOST_SECONDS = 10
BLOCK, TODAY = "Mill", "2026-12-01"


@dataclass
class Told:
    """What became of one changed file."""

    name: str
    named: bool = False
    same: bool = False
    accepted: bool = False
    seconds: float = 0.0
    wrong: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)


def make_file(folder: Path) -> Path:
    """Make the file that is changed: the invented vineyard, with some records that wait in its log."""
    write_folder(folder / "notes", demo_tables())
    path = folder / "whole.gpkg"
    bring_files(path, folder / "notes")
    for position in range(1, 9):
        record = {
            "block": BLOCK,
            "row": "2",
            "position": str(position),
            "date": "2026-08-18",
            "symptom": "canker",
            "observer": "late",
        }
        add_records(path, "symptoms", [record])
    return path


def says(path: Path) -> object:
    """Return every record as a reader has it; the message where it is refused."""
    try:
        with Store.open(path) as store:
            return {table: store.stored(table).drop(columns="read_from").to_csv(index=False) for table in TABLES}
    except TrunkwatchError as error:
        return str(error)


class TooLongError(Exception):
    """A command took longer than anybody waits."""


def _alarm(*_: object) -> None:
    raise TooLongError


class Judge:
    """Runs every command over a changed file and compares with the file as it was."""

    def __init__(self, whole: Path) -> None:
        self.whole, self.before = whole, says(whole)
        self.runner = CliRunner()
        done = self._run("check", whole, "--json", "--today", TODAY)
        self.lines = self._lines(done)

    def _run(self, *words: object):
        return self.runner.invoke(main, [str(word) for word in words])

    @staticmethod
    def _lines(done) -> list[str]:
        try:
            faults = json.loads(done.stdout)
        except json.JSONDecodeError:
            return [done.output.strip()]
        return [f"{one['problem']} {one['column']} {one['value']}" for one in faults if one["problem"] != WRITTEN]

    def judge(self, name: str, path: Path, *, pages: tuple[str, ...] = ()) -> Told:
        """Check, read, export and rescue a changed file."""
        told = Told(name)
        copy = path.with_name("copy.gpkg")
        asked = [
            ("check", copy, "--json", "--today", TODAY),
            ("incidence", copy, "--block", BLOCK, "--json"),
            ("export", copy, path.with_name("out")),
            ("check", copy, "--rescue", path.with_name("rescued")),
        ]
        for words in asked:
            for old in ("out", "rescued"):
                shutil.rmtree(path.with_name(old), ignore_errors=True)
            for ending in ("", "-wal", "-journal"):
                beside = path.with_name(path.name + ending)
                copy.with_name(copy.name + ending).unlink(missing_ok=True)
                if beside.exists():
                    shutil.copyfile(beside, copy.with_name(copy.name + ending))
            self._one(told, words)
        told.same = says(copy) == self.before
        if not told.named and not told.same:
            told.wrong.append("reads otherwise, and check says nothing of it")
        for page in pages:
            self._page(told, copy, page)
        return told

    def accept(self, told: Told, path: Path) -> None:
        """Take a changed file as it is: refused, or nothing is left that accepting settles."""
        done = self._run("check", path, "--accept")
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            told.wrong.append("accept: " + "".join(traceback.format_exception(*done.exc_info)[-3:]))
        if done.exit_code:
            return
        told.accepted = True
        for fault in json.loads(self._run("check", path, "--json", "--today", TODAY).stdout):
            if "--accept" in fault["expected"] and fault["weight"] == "fault":
                told.wrong.append(f"accepted, and not settled: {fault['problem']}")

    def _one(self, told: Told, words: tuple[object, ...]) -> None:
        before = signal.signal(signal.SIGALRM, _alarm)
        signal.alarm(MOST_SECONDS)
        began = time.perf_counter()
        try:
            done = self._run(*words)
        finally:
            signal.alarm(0)
            signal.signal(signal.SIGALRM, before)
        told.seconds = max(told.seconds, time.perf_counter() - began)
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            told.wrong.append(f"{words[0]}: " + "".join(traceback.format_exception(*done.exc_info)[-3:]))
        if words[0] == "check" and "--json" in words:
            told.lines = [line for line in self._lines(done) if line not in self.lines]
            told.named = bool(told.lines)

    def _page(self, told: Told, path: Path, page: str) -> None:
        from trunkwatch.web.app import create_app

        try:
            client = create_app(path, hosts=frozenset({"h:1"})).test_client()
            answer = client.get(page, headers={"Host": "h:1"})
            if answer.status_code >= 500 and b"gpkg" not in answer.get_data():
                told.wrong.append(f"{page}: {answer.status_code}")
            answer.close()
        except TrunkwatchError:
            pass
        except Exception as error:
            told.wrong.append(f"{page}: {error!r}")
