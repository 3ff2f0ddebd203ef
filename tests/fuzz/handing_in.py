"""Hands a file in as a user does, and measures what that took."""

import resource
import shutil
import sys
import tempfile
import threading
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

sys.path.insert(0, str(Path(__file__).parent))

from corpus import Recipe, make, make_vineyard, recipes

from trunkwatch.errors import TrunkwatchError
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.preview import shown_sheets, try_files
from trunkwatch.spreadsheets import apart


@dataclass
class Handed:
    """What handing in one file took and gave."""

    name: str
    seconds: float
    reader_bytes: int
    own_bytes: int
    refused: str = ""
    wrong: list[str] = field(default_factory=list)


class Desk:
    """A vineyard to which files are handed in, one after the other."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.vineyard = folder / "vineyard.gpkg"
        make_vineyard(self.vineyard)
        self.before = self.vineyard.read_bytes()

    def hand_in(self, number: int, recipe: Recipe, seed: int, *, in_short: bool = False) -> Handed:
        """Make a file, look at it, try it on a copy, and take it; in short only take it."""
        path = make(number, recipe, seed, self.folder)
        told = Handed(f"{number} {recipe.__name__}", 0.0, 0, 0)
        with _Peak() as peak:
            for step in (self._take,) if in_short else (self._look, self._try, self._take):
                began = time.monotonic()
                try:
                    step(path)
                except TrunkwatchError as error:
                    told.refused = str(error)
                    if len(told.refused) > 3000:
                        told.wrong.append(f"a sentence of {len(told.refused)} letters")
                except BaseException:
                    told.wrong.append(traceback.format_exc())
                told.seconds = max(told.seconds, time.monotonic() - began)
                if told.refused and self.vineyard.read_bytes() != self.before:
                    told.wrong.append("it was refused, and something was written")
        told.reader_bytes = peak.most
        told.own_bytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
        self.vineyard.write_bytes(self.before)
        if left := [p.name for p in self.folder.iterdir() if ".part" in p.name]:
            told.wrong.append(f"left behind: {left}")
        path.unlink()
        for beside in self.folder.glob(f"{path.name}-*"):
            beside.unlink()
        return told

    @staticmethod
    def _look(path: Path) -> None:
        if path.suffix in (".csv", ".xlsx"):
            shown_sheets(path, 12)

    def _try(self, path: Path) -> None:
        copy = self.folder / "copy.gpkg"
        shutil.copyfile(self.vineyard, copy)
        try:
            try_files(path, copy)
        finally:
            copy.unlink(missing_ok=True)

    def _take(self, path: Path) -> None:
        bring_files(self.vineyard, path)

    @classmethod
    def run(cls, many: int, seed: int) -> None:
        """Hand in so many files and print what stands out."""
        counts: Counter[str] = Counter()
        worst: list[Handed] = []
        with tempfile.TemporaryDirectory() as folder:
            desk = cls(Path(folder))
            for number, recipe in recipes(many):
                told = desk.hand_in(number, recipe, seed)
                counts["refused" if told.refused else "taken"] += 1
                worst.append(told)
                for what in told.wrong:
                    counts["wrong"] += 1
                    print(f"WRONG {told.name}: {what[-1500:]}", flush=True)
        print(dict(counts))
        for told in sorted(worst, key=lambda one: -one.seconds)[:15]:
            print(
                f"{told.seconds:5.1f} s, reader {told.reader_bytes / 1e6:5.0f} MB, own {told.own_bytes / 1e6:.0f} MB, {told.name}: {told.refused[:110]}"
            )
        print(f"most of a reader: {max(one.reader_bytes for one in worst) / 1e6:.0f} MB")


class _Peak:
    """Watches the memory of the readers while a file is handed in; where there is no /proc it sees nothing."""

    def __enter__(self) -> Self:
        self.most, self._over = 0, threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._over.wait(0.02):
            helper = apart._helper
            if helper is None:
                continue
            try:
                readers = Path(f"/proc/{helper.process.pid}/task/{helper.process.pid}/children").read_text().split()
            except OSError:
                continue
            for pid in readers:
                try:
                    line = next(
                        one for one in Path(f"/proc/{pid}/status").read_text().splitlines() if one.startswith("VmHWM")
                    )
                except (OSError, StopIteration):
                    continue
                self.most = max(self.most, int(line.split()[1]) * 1024)


LIMIT_S, LIMIT_BYTES = apart.MOST_SECONDS, apart.MOST_BYTES
