"""trunkwatch.answer: tasks; trunkwatch.sheets: crew_lists: the same vines with the same work come out of every page and command."""

import json
import re
from functools import cache
from html import unescape

import pytest
from click.testing import CliRunner

from trunkwatch.answer.tasks import look_again_at
from trunkwatch.block import load, open_vineyard
from trunkwatch.cli import main
from trunkwatch.intake import correct_record
from trunkwatch.intake.bring import bring_files
from trunkwatch.vineyard.codes import WORK_KINDS
from trunkwatch.web.app import create_app

pytestmark = pytest.mark.long

BLOCKS = ("Mill", "Chapel", "Hollow")
TODAY = "2026-11-26"
CUTS = {"renew_arm", "renew_trunk", "cut_old_trunk"}
#: What the list of the winter calls each kind of work.
DO = {
    "renew_trunk": "retrain trunk", "renew_arm": "retrain arm", "cut_old_trunk": "cut out trunk", "replant": "replant",
    "train_first": "train first", "train": "finish training", "clear_mummies": "clean up",
}  # fmt: skip
NOT_GOOD = ("too_vigorous", "unripe", "thin")


@pytest.fixture(scope="module")
def path(pytestconfig, tmp_path_factory):
    """The sample blocks with a quality written for every second shoot, and the plan of the winter on the lists."""
    path = tmp_path_factory.mktemp("same") / "v.gpkg"
    patch = pytest.MonkeyPatch()
    patch.setattr("trunkwatch.cli.options.today", lambda: TODAY)
    for room in ("views", "writing", "vineyard"):
        patch.setattr(f"trunkwatch.web.{room}.today", lambda: TODAY)
    bring_files(path, pytestconfig.rootpath / "sample_blocks")
    with open_vineyard(path) as store:
        found = store.frame("symptoms")
    noted = found[~found["renewal_shoot"].isin(["", "none"])]
    for number, record in enumerate(noted["id"].iloc[::2]):
        correct_record(path, "symptoms", record, {"shoot_quality": (*NOT_GOOD, "good")[number % 4]})
    for block in BLOCKS:
        run("plan", path, "--block", block, "--write")
    yield path
    patch.undo()


def run(*words):
    done = CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


@cache
def of_the_plan(path, block):
    """Row, position and kind of this winter's work, and the parts."""
    work = [one for one in json.loads(run("plan", path, "--block", block, "--json"))["work"] if one["winter"] == 0]
    return {(one["row"], int(one["position"]), one["kind"]): (one["trunk"], one["arm"]) for one in work}, work


@cache
def of_the_answer(path, block):
    return json.loads(run("answer", path, "--block", block, "--details", "--json"))


def cells_of(page):
    return [
        [
            unescape(re.sub(r"<[^>]+>", "", cell)).strip()
            for cell in re.findall(r"<td[^>]*>(.*?)</td>", line, flags=re.DOTALL)
        ]
        for line in re.findall(r"<tr[ >].*?</tr>", page, flags=re.DOTALL)
    ]


def of_the_sheets(page):
    """Row, position and kind of every line of the printed lists, by the name of the list; and each arm as it is called."""
    kinds = {words: kind for kind, words in WORK_KINDS.items()}
    found, parts = {}, {}
    for section in page.split("<section>")[1:]:
        name = re.search(r"<h1>(.*?): ", section)[1]
        for cells in cells_of(section):
            if cells:
                do = next(
                    cell for cell in cells[3:] if cell.split(":")[0].split(";")[0] in kinds or cell == "look again"
                )
                what, _, part = do.split(";")[0].partition(": ")
                line = (cells[1], int(cells[2]), kinds.get(what, what))
                found[line], parts[line] = name, part
    return found, parts


@pytest.mark.parametrize("block", BLOCKS)
def test_plan_report_answer_desk_sheets_phone_and_map_name_the_same_vines(path, block, tmp_path):
    planned, work = of_the_plan(path, block)
    assert len(planned) == len(work) > 5
    sheets, parts = of_the_sheets(_page(tmp_path, "sheet", path, "--block", block, "--paper", "lists"))
    assert set(sheets) == set(planned)
    told = of_the_answer(path, block)["list"]
    named = {
        (one["row"], one["position"], DO[kind]): one
        for one in told
        for kind in DO
        if DO[kind] in (one["do"], *one["also"])
    }
    assert set(named) == {(row, vine, DO[kind]) for row, vine, kind in planned if kind in DO}
    again = {(one["row"], one["position"]) for one in told if "look again" in (one["do"], *one["also"])}
    assert again == {(row, vine) for (row, vine, _), name in sheets.items() if name == "Look again"}
    for (row, vine, kind), part in parts.items():
        if kind in CUTS:  # the sheet points at the arm as the list does
            assert part == named[row, vine, DO[kind]]["part"], (row, vine)
    client = create_app(path, hosts=frozenset({"localhost"})).test_client()
    desk = client.get(f"/block/{block}/lists").get_data(as_text=True)
    boxes = re.findall(r'data-id="[^"]*"><span class="hide">([^<]*) at ([^<:]*):(\d+) done', desk)
    kinds = {words: kind for kind, words in WORK_KINDS.items()}
    assert {(row, int(vine), kinds[unescape(what)]) for what, row, vine in boxes} == set(planned)
    printed, _ = of_the_sheets(client.get(f"/block/{block}/paper/lists").get_data(as_text=True))
    assert printed == sheets
    phone = _data(_page(tmp_path, "sheet", path, "--block", block, "--phone"))
    assert {(one["row"]["row"], int(one["row"]["position"]), one["row"]["kind"]) for one in phone["work"]} == set(
        planned
    )
    for one in phone["work"]:
        line = one["row"]
        where = planned[line["row"], int(line["position"]), line["kind"]]
        assert (int(line.get("trunk", 0)), line.get("arm", "")) == where
    report = _page(tmp_path, "report", path, "--block", block)
    rows = re.findall(r'data-name="row">([^<]+)</td><td data-name="vine">(\d+)</td>', report)
    heavy = {(one["row"], one["position"]) for one in told if one["do"] not in ("flag", "keep shoot", "watch")}
    assert {(row, int(vine)) for row, vine in rows} == heavy
    ringed = {int(many) for many in re.findall(r"listed for this winter (\d+)", report)}
    assert ringed == {len(heavy)}
    decide = client.get(f"/block/{block}/decide").get_data(as_text=True)
    drawn = re.search(r"(\d+) vines with work", decide)
    assert int(drawn[1]) == len({line[:2] for line in planned})


def _page(folder, *words):
    run(*words, "--out", folder / "page.html")
    return (folder / "page.html").read_text("utf-8")


def _data(page):
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page, flags=re.DOTALL)[1])


@pytest.mark.parametrize("block", BLOCKS)
def test_no_cut_is_listed_to_a_shoot_that_is_not_good_or_against_the_strategy(path, block):
    planned, work = of_the_plan(path, block)
    told = of_the_answer(path, block)
    shoots = {(one["row"], one["position"]): one for one in told["list"]}
    cut = {line for line in planned if line[2] in CUTS}
    for row, vine, kind in cut:
        one = shoots[row, vine]
        rootstock = one["shoot"].startswith("from below the graft union")  # no shoot at all: cut, and wait for one
        assert one["shoot_quality"] not in NOT_GOOD or rootstock or kind == "cut_old_trunk", (row, vine, kind)
    for one in work:
        if one["kind"] == "train_first":
            vine = one["row"], one["position"]
            by_strategy = one["why"].startswith("train a shoot")  # it trains one on every vine before it cuts
            assert shoots[vine]["shoot_quality"] in NOT_GOOD or by_strategy
            assert vine not in {line[:2] for line in cut}
    assert block != "Mill" or any(one["kind"] == "train_first" for one in work)
    said = next(line["answer"] for line in told["lines"] if line["key"] == "do")
    if told["recommended"] is None or told["recommended"]["name"] == "do nothing":
        assert not cut
    assert ("No cutting or replanting." in said) is not any(kind in (*CUTS, "replant") for _, _, kind in planned)
    marked = {(one["row"], one["position"]) for one in work if one["kind"] == "mark"}
    assert not marked & {line[:2] for line in cut}


@pytest.mark.parametrize("block", ["Mill", "Chapel", "Orchard", "Hollow"])
def test_the_vines_to_look_at_again_are_known_without_the_plan(path, block):
    told = of_the_answer(path, block)["list"]
    listed = {(one["row"], one["position"]) for one in told if "look again" in (one["do"], *one["also"])}
    with open_vineyard(path) as store:
        season = load(store, block)
    assert {season.history.grid.label(*cell) for cell in look_again_at(season)} == listed
