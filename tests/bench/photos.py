"""How long the desk takes with 2,000 photos of 200 kB in a vineyard, beside the same vineyard without: python tests/bench/photos.py."""

import hashlib
import io
import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyogrio
from PIL import Image

from trunkwatch.block.whole_folder import write_whole_folder
from trunkwatch.demo import DEMO_SEED, demo_tables
from trunkwatch.intake import check_vineyard, enter_records, put_into_tables
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.photos import NewPhoto, add_photos
from trunkwatch.spreadsheets.photo import Photo
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.web.app import create_app

MANY, HOST = 2000, "127.0.0.1"
PAGES = ("/", "/block/Mill", "/api/block/Mill", "/api/block/Mill/vine/13/24", "/block/Mill/map", "/block/Mill/report")


def picture(number: int) -> bytes:
    """Return a JPEG file of about 200 kB that is like no other."""
    rng = np.random.default_rng(number)
    cells = rng.integers(0, 255, (300, 400, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(cells).resize((800, 600), Image.Resampling.BILINEAR).save(out, "JPEG", quality=82)
    return out.getvalue()


def finding(row: int, position: int) -> dict[str, str]:
    return {
        "block": "Mill",
        "row": str(row),
        "position": str(position),
        "date": "2026-02-03",
        "symptom": "dead_arm",
        "arm": "start",
    }


def fill(path: Path) -> None:
    with Store.open(path) as store:
        ids = store.frame("symptoms", "Mill")["id"].tolist()
    pictures = [picture(number) for number in range(MANY)]
    told = [
        {
            "block": "Mill",
            "record": ids[n % len(ids)],
            "sha256": hashlib.sha256(data).hexdigest(),
            "shows": "vine",
            "taken_at": "2026-02-03T10:00:00",
        }
        for n, data in enumerate(pictures)
    ]
    with Store.writing(path) as store, store.transaction():
        store.keep_photo_files(pictures)
        store.append({"photos": frame_of("photos", told)})


def seconds(work, times: int = 3) -> float:
    """Return the middle one of some runs."""
    took = []
    for number in range(times):
        began = time.perf_counter()
        work(number)
        took.append(time.perf_counter() - began)
    return sorted(took)[times // 2]


def measure(path: Path) -> dict[str, float]:
    with Store.open(path) as store:
        ids = store.frame("symptoms", "Mill")["id"].tolist()
    out = {"MB": path.stat().st_size / 1e6}
    out["one finding"] = seconds(lambda n: enter_records(path, "symptoms", [finding(5, 10 + n)]))
    out["log into the tables"] = seconds(lambda _: put_into_tables(path), 1)
    out["one photo"] = seconds(lambda n: add_photos(path, ids[n], [NewPhoto(Photo(picture(9000 + n), 800, 600))]))

    def page(address: str) -> None:
        client = create_app(path, hosts=frozenset({HOST})).test_client()  # nothing is remembered
        assert client.get(address, headers={"Host": HOST}).status_code == 200

    for address in PAGES:
        out[address] = seconds(lambda _, address=address: page(address))
    out["check"] = seconds(lambda _: check_vineyard(path), 1)
    out["a map program reads the vines"] = seconds(lambda _: pyogrio.read_dataframe(path, layer="map_vines"))
    return out


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        plain, full = Path(folder) / "plain.gpkg", Path(folder) / "full.gpkg"
        write_whole_folder(Path(folder) / "demo", demo_tables(DEMO_SEED))
        bring_files(plain, Path(folder) / "demo")
        shutil.copyfile(plain, full)
        fill(full)
        without, with_photos = measure(plain), measure(full)
    for name, took in without.items():
        sys.stdout.write(f"| {name} | {took:.3f} | {with_photos[name]:.3f} |\n")


if __name__ == "__main__":
    main()
