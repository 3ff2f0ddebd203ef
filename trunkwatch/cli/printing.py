"""Pages printed by a browser engine of this machine: PDF and PNG. No network is asked for anything."""

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

from trunkwatch.errors import FileError, MissingExtraError

__all__ = ["engine", "image_of", "printed", "sheet_of_drawing"]

#: Names that browser engines which print without a window go by.
ENGINES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
#: Seconds after which printing has failed.
LONGEST_S = 120
#: Pixels of an image for each pixel of the drawing.
FINE = 2


def engine() -> str:
    """Return the browser engine of this machine.

    Raises
    ------
    MissingExtraError
        If there is none.
    """
    for name in ENGINES:
        if path := shutil.which(name):
            return path
    raise MissingExtraError(
        "PDF and PNG need a browser engine (Chromium or Chrome) on this machine, and none is installed; write .html or .svg and print "
        "that from any browser"
    )


def printed(page: str) -> bytes:
    """Print a page to PDF; errors as of `image_of`."""
    return _run(page, "out.pdf", lambda out: ["--no-pdf-header-footer", f"--print-to-pdf={out}"])


def sheet_of_drawing(drawing: str) -> bytes:
    """Print a drawing to a PDF of its own size; errors as of `image_of`."""
    width, height = _size(drawing)
    style = f"@page{{size:{width}px {height}px;margin:0}}body{{margin:0}}svg{{display:block}}"
    return printed(f'<!doctype html><meta charset="utf-8"><style>{style}</style>{drawing}')


def image_of(drawing: str) -> bytes:
    """Turn a drawing into a PNG.

    Raises
    ------
    MissingExtraError
        If no browser engine is installed.
    FileError
        If it does not print.
    """
    width, height = _size(drawing)
    page = f'<!doctype html><meta charset="utf-8"><style>body{{margin:0}}svg{{display:block}}</style>{drawing}'
    return _run(
        page,
        "out.png",
        lambda out: [
            f"--screenshot={out}",
            f"--window-size={width},{height}",
            f"--force-device-scale-factor={FINE}",
            "--hide-scrollbars",
        ],
    )


def _size(drawing: str) -> tuple[int, int]:
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawing)
    return (round(float(found[1])), round(float(found[2]) + 0.5)) if found else (1200, 900)


def _run(page: str, name: str, options: Callable[[Path], list[str]]) -> bytes:
    program = engine()
    with tempfile.TemporaryDirectory(prefix="trunkwatch_", ignore_cleanup_errors=True) as folder:
        source, out = Path(folder) / "page.html", Path(folder) / name
        source.write_text(page, encoding="utf-8")
        # An engine refuses to run behind its wall for the administrator of a machine; the page is our own.
        alone = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
        command = [
            program,
            "--headless",
            "--disable-gpu",
            *alone,
            f"--user-data-dir={folder}/profile",
            "--no-first-run",
            "--disable-extensions",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            *options(out),
            source.as_uri(),
        ]
        try:
            done = subprocess.run(command, capture_output=True, timeout=LONGEST_S, check=False)  # noqa: S603 - our own arguments
        except subprocess.TimeoutExpired as error:
            raise FileError(
                f"{program} did not print within {LONGEST_S} s; write .html or .svg and print that from a browser"
            ) from error
        if not out.is_file() or not out.stat().st_size:
            last = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or [
                f"it ended with {done.returncode}"
            ]
            raise FileError(
                f"{program} printed nothing ({last[0][:160]}); write .html or .svg and print that from a browser"
            )
        return out.read_bytes()
