"""Three phones walk a winter's list of 600 vines in flight mode; browsers are killed every 50 records, stores are full, a clock is set back.

Run: python tests/calibration/flight_days.py [vines] [kill every] [shared vines] [days]

Each day is played by `tests/flight_day.py`, which stops at the first record that is lost or there twice. Prints a line a day.
"""

import shutil
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from flight_day import fly


def main() -> None:
    """Play the days and print what happened."""
    vines, kill_every, shared, days = (
        int(given) for given in (*sys.argv[1:], *("600", "50", "30", "1")[len(sys.argv) - 1 :])
    )
    chromium = next(
        found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))
    )
    with sync_playwright() as api:
        for day in range(1, days + 1):
            begun = time.monotonic()
            with tempfile.TemporaryDirectory() as folder:
                happened = fly(api, chromium, Path(folder), vines=vines, kill_every=kill_every, shared=shared, seed=day)
            told = ", ".join(f"{count} {what}" for what, count in happened.items())
            print(
                f"day {day}: {vines} vines, {told}; nothing lost, nothing twice ({time.monotonic() - begun:.0f} s)",
                flush=True,
            )


if __name__ == "__main__":
    main()
