"""trunkwatch.report: bunched, pattern_page."""

import re

import pytest
from click.testing import CliRunner

from trunkwatch.block import load
from trunkwatch.cli import main
from trunkwatch.pattern import pattern_of
from trunkwatch.pattern.words import caution_sentences
from trunkwatch.pattern.years import years_verdict
from trunkwatch.pattern.years_words import headline_sentence
from trunkwatch.report.bunched import bunched_pictures
from trunkwatch.report.facts import facts_of
from trunkwatch.report.pattern_page import pattern_html

SAMPLE = "sample_blocks"


@pytest.fixture(scope="module")
def mill():
    return load(SAMPLE, "Mill")


@pytest.fixture(scope="module")
def page(mill) -> str:
    return pattern_html(mill, permutations=99)


def words_of(page: str) -> str:
    plain = (
        re.sub(r"<[^>]+>", " ", page.split("<body>")[1])
        .replace("&#39;", "'")
        .replace("&#8217;", "\u2019")
        .replace("&lt;", "<")
    )
    return re.sub(r"\s+", " ", plain)


def test_what_all_years_say_stands_first(mill, page):
    said = words_of(page)
    found = pattern_of(mill, permutations=99)
    headline = headline_sentence(years_verdict(found))
    assert 0 < said.index(headline) < said.index("Are sick vines bunched?")
    for caution in caution_sentences(found):
        assert caution in said


def test_flags_of_a_hundred_are_the_shares_of_the_table(mill):
    facts = facts_of(mill, permutations=99)
    drawn = bunched_pictures(facts)
    for key, (new, free) in zip(("beside", "elsewhere"), facts.pattern.near_old.table, strict=True):
        wanted = int(100 * new / (new + free) + 0.5)
        assert drawn[key].count("v-8l5 2.4") == wanted
        assert f"Of 100 vines about {wanted} healthy ones" in drawn[key]
    assert drawn["beside"].count("v-8l5 2.4") > drawn["elsewhere"].count("v-8l5 2.4")


def test_steps_are_those_of_the_test_that_the_verdict_rests_on(mill):
    facts = facts_of(mill, permutations=99)
    for one in facts.pattern.spread.telling.lags:
        assert f"{one.ratio:.1f} times, by chance {one.low:.1f} to {one.high:.1f}" in bunched_pictures(facts)["steps"]


def test_every_test_stands_behind_the_pictures(page):
    behind = page[page.index("What lies behind it?") :]
    for words in ("adjacent vines in a row", "directly across", "What could explain it?", "Holm"):
        assert words in behind


def test_one_season_is_shown_without_what_needs_years(tmp_path):
    said = CliRunner().invoke(
        main,
        [
            "new",
            str(tmp_path / "v"),
            "--block",
            "North",
            "--rows",
            "6",
            "--vines",
            "20",
            "--row-spacing-m",
            "2.5",
            "--vine-spacing-m",
            "1.5",
            "--hemisphere",
            "north",
        ],
    )
    assert said.exit_code == 0, said.output
    for line in (
        ["survey", "--block", "North", "--date", "2026-02-03", "--covered", "all"],
        *(
            [
                "finding",
                "--block",
                "North",
                "--row",
                "2",
                "--position",
                str(k),
                "--symptom",
                "dead_arm",
                "--date",
                "2026-02-03",
            ]
            for k in range(3, 10)
        ),
    ):
        assert CliRunner().invoke(main, ["log", str(tmp_path / "v"), *line]).exit_code == 0
    found = pattern_html(load(str(tmp_path / "v"), "North"), permutations=99)
    assert "Are sick vines bunched?" in found
    for absent in ("Do new cases come beside earlier ones?", 'class="steps"', "All seasons beside each other"):
        assert absent not in found


def test_a_block_of_two_cases_says_too_few_and_draws_its_one_count(tmp_path):
    made = [
        "new",
        str(tmp_path / "v"),
        "--block",
        "North",
        "--rows",
        "6",
        "--vines",
        "20",
        "--row-spacing-m",
        "2.5",
        "--vine-spacing-m",
        "1.5",
        "--hemisphere",
        "north",
    ]
    assert CliRunner().invoke(main, made).exit_code == 0
    for line in (
        ["survey", "--block", "North", "--date", "2026-02-03", "--covered", "all"],
        *(
            [
                "finding",
                "--block",
                "North",
                "--row",
                "2",
                "--position",
                k,
                "--symptom",
                "dead_arm",
                "--date",
                "2026-02-03",
            ]
            for k in ("3", "9")
        ),
    ):
        assert CliRunner().invoke(main, ["log", str(tmp_path / "v"), *line]).exit_code == 0
    found = pattern_html(load(str(tmp_path / "v"), "North"), permutations=99)
    assert "too few" in found
    assert found[: found.index("What lies behind it?")].count('class="bar"') == 1


def test_the_command_writes_the_page(tmp_path):
    out = tmp_path / "mill.html"
    run = CliRunner().invoke(main, ["pattern", SAMPLE, "--block", "Mill", "--permutations", "99", "--page", str(out)])
    assert run.exit_code == 0, run.output
    assert "bunched, or spreading?" in out.read_text()


@pytest.mark.parametrize("other", [["--all-blocks"], ["--json"], ["--by", "planting"]])
def test_a_page_is_of_one_season_of_one_block(tmp_path, other):
    run = CliRunner().invoke(main, ["pattern", SAMPLE, "--page", str(tmp_path / "p.html"), *other])
    assert run.exit_code == 2
    assert not (tmp_path / "p.html").exists()


def test_the_same_record_gives_the_same_bytes(mill, page):
    assert pattern_html(mill, permutations=99) == page
