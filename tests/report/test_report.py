"""trunkwatch.report: page, facts, words, cautions, block_page: the numbers of the golden example, escaping, the same bytes."""

import re
from html.parser import HTMLParser

import pytest

from trunkwatch.block import load
from trunkwatch.report.facts import facts_of, trend_lines
from trunkwatch.report.page import report_html
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.vineyard.tables import frame_of


class Text(HTMLParser):
    """Collects tables, text, links, and whether every svg has a title."""

    def __init__(self) -> None:
        super().__init__()
        self.rows, self.tags, self.links = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in ("src", "href")]
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th") and self.rows:
            self.rows[-1].append("")

    def handle_data(self, data):
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data.strip()


def golden_report(golden, folder, **changes):
    tables = {**golden.TABLES, **changes}
    write_folder(folder, {name: frame_of(name, records) for name, records in tables.items()})
    return load(folder)


def test_golden_numbers_stand_in_the_report(golden, tmp_path):
    html = report_html(golden_report(golden, tmp_path), permutations=99)
    page = Text()
    page.feed(html)
    rows = {row[0]: row for row in page.rows if row and row[0].isdigit() and len(row) == 7}
    for season in golden.SEASONS:
        for column, name in enumerate(("annual", "standing", "ever", "new"), start=1):
            expected = golden.RATES[name][season]
            cell = rows[str(season)][column]
            if expected is None:
                assert cell == "-"
            else:
                least = "at least" if name == "ever" and season in golden.AT_LEAST else ""
                assert cell.startswith(f"{least}{expected[0]}/{expected[1]}") or cell.startswith(
                    f"{least} {expected[0]}/{expected[1]}"
                )


def test_facts_of_the_golden_block(golden, tmp_path):
    facts = facts_of(golden_report(golden, tmp_path), permutations=99)
    assert [line.name for line in trend_lines(facts.trend)] == ["annual", "standing", "ever", "new"]
    assert any("cannot tell a showy year" in sentence for sentence in facts.cannot_say)
    assert facts.now.season == 2026


def test_same_input_same_bytes_and_nothing_from_outside(golden, tmp_path):
    season = golden_report(golden, tmp_path)
    html = report_html(season, permutations=99)
    assert html == report_html(season, permutations=99)
    page = Text()
    page.feed(html)
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert page.links
    assert all(link.startswith("#") and link[1:] in ids for link in page.links)
    assert not re.search(r"https?://(?!www\.w3\.org)", html)
    assert "url(" not in html


def test_what_users_typed_is_escaped(golden, tmp_path):
    evil = "<script>alert(1)</script>"
    block = {**golden.BLOCK, "vineyard": evil, "cultivar": evil}
    symptoms = [{**line, "note": evil, "observer": evil} for line in golden.SYMPTOMS]
    html = report_html(golden_report(golden, tmp_path, blocks=[block], symptoms=symptoms), permutations=99)
    assert evil not in html
    assert html.count("<script") == 1  # the page's own
    assert "&lt;script&gt;" in html


def test_every_picture_is_told_in_words(golden, tmp_path):
    html = report_html(golden_report(golden, tmp_path), permutations=99)
    pictures = re.findall(r"<svg[^>]*>", html)
    assert len(pictures) >= 3
    assert all(('role="img"' in p and "aria-labelledby" in p) or 'aria-hidden="true"' in p for p in pictures)
    assert sum("aria-labelledby" in p for p in pictures) >= 3
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize(
    "word",
    ["not a diagnosis", "Burning", "graft union", "who infected whom", "consent", "laboratory", "wires"],
)
def test_cautions_stand_in_every_report(golden, tmp_path, word):
    assert word.casefold() in report_html(golden_report(golden, tmp_path), permutations=99).casefold()
