"""trunkwatch.cli: settings_command, spoken; trunkwatch.block: spoken_to; trunkwatch.intake: settings, check_settings.

Pages, sheets and terminal of the samples in US units and British spelling, beside the same in the default manner.
"""

import html
import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from trunkwatch.block import open_vineyard
from trunkwatch.block.spoken_to import manner_of, settings_of
from trunkwatch.cli import main
from trunkwatch.cli.spoken import hands_out_data
from trunkwatch.intake import check_vineyard
from trunkwatch.intake.settings import set_manner
from trunkwatch.vineyard.manner import AMERICAN, in_force
from trunkwatch.vineyard.spelling import BRITISH

#: What is left of metric units in what people read; a number stands before a short sign.
METRIC = re.compile(
    r"\d(?:\s|&nbsp;)?(?:m|cm|mm|km|C|ha|kg)\b(?![-'\w])|\bha\b|\b(?:hectares?|metric tons?|tonnes?|meters?|metres?|centimet\w+|Celsius)\b"
)
AMERICAN_WORD = re.compile(rf"(?<![\w/.'\"-])(?:{'|'.join(BRITISH)})(?![\w/.]\w|['\"\w])", re.IGNORECASE)
BRITISH_WORD = re.compile(
    rf"\b(?:{'|'.join(set(BRITISH.values()) - {'catalogue', 'catalogues', 'towards'})})\b", re.IGNORECASE
)
RUNS = {
    "answer": ("answer", "{v}", "--block", "Mill", "--details"),
    "pattern": ("pattern", "{v}", "--block", "Chapel", "--permutations", "99", "--details"),
    "incidence": ("incidence", "{v}", "--block", "Hollow"),
    "forecast": ("forecast", "{v}", "--block", "Mill"),
    "winter": ("winter", "{v}", "--block", "Hollow"),
    "cold": ("cold", "{v}", "--date", "2026-02-20", "--stand-in", "medium", "--details"),
    "before": ("before", "{v}", "--block", "Mill"),
    "history": ("history", "{v}", "--block", "Mill", "--row", "13", "--position", "24"),
    "peers": ("peers", "{v}", "--by", "training"),
    "plan": (
        "plan",
        "{v}",
        "--block",
        "Mill",
        "--futures",
        "20",
        "--page",
        "{out}/decide.html",
        "--out",
        "{out}/list.csv",
    ),
    "report": ("report", "{v}", "--block", "Mill", "--permutations", "99", "--out", "{out}/report.html"),
    "map": ("map", "{v}", "--block", "Mill", "--out", "{out}/map.html"),
    "drawing": ("map", "{v}", "--block", "Hollow", "--out", "{out}/map.svg"),
    "cold_page": ("cold", "{v}", "--date", "2026-02-20", "--stand-in", "medium", "--out", "{out}/cold.html"),
    "findings": ("sheet", "{v}", "--block", "Mill", "--paper", "findings", "--out", "{out}/findings.html"),
    "strip": ("sheet", "{v}", "--block", "Hollow", "--paper", "strip", "--out", "{out}/strip.html"),
    "lists": ("sheet", "{v}", "--block", "Mill", "--season", "2026", "--paper", "lists", "--out", "{out}/lists.html"),
    "phone": ("sheet", "{v}", "--block", "Mill", "--phone", "--out", "{out}/phone.html"),
}
#: Records, codes and data: nothing of them may change.
DATA = {"list.csv"}


def run(*words):
    done = CliRunner().invoke(main, list(words))
    assert done.exit_code == 0, done.output
    return done


def read_by_people(name, text):
    """What of an output a person reads: of a page the words between its tags, and the words that tags say."""
    if not name.endswith((".html", ".svg")):
        return text
    # The figures of costs.csv stand under their names, which hold their unit (yield_t_ha), with the words of their sources.
    text = re.sub(
        r'<table class="stack"><caption>Each figure that the projection rests on</caption>.*?</table>',
        "",
        text,
        flags=re.DOTALL,
    )
    text = text.replace("a hectare or an acre", "an area")  # what the word Gain means, in either unit
    text = re.sub(r"<(script|style)\b.*?</\1\s*>", " ", text, flags=re.DOTALL)
    said = " | ".join(re.findall(r'\b(?:alt|title|aria-label)="([^"]*)"', text))
    return html.unescape(re.sub(r"<[^>]*>", " | ", text) + said)


def outputs(vineyard, out):
    out.mkdir()
    written = {
        name: run(*(word.format(v=vineyard, out=out) for word in words))
        .output.replace(str(out), "OUT")
        .replace(str(vineyard), "V")
        for name, words in RUNS.items()
    }
    return written | {path.name: path.read_text("utf-8") for path in sorted(out.iterdir())}


@pytest.fixture(scope="module")
def spoken(tmp_path_factory):
    """All outputs of the samples, by manner."""
    root = tmp_path_factory.mktemp("spoken")
    found = {}
    for name, options in {
        "default": (),
        "us": ("--units", "us", "--paper", "Letter"),
        "british": ("--spelling", "british"),
    }.items():
        shutil.copytree("sample_blocks", root / name)
        if options:
            run("settings", str(root / name), *options)
        found[name] = outputs(root / name, root / f"{name}_out")
    return found


def _left(pattern, written):
    texts = {name: read_by_people(name, text) for name, text in written.items() if name not in DATA}
    return [
        f"{name}: ...{text[max(0, found.start() - 40) : found.end() + 20]!r}"
        for name, text in texts.items()
        for found in pattern.finditer(text)
    ]


@pytest.mark.long
def test_us_units_leave_no_metric_unit(spoken):
    assert _left(METRIC, spoken["us"]) == []
    metric = {line.split(":")[0] for line in _left(METRIC, spoken["default"])}
    assert {"history", "cold", "cold.html", "report.html", "decide.html", "map.svg", "map.html"} <= metric, (
        "the test sees them"
    )


@pytest.mark.long
def test_british_pages_hold_no_american_word_and_the_other_way_round(spoken):
    assert _left(AMERICAN_WORD, spoken["british"]) == []
    assert _left(BRITISH_WORD, spoken["default"]) == []
    assert {"report.html", "before", "plan"} <= {line.split(":")[0] for line in _left(AMERICAN_WORD, spoken["default"])}
    assert {"report.html", "before", "plan"} <= {line.split(":")[0] for line in _left(BRITISH_WORD, spoken["british"])}


@pytest.mark.long
def test_words_of_the_phone_page_are_spelled(spoken):
    words = {
        name: json.loads(re.search(r'id="data">(.*?)</script>', spoken[name]["phone.html"], re.DOTALL)[1])["words"]
        for name in ("default", "british")
    }
    assert words["default"]["en"]["as_labelled"] == "Numbers as labeled"
    assert words["british"]["en"]["as_labelled"] == "Numbers as labelled"
    assert words["default"]["es"] == words["british"]["es"]


@pytest.mark.long
def test_numbers_agree_when_they_are_turned_back(spoken):
    """The coldest night, a height, a stain, an area of money and a spacing: the same as in the default pages."""

    def numbers(pattern, name, page):
        return [float(one.replace(",", "")) for one in re.findall(pattern, spoken[name][page])]

    nights = (
        numbers(r"Coldest night so far: (\S+) C", "default", "cold"),
        numbers(r"Coldest night so far: (\S+) F", "us", "cold"),
    )
    assert len(nights[0]) == len(nights[1]) == 4
    assert [(one - 32) / 1.8 for one in nights[1]] == pytest.approx(nights[0], abs=0.06)
    assert [2.54 * one for one in numbers(r"(\S+) in\b", "us", "history")] == pytest.approx(
        numbers(r"(\S+) cm\b", "default", "history"), abs=0.13
    )
    worth = (
        numbers(r"It is worth ([\d,]+) marks a hectare", "default", "plan"),
        numbers(r"It is worth ([\d,]+) marks an acre", "us", "plan"),
    )
    assert len(worth[0]) == 1
    assert worth[1][0] / 0.40468564224 == pytest.approx(worth[0][0], abs=2)
    price = numbers(r"your price is ([\d,]+)", "default", "plan"), numbers(r"your price is ([\d,]+)", "us", "plan")
    assert price[1][0] / 0.90718474 == pytest.approx(price[0][0], abs=1)
    apart = (
        numbers(r"nearest other case is (\S+) m", "default", "report.html"),
        numbers(r"nearest other case is (\S+) ft", "us", "report.html"),
    )
    assert [one * 0.3048 for one in apart[1]] == pytest.approx(apart[0], abs=0.07)


def test_axes_are_round_in_the_unit_that_is_shown():
    from datetime import date, timedelta

    from trunkwatch.charts.cold_curve import ColdDay, cold_curve_svg
    from trunkwatch.vineyard.manner import Manner, speaking

    days = [ColdDay(date(2026, 1, 1) + timedelta(days=n), -5.0 - n % 9, -18.0, -23.0) for n in range(60)]
    ticks = {}
    for units in ("metric", "us"):
        with speaking(Manner(units=units)):
            drawn = cold_curve_svg(days, title="Nights")
        ticks[units] = [int(one) for one in re.findall(r">(-?\d+) [CF]</text>", drawn)]
    assert ticks == {"metric": [-30, -20, -10, 0], "us": [-20, 0, 20, 40]}


@pytest.mark.long
def test_data_are_the_same_in_every_manner(tmp_path, spoken):
    assert spoken["us"]["list.csv"] == spoken["british"]["list.csv"] == spoken["default"]["list.csv"]
    shutil.copytree("sample_blocks", tmp_path / "b")
    set_manner(tmp_path / "b", {"units": "us", "spelling": "british", "paper": "letter"})
    for words in (
        ("answer", "--block", "Mill", "--details", "--json"),
        ("plan", "--block", "Mill", "--futures", "20", "--json"),
        ("cold", "--date", "2026-02-20", "--stand-in", "medium", "--json"),
        ("history", "--block", "Mill", "--row", "13", "--position", "24", "--json"),
        ("pattern", "--block", "Chapel", "--permutations", "99", "--json"),
        ("winter", "--block", "Hollow", "--json"),
        ("incidence", "--block", "Mill", "--json"),
    ):
        verb, *rest = words
        assert run(verb, str(tmp_path / "b"), *rest).stdout == run(verb, "sample_blocks", *rest).stdout, verb


def test_what_asks_for_data():
    assert hands_out_data(("answer", "v", "--json"))
    assert hands_out_data(("export", "v"))
    assert not hands_out_data(("report", "v"))


@pytest.mark.long
def test_paper_follows_the_setting_until_a_size_is_given(spoken, tmp_path):
    assert "size: A4" in spoken["default"]["findings.html"]
    assert "size: Letter" in spoken["us"]["findings.html"]
    shutil.copytree("sample_blocks", tmp_path / "v")
    set_manner(tmp_path / "v", {"paper": "letter"})
    out = tmp_path / "a4.html"
    run("sheet", str(tmp_path / "v"), "--block", "Mill", "--paper", "findings", "--size", "A4", "--out", str(out))
    assert "size: A4" in out.read_text()


@pytest.mark.parametrize("name", ["v", "v.gpkg"])
def test_set_shown_and_changed(tmp_path, name):
    where = str(tmp_path / name)
    run(
        "new",
        where,
        "--block",
        "North",
        "--rows",
        "3",
        "--vines",
        "4",
        "--hemisphere",
        "north",
        "--units",
        "us",
        "--spelling",
        "british",
        "--paper",
        "Letter",
    )
    assert run("settings", where).stdout == "Spelling: british\nUnits: us\nPaper: Letter\n"
    run("settings", where, "--units", "metric")
    run("settings", where, "--units", "us")
    run("settings", where, "--units", "metric")
    assert json.loads(run("settings", where, "--json").stdout) == {
        "spelling": {"value": "british", "set": True},
        "units": {"value": "metric", "set": True},
        "paper": {"value": "letter", "set": True},
    }
    assert [one.problem for one in check_vineyard(Path(where))] == [
        "no spacing is on record: nothing can be said in meters"
    ]
    assert in_force() == AMERICAN


def test_round_trip_through_a_file(tmp_path):
    run(
        "new",
        str(tmp_path / "v"),
        "--block",
        "North",
        "--rows",
        "3",
        "--vines",
        "4",
        "--hemisphere",
        "north",
        "--units",
        "us",
    )
    run("load", str(tmp_path / "v.gpkg"), str(tmp_path / "v"))
    run("export", str(tmp_path / "v.gpkg"), str(tmp_path / "again"))
    for one in ("v", "v.gpkg", "again"):
        with open_vineyard(tmp_path / one) as store:
            assert settings_of(store, "North") == {"units": "us"}, one


def test_of_two_files_with_other_settings_the_vineyards_own_stay(tmp_path):
    for name, units in (("a", "us"), ("b", "metric")):
        run(
            "new",
            str(tmp_path / f"{name}.gpkg"),
            "--block",
            "North",
            "--name",
            "Hill",
            "--rows",
            "3",
            "--vines",
            "4",
            "--hemisphere",
            "north",
            "--units",
            units,
        )
        run("export", str(tmp_path / f"{name}.gpkg"), str(tmp_path / name))
    done = CliRunner().invoke(main, ["load", str(tmp_path / "a.gpkg"), str(tmp_path / "b" / "settings.csv")])
    assert "us" in done.output
    assert "metric" in done.output
    assert "not imported" in done.output
    with open_vineyard(tmp_path / "a.gpkg") as store:
        assert settings_of(store, "North") == {"units": "us"}


def test_a_value_of_another_name_is_refused(tmp_path):
    run("new", str(tmp_path / "v"), "--block", "North", "--rows", "3", "--vines", "4", "--hemisphere", "north")
    (tmp_path / "v" / "settings.csv").write_text("name,value\nunits,letter\n")
    done = CliRunner().invoke(main, ["check", str(tmp_path / "v")])
    assert done.exit_code == 1
    assert "letter" in done.output
    assert "metric, us" in done.output


def test_each_vineyard_of_a_file_has_its_own(tmp_path):
    """Two vineyards in one file: each block speaks as its own says, and no other is followed."""
    path = tmp_path / "v.gpkg"
    for owner, block in (("Hill", "North"), ("Dale", "Low")):
        run("new", str(path), "--block", block, "--name", owner, "--rows", "3", "--vines", "4", "--hemisphere", "north")
    done = CliRunner().invoke(main, ["settings", str(path), "--units", "us"])
    assert done.exit_code == 1
    assert "'Hill', 'Dale'" in done.output
    run("settings", str(path), "--units", "us", "--vineyard", "Dale")
    with open_vineyard(path) as store:
        assert (manner_of(store, "North").units, manner_of(store, "Low").units, manner_of(store).units) == (
            "metric",
            "us",
            "metric",
        )
    for block, row, height in (("North", "1", "20 cm"), ("Low", "1", "7.9 in")):
        run(
            "log",
            str(path),
            "work",
            "--block",
            block,
            "--row",
            row,
            "--position",
            "1",
            "--kind",
            "renew_trunk",
            "--date",
            "2026-02-01",
            "--cut-height-cm",
            "20",
        )
        assert f"cut at {height}" in run("history", str(path), "--block", block, "--row", row, "--position", "1").stdout
    assert "no vineyard 'Vale'" in CliRunner().invoke(main, ["settings", str(path), "--vineyard", "Vale"]).output


def test_names_of_people_keep_their_spelling(tmp_path):
    where = str(tmp_path / "v")
    run(
        "new",
        where,
        "--block",
        "Center",
        "--rows",
        "3",
        "--vines",
        "4",
        "--hemisphere",
        "north",
        "--spelling",
        "british",
    )
    run(
        "log",
        where,
        "finding",
        "--block",
        "Center",
        "--row",
        "1",
        "--position",
        "1",
        "--symptom",
        "leaf_stripe",
        "--date",
        "2026-08-01",
        "--note",
        "odd color of leaves",
    )
    shown = run("history", where, "--block", "Center", "--row", "1", "--position", "1").stdout
    assert "odd color of leaves" in shown
    run("log", where, "survey", "--block", "Center", "--date", "2026-08-01", "--covered", "1..3")
    run("map", where, "--block", "Center", "--out", str(tmp_path / "m.html"))
    assert "Block Center" in (tmp_path / "m.html").read_text()
