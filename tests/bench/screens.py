"""How fast the phone page and the desk answer, in headless Chromium. Run: python tests/bench/screens.py"""

import shutil
import tempfile
import threading
from pathlib import Path

from click.testing import CliRunner
from playwright.sync_api import Page, sync_playwright

from trunkwatch.cli import main as command
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.web.app import create_app
from trunkwatch.web.serving import hosts_for, listen

PAINT = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
PORT = 8455


def tap_to_answer(page: Page, tap: str, answered: str) -> float:
    """Milliseconds from a tap to the next frame after it is answered, middle of 15."""
    script = f"""() => new Promise((resolve) => {{ const at = performance.now(); {tap}
      const look = () => ({answered} ? requestAnimationFrame(() => resolve(performance.now() - at)) : requestAnimationFrame(look)); look(); }})"""
    return sorted(float(page.evaluate(script)) for _ in range(15))[7]


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as api:
        path, phone = Path(folder) / "v.gpkg", Path(folder) / "phone.html"
        Store.create(path)
        with Store.writing(path) as store:
            store.append(
                {
                    "blocks": frame_of(
                        "blocks", [{"block": "Large", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "planted": 2000}]
                    ),
                    "rows": frame_of(
                        "rows",
                        [{"block": "Large", "row": str(n + 1), "last": 100, "bay_ends": "every 5"} for n in range(50)],
                    ),
                }
            )
        CliRunner().invoke(
            command, ["sheet", str(path), "--season", "2026", "--phone", "--out", str(phone)], catch_exceptions=False
        )
        browser = api.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--headless", "--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 390, "height": 844})
        page.goto(phone.as_uri())
        page.wait_for_selector("body[data-ready=yes]")
        print(
            f"phone page, 50 rows x 100 vines: {phone.stat().st_size / 1e3:.0f} kB, first paint {page.evaluate(PAINT):.0f} ms"
        )
        page.click("#start")
        digit = "[...document.querySelectorAll('.keys button')].find((b) => b.textContent === '1').click();"
        clear = "typed = '';"
        print(
            f"  a digit answered in {tap_to_answer(page, clear + digit, 'document.getElementById(`at`).textContent === `1`'):.0f} ms"
        )
        see = "typed = '7'; render(); items.length = 0; document.querySelector('button.see').click();"
        print(f"  a finding kept on the disk and ticked in {tap_to_answer(page, see, 'items.length === 1'):.0f} ms")
        run = listen(create_app(path, hosts=hosts_for(PORT, lan=False)), "127.0.0.1", PORT)
        threading.Thread(target=run, daemon=True).start()
        desk = browser.new_page(viewport={"width": 1280, "height": 900})
        desk.goto(f"http://127.0.0.1:{PORT}/block/Large")
        desk.wait_for_selector("#desk[data-ready=yes]")
        print(f"desk, 5,000 vines: first paint {desk.evaluate(PAINT):.0f} ms")
        desk.evaluate("""async () => { for (const script of ["/static/desk.js", "/static/ground.js"]) {
          const told = await import(script);
          for (const name of Object.keys(told)) Object.defineProperty(window, name, { get: () => told[name], configurable: true });
        } }""")
        drawn = desk.evaluate(
            "(() => { draw(); const a = performance.now(); for (let k = 0; k < 20; k += 1) draw(); return (performance.now() - a) / 20; })()"
        )
        print(f"  the whole block drawn anew in {drawn:.0f} ms")
        chosen = tap_to_answer(
            desk, "const n = (window.tap = (window.tap || 0) + 1); choose([n]);", "chosen[0] === window.tap"
        )
        print(f"  a click on a vine answered in {chosen:.0f} ms")
        browser.close()


if __name__ == "__main__":
    main()
