"""The phone's own position proposes a row and a position, and what is sent goes through the share sheet, in a real browser."""

import csv
import math

import pytest
from phone_screens import FAINT, SMALL, in_hand, new_long_block, run, tap, whole

from trunkwatch.block import open_vineyard
from trunkwatch.block.opening import read
from trunkwatch.spreadsheets.handover import read_handover

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The same block twice, once on the map."""
    folder = tmp_path_factory.mktemp("where")
    for name in ("placed", "unplaced"):
        notes = folder / name
        new_long_block(notes, 12)
        if name == "placed":
            with (notes / "blocks.csv").open() as file:
                (block,) = csv.DictReader(file)
            block |= {"longitude": "11.5", "latitude": "48.1", "row_bearing_deg": "10", "rows_go": "right"}
            with (notes / "blocks.csv").open("w") as file:
                writer = csv.DictWriter(file, list(block))
                writer.writeheader()
                writer.writerow(block)
        run("sheet", notes, block="Long", season=2026, phone=True, look="summer", out=folder / f"{name}.html")
    return folder


@pytest.fixture
def phone(folder):
    asked = "window.watches = 0; const watch = navigator.geolocation.watchPosition.bind(navigator.geolocation); navigator.geolocation.watchPosition = (...rest) => { window.watches += 1; return watch(...rest); };"
    with in_hand() as open_page:

        def start(file="placed.html", script="", permissions=("geolocation",)):
            return open_page(folder / file, asked + script, permissions=list(permissions))

        yield start


def stand(page, longitude, latitude, accuracy):
    page.context.set_geolocation({"longitude": longitude, "latitude": latitude, "accuracy": accuracy})


def vine(folder, row, position):
    """Return where a vine of the block stands."""
    with open_vineyard(folder / "placed") as store:
        reading, placed = read(store, "Long")
    cell = reading.grid.cell(row, position)
    return float(placed.longitude[cell]), float(placed.latitude[cell])


def test_it_proposes_rows_with_its_accuracy_and_sets_none(phone, folder):
    page = phone()
    assert page.evaluate("window.watches") == 0  # off unless somebody asks
    stand(page, *vine(folder, "7", 23), 4)
    tap(page, "#where")
    page.wait_for_function("document.getElementById('placed').textContent.startsWith('Within')")
    assert page.inner_text("#placed") == "Within 4 m: rows 6 to 8"
    whole(page, "where")
    assert page.evaluate("row().label") == "1"
    tap(page, "[data-row='7']")
    assert page.evaluate("[row().label, state.screen, watching]") == [
        "7",
        "start",
        None,
    ]  # and nobody is asked any more
    tap(page, "#start")
    tap(page, "#where")
    page.wait_for_selector("[data-position]")
    assert page.get_attribute("[data-position='23']", "aria-pressed") == "true"
    assert page.evaluate("typed") == ""
    whole(page, "positions")
    tap(page, "[data-position='23']")
    assert page.inner_text("#at") == "23"
    assert page.evaluate("items.length") == 0  # the position is typed, nothing is said of the vine


def test_another_row_than_the_one_scouted_is_told(phone, folder):
    page = phone()
    stand(page, *vine(folder, "10", 40), 2)
    tap(page, "#start")
    tap(page, "#where")
    page.wait_for_selector("#other_row")
    assert page.inner_text("#placed") == "Within 2 m: row 10"
    assert "You scout row 1." in page.inner_text("#other_row")
    assert page.locator("[data-position]").count() == 0


def test_too_wide_too_far_and_refused_are_said_in_words(phone, folder):
    page = phone()
    stand(page, *vine(folder, "7", 23), 12)
    tap(page, "#where")
    page.wait_for_function("document.getElementById('placed').textContent.includes('12 m only')")
    assert "Rows are 2.5 m apart: over 5 m it cannot tell them apart" in page.inner_text("#placed")
    assert page.locator("[data-row]").count() == 0
    stand(page, 11.51, 48.1, 4)
    page.wait_for_function("document.getElementById('placed').textContent.includes('from the nearest vine')")
    assert page.locator("[data-row]").count() == 0
    other = phone(permissions=())
    tap(other, "#where")
    other.wait_for_function("document.getElementById('placed').textContent.includes('gives no position')")


def test_only_where_the_block_is_on_the_map_and_the_page_came_by_a_sure_road(phone):
    assert phone("unplaced.html").locator("#where").count() == 0
    assert (
        phone(script="Object.defineProperty(window, 'isSecureContext', { value: false });").locator("#where").count()
        == 0
    )
    assert phone().locator("#where").count() == 1


def test_the_nearest_position_is_that_of_the_grid_everywhere(phone, folder):
    page = phone()
    with open_vineyard(folder / "placed") as store:
        reading, placed = read(store, "Long")
    for row in ("1", "6", "12"):
        for position in (1, 2, 30, 59, 60):
            cell = reading.grid.cell(row, position)
            here = {"longitude": float(placed.longitude[cell]), "latitude": float(placed.latitude[cell]), "accuracy": 1}
            near = page.evaluate("(here) => pure.near(data.ground, here)", here)
            assert [(one["label"], one["nearest"]) for one in near["rows"]] == [(row, position)]
            # Distances agree with those of the block's own meters.
            wide = page.evaluate("(here) => pure.near(data.ground, here)", {**here, "accuracy": 5})
            reach = {
                label
                for n, label in enumerate(reading.grid.rows)
                if label
                and min(
                    math.dist((placed.east_m[cell], placed.north_m[cell]), point)
                    for point in zip(placed.east_m[n, :60], placed.north_m[n, :60], strict=True)
                )
                <= 4.99
            }
            assert reach <= {one["label"] for one in wide["rows"]}


def test_the_screens_fit_and_stand_out_in_both_languages(phone, folder):
    page = phone()
    stand(page, *vine(folder, "7", 23), 5)
    for language in ("en", "es"):
        page.evaluate(f"state.language = '{language}'; state.walk = null; state.screen = 'start'; render()")
        whole(page, language)
        tap(page, "#where")
        page.wait_for_selector("[data-row]")
        whole(page, language)
        tap(page, "[data-row='7']")
        tap(page, "#start")
        tap(page, "#where")
        page.wait_for_selector("[data-position]")
        for accuracy in (5, 50):
            page.evaluate(f"here = {{ ...here, accuracy: {accuracy}, told: Date.now() }}; render()")
            whole(page, f"{language} {accuracy}")
            assert page.evaluate(SMALL) == [], (language, accuracy)
            assert page.evaluate(FAINT) == [], (language, accuracy)
        tap(page, "#back")


# The share sheet

SHARES = """window.shared = [];
Object.defineProperty(navigator, 'canShare', { configurable: true, value: ({ files }) => files.every((file) => TYPES.includes(file.type)) });
Object.defineProperty(navigator, 'share', { configurable: true, value: async ({ files }) => { window.shared.push([files[0].name, await files[0].text()]); } });"""


@pytest.mark.parametrize(("types", "ending"), [(["application/json", "text/plain"], ".json"), (["text/plain"], ".txt")])
def test_what_is_sent_goes_by_the_share_sheet_and_is_taken_under_either_name(phone, folder, tmp_path, types, ending):
    page = phone("unplaced.html", SHARES.replace("TYPES", str(types)))
    page.evaluate("startRow().then(() => finding(7, 'leaf_stripe', '')).then(leaveRow)")
    page.wait_for_function("state.walk === null && items.length === 1")
    tap(page, "#records")
    tap(page, "#hand")
    page.wait_for_function("window.shared.length === 1 && !items.some(pure.pending)")
    name, text = page.evaluate("window.shared[0]")
    assert name.endswith(ending)
    path = tmp_path / name
    path.write_text(text)
    assert read_handover(path)[0]["symptoms"]["position"].tolist() == ["7"]
    copy = tmp_path / "v.gpkg"
    run("load", copy, folder / "unplaced")
    run("load", copy, path)
    with open_vineyard(copy) as store:
        assert store.frame("symptoms")["position"].tolist() == ["7"]


def test_without_a_share_sheet_a_file_is_saved_and_one_that_is_put_away_sends_nothing(phone):
    page = phone("unplaced.html", SHARES.replace("TYPES", "[]"))
    page.evaluate("startRow().then(() => finding(7, 'leaf_stripe', '')).then(leaveRow)")
    page.wait_for_function("state.walk === null && items.length === 1")
    tap(page, "#records")
    with page.expect_download() as waiting:
        tap(page, "#hand")
    assert waiting.value.suggested_filename.endswith(".json")
    away = phone(
        "unplaced.html",
        "Object.defineProperty(navigator, 'canShare', { value: () => true }); Object.defineProperty(navigator, 'share', { value: async () => { throw new DOMException('put away', 'AbortError'); } });",
    )
    away.evaluate("startRow().then(() => finding(7, 'leaf_stripe', '')).then(leaveRow)")
    away.wait_for_function("state.walk === null && items.length === 1")
    tap(away, "#records")
    tap(away, "#hand")
    assert away.evaluate("items.every(pure.pending)")  # nothing counts as sent
