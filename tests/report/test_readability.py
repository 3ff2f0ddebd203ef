"""trunkwatch.report: page; how hard its sentences are, by the library textstat (Flesch-Kincaid grade), and how many words stand open."""

import re
from html.parser import HTMLParser

import pytest
import textstat

from trunkwatch.block import load, open_vineyard
from trunkwatch.report import report_html

#: Highest school grade of sentences, and words before anything is unfolded.
GRADE, WORDS = 9.0, 1500
BREAKS = {"p", "li", "h1", "h2", "h3", "summary", "figcaption", "dt", "dd", "div"}


class Reader(HTMLParser):
    """The sentences of a page; tables and pictures aside, and what is folded only where it is wished."""

    def __init__(self, *, folded: bool) -> None:
        super().__init__()
        self.hidden = {"script", "style", "svg", "table", "nav"} | (set() if folded else {"details"})
        self.depth, self.text = 0, []

    def handle_starttag(self, tag, _attributes):
        self.depth += tag in self.hidden
        self.text += ["\n"] if tag in BREAKS else []

    def handle_endtag(self, tag):
        self.depth -= tag in self.hidden
        self.text += ["\n"] if tag in BREAKS else []

    def handle_data(self, data):
        self.text += [] if self.depth else [data]


def sentences(page, *, folded):
    reader = Reader(folded=folded)
    reader.feed(page)
    lines = (re.sub(r"\s+", " ", line).strip() for line in "".join(reader.text).split("\n"))
    return [line.rstrip(".:;") + "." for line in lines if len(line.split()) > 3]


@pytest.fixture(scope="module", params=["Mill", "Chapel", "Orchard", "Hollow"])
def page(request):
    with open_vineyard("sample_blocks") as store:
        return report_html(load(store, request.param), permutations=99)


@pytest.mark.parametrize("folded", [False, True], ids=["open", "with all that is folded"])
def test_the_report_reads_at_school_grade_nine_at_most(page, folded):
    text = " ".join(sentences(page, folded=folded))
    assert len(text.split()) > (1000 if folded else 120)
    assert textstat.flesch_kincaid_grade(text) <= GRADE


def test_few_words_stand_open(page):
    reader = Reader(folded=False)
    reader.hidden -= {"table"}
    reader.feed(page)
    assert 150 < len("".join(reader.text).split()) < WORDS


def test_the_grade_is_one_that_hard_sentences_fail():
    hard = (
        "Notwithstanding considerable heterogeneity between observational periods, the aforementioned distributional "
        "characteristics necessitate supplementary epidemiological investigation."
    )
    assert textstat.flesch_kincaid_grade(hard) > GRADE
