"""trunkwatch.programme: run, work; the made programme of 60 growers and 150 blocks, every task by one command, nothing fused."""

import csv
import json
import re
import shutil
from collections import Counter
from dataclasses import replace

import jsonschema
import pytest
from click.testing import CliRunner
from made_programme import ENDED, OPEN, Grower, blocks_of, make_programme, make_vineyard, write_catalogue

from trunkwatch.cli import main
from trunkwatch.cli.json_schema import schema_of
from trunkwatch.programme.catalogue import read_catalogue
from trunkwatch.programme.run import How, handouts, note_read, over_growers, shown_most

GROWERS, BLOCKS = 60, 150


def run(*words):
    return CliRunner().invoke(main, ["programme", *(str(word) for word in words)])


def done(*words):
    result = run(*words)
    assert result.exit_code == 0, result.output
    return result


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return make_programme(tmp_path_factory.mktemp("made"), GROWERS)


def told(folder, task, *words):
    found = json.loads(done(folder, task, *words, "--json").stdout)
    jsonschema.validate(found, schema_of("programme"), cls=jsonschema.Draft202012Validator)
    return found


def agreed(purpose, number):
    return number < 2 or number % 6 not in (3, 4, 5)


@pytest.fixture(scope="module")
def overview(made):
    return told(made, "ready")


def counted(folder, number):
    """Cases by block and season, and vines scouted, straight from the files."""
    with (folder / f"v{number:02}" / "surveys.csv").open() as file:
        vines = {
            (one["block"], int(one["date"][:4])): 12 * int(one["covered"].rpartition(".")[2])
            for one in csv.DictReader(file)
        }
    cases = Counter()
    if (folder / f"v{number:02}" / "symptoms.csv").exists():
        with (folder / f"v{number:02}" / "symptoms.csv").open() as file:
            cases = Counter((one["block"], int(one["date"][:4])) for one in csv.DictReader(file))
    return {key: (cases[key], many) for key, many in vines.items()}


@pytest.mark.long
def test_there_are_sixty_growers_and_a_hundred_and_fifty_blocks(overview):
    assert len(overview["growers"]) == GROWERS
    assert sum(len(one["blocks"]) for one in overview["growers"]) == BLOCKS
    assert (overview["computed"], overview["kept"]) == (BLOCKS, 0)


@pytest.mark.long
def test_every_block_has_its_own_records_and_no_others(made, overview):
    for number, grower in enumerate(overview["growers"]):
        assert [one["block"] for one in grower["blocks"]] == blocks_of(number)
        found = {
            (block["block"], year["season"]): (year["cases"], year["vines"])
            for block in grower["blocks"]
            for year in block["seasons"]
        }
        assert found == counted(made, number), grower["grower"]


def test_a_block_without_records_carries_nothing_and_stops_nobody(overview):
    bare = overview["growers"][1]["blocks"][1]
    assert (bare["block"], bare["season"], bare["seasons"]) == ("Bare", None, [])
    assert not any(use["ready"] for use in bare["uses"])
    assert all(
        use["ready"]
        for one in overview["growers"]
        for block in one["blocks"]
        if block["block"] != "Bare"
        for use in block["uses"]
        if use["use"] == "rates"
    )


@pytest.mark.long
def test_a_second_run_works_nothing_out_and_says_the_same(made, overview):
    again = told(made, "ready")
    assert (again["computed"], again["kept"]) == (0, BLOCKS)
    for one in (again, overview):
        for grower in one["growers"]:
            grower.pop("last_read", None)
    assert again["growers"] == overview["growers"]


def test_the_catalogue_says_when_each_was_read(made, overview):
    assert {one.last_read for one in read_catalogue(made)} == {overview["day"]}


def test_blocks_stand_beside_each_other_where_that_was_agreed_to(made, overview):
    result = done(made, "seasons")
    lines = [line for line in result.stdout.splitlines() if line.startswith("│")]
    shown = sum(len(blocks_of(number)) for number in range(GROWERS) if agreed("compare", number))
    assert len(lines) == shown
    assert "G 3 is left out: no consent for compare" in result.stderr
    assert not [line for line in lines if re.search(r"│ G (3|4|5) ", line)]
    fern = next(line for line in lines if re.search(r"Fern 1 +│ A 1 ", line))
    cases, vines = counted(made, 0)["A 1", 2026]
    assert f"{cases}/{vines}" in fern


@pytest.mark.long
def test_reports_are_written_for_those_who_agreed_and_no_two_share_a_name(made):
    found = told(made, "report", "--permutations", 99)
    paths = []
    for number, grower in enumerate(found["growers"]):
        if not agreed("report", number):
            assert grower["blocks"] == []
            assert "consent" in grower["reason"]
            continue
        for block in grower["blocks"]:
            if block["block"] == "Bare":
                assert "has no survey, finding or work yet" in block["reason"]
                continue
            report, page_map = block["pages"]
            paths += [report, page_map]
            with open(report, encoding="utf-8") as file:  # noqa: PTH123 - as it is printed
                assert f"Block {block['block']}" in file.read()
    assert len(paths) == len({path.casefold() for path in paths})
    assert len(paths) == sum(path.stat().st_size > 10_000 for path in (made / "pages").rglob("*.html"))
    expected = sum(len(blocks_of(number)) for number in range(GROWERS) if agreed("report", number)) - 1
    assert len(paths) == 2 * expected


@pytest.mark.long
def test_handouts_are_one_page_for_each_who_agreed_and_name_nobody_else(made):
    out = made / "letters"
    found = told(made, "handouts", "--out", out, "--size", "Letter")
    pages = {one["grower"]: block["pages"][0] for one in found["growers"] for block in one["blocks"]}
    assert len(pages) == len(set(pages.values())) == sum(agreed("handout", number) for number in range(GROWERS))
    names = {one["grower"] for one in found["growers"]}
    for name, path in pages.items():
        with open(path, encoding="utf-8") as file:  # noqa: PTH123 - as it is printed
            page = file.read()
        assert f"<h1>{name}: block " in page
        others = [
            other for other in names if re.search(rf"(?<![\w.-]){re.escape(other)}(?![\w-])", page) and other != name
        ]
        assert others == []
    assert len(list(out.iterdir())) == len(pages)


@pytest.mark.long
def test_each_task_reads_by_one_command(made):
    for task in ("list", "ready", "seasons", "report", "handouts"):
        assert done(made, task, "--permutations", 99, "--grower", "Fern 1", "--grower", "Fern-1").stdout


@pytest.fixture
def few(tmp_path):
    for number in range(3):
        make_vineyard(tmp_path / f"v{number}", number + 10, labels=["A", "B"], cases=4)
    listed = [Grower(f"G {n}", f"v{n}", ("report", "handout", "compare"), OPEN) for n in range(3)]
    write_catalogue(tmp_path, listed)
    return tmp_path


@pytest.mark.long
def test_one_more_finding_works_one_block_out(few):
    assert told(few, "report", "--permutations", 99)["computed"] == 6
    with (few / "v1" / "symptoms.csv").open("a", encoding="utf-8") as file:
        file.write("B,2,12,2026-08-01,leaf_stripe\n")
    again = told(few, "report", "--permutations", 99)
    assert (again["computed"], again["kept"]) == (1, 5)
    other = told(few, "report", "--permutations", 199)
    assert (other["computed"], other["kept"]) == (6, 0)


@pytest.mark.long
def test_with_prices_the_other_blocks_of_the_grower_count_as_well(few):
    (few / "v1" / "costs.csv").write_text(
        "name,value,unit\nprice_per_t,900,EUR/t\nyield_t_ha,8,t/ha\ncrew_hour,30,EUR/h\nreplant_vine,6,EUR/vine\n"
    )
    told(few, "handouts", "--each-block", "--grower", "G 1")
    with (few / "v1" / "symptoms.csv").open("a", encoding="utf-8") as file:
        file.write("B,2,12,2026-08-01,leaf_stripe\n")
    again = told(few, "handouts", "--each-block", "--grower", "G 1")
    assert (again["computed"], again["kept"]) == (2, 0)


@pytest.mark.long
def test_a_vineyard_that_cannot_be_read_is_named_and_stops_nobody(few):
    (few / "v1" / "symptoms.csv").write_text("block,row,position,date,symptom\nA,1,1,2026-08-01,leaf_strype\n", "utf-8")
    shutil.rmtree(few / "v2")
    result = done(few, "report", "--permutations", 99)
    assert "G 1 is left out: symptoms.csv, line 2, column symptom: unknown symptom ('leaf_strype')" in result.stderr
    assert "G 2 is left out: no vineyard at" in result.stderr
    assert len(result.stdout.split()) == 4


def test_where_nothing_can_be_shown_it_is_an_error(few):
    write_catalogue(few, [Grower("G 0", "v0", ("report",), ENDED)])
    result = run(few, "report")
    assert result.exit_code == 1
    assert "G 0 is left out: the consent for report ended on 2020-12-31" in result.output
    assert "of 1 growers 1 gave no consent that holds today" in result.output


@pytest.mark.long
def test_pages_of_a_consent_that_ended_are_pointed_at(few):
    done(few, "handouts")
    write_catalogue(few, [Grower("G 0", "v0", ("handout",), ENDED), *read_catalogue(few)[1:]])
    result = done(few, "handouts")
    assert (
        f"pages of G 0 from an earlier run are still in {few / 'pages' / 'G_0'}: delete what nobody may see"
        in result.stderr
    )
    assert "pages of G 1" not in result.stderr


@pytest.mark.long
def test_what_is_written_into_the_catalogue_during_a_run_stays(few):
    growers = read_catalogue(few)
    runs = over_growers(few, growers, "overview", lambda _grower, _block: {}, How())
    write_catalogue(few, [replace(growers[0], purposes=()), growers[1]])  # consent taken back, and one has left
    note_read(few, runs, "2026-05-01")
    assert read_catalogue(few) == (
        replace(growers[0], purposes=(), last_read="2026-05-01"),
        replace(growers[1], last_read="2026-05-01"),
    )


def test_add_takes_what_the_catalogue_holds(tmp_path):
    make_vineyard(tmp_path / "v", 2)
    words = (
        "--grower",
        "Fern 7",
        "--path",
        "v",
        "--consent",
        "handout",
        "--until",
        "2999-01-31",
        "--call",
        "Ida",
        "--sees",
        "you",
    )
    found = told(tmp_path, "add", *words)
    assert found["growers"][0]["in_force"] == ["handout"]
    assert read_catalogue(tmp_path) == (Grower("Fern 7", "v", ("handout",), "2999-01-31", "Ida", "you"),)
    assert "Fern 7 (v): consent for handout until 2999-01-31; not read yet" in done(tmp_path, "list").stdout


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("add", "--grower", "X"), 2, "add takes one --grower and its --path"),
        (("ready", "--path", "v0"), 2, "--path goes with add only"),
        (("ready", "--consent", "report"), 2, "--consent goes with add only"),
        (("ready", "--grower", "X"), 1, "no grower 'X'; the growers are: G 0, G 1, G 2"),
        (("add", "--grower", "X", "--path", "v0"), 1, "'v0' is the vineyard of 'G 0' already"),
    ],
)
def test_what_is_asked_wrongly_is_told(few, words, code, says):
    result = run(few, *words)
    assert (result.exit_code, says in result.output) == (code, True), result.output


def test_the_block_that_showed_most_is_picked_and_said_only_among_several():
    def block(name, share, season=2026):
        years = [{"season": 2025, "share": 0.9}, {"season": season, "share": share}]
        return {"block": name, "season": season, "seasons": years}

    bare = {"block": "Bare", "season": None, "seasons": []}
    assert shown_most([block("A", 0.1), block("B", 0.3), bare]) == ("B", True)
    assert shown_most([bare, block("A", 0.1)]) == ("A", False)
    assert shown_most([bare, block("A", None)]) == ("A", False)
    assert shown_most([bare, {"block": "C", "reason": "cannot be read"}]) == (None, False)


@pytest.mark.long
def test_what_blocks_alike_show_stands_on_the_page_of_its_block(few):
    growers = read_catalogue(few)
    asked = []

    def like(pages):
        asked.append(dict(pages))
        return {("G 0", "A"): ("Of blocks like yours, most show 2 to 9 of 100.", '<svg class="spread"></svg>')}

    runs = handouts(
        few, growers[:1], How(), each_block=True, like=like, season=None, definition=None, size="A4", seed=1
    )
    pages = {block: runs[0].data(block)["pages"]["handout"] for block in ("A", "B")}
    assert asked == [{("G 0", "A"): (2026, "any"), ("G 0", "B"): (2026, "any")}]
    assert "Of blocks like yours, most show 2 to 9 of 100." in pages["A"]
    assert '<figure class="like"><svg class="spread"></svg>' in pages["A"]
    assert 'data-of="like"' not in pages["B"]
    assert 'class="like"' not in pages["B"]
