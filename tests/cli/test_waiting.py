"""trunkwatch.cli: waiting; what a long job shows on a terminal, and that its steps are told by the decision."""

import io
import sys

import pytest
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.cli import waiting as module
from trunkwatch.cli.waiting import waiting
from trunkwatch.decide.decision import decide
from trunkwatch.renewal.costs import example_costs
from trunkwatch.spreadsheets.table import read_table
from trunkwatch.spreadsheets.worksheet import read_sheets


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("patience", "drawn"), [(0.0, True), (60.0, False)])
def test_only_what_takes_long_is_drawn(monkeypatch, patience, drawn):
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(module, "SECONDS_OF_PATIENCE", patience)
    with waiting("Futures") as progress:
        for share in (0.25, 0.5, 1.0):
            progress(share)
    assert ("Futures" in screen.getvalue()) is drawn


def test_nothing_is_drawn_for_a_program(monkeypatch):
    stream = io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setattr(module, "SECONDS_OF_PATIENCE", 0.0)
    with waiting("Futures") as progress:
        progress(0.5)
    assert stream.getvalue() == ""


def test_a_decision_tells_how_far_it_is(tmp_path):
    path = tmp_path / "costs.csv"
    path.write_text(next(iter(example_costs().values())))
    costs, _ = read_table(read_sheets(path)[0], "costs")
    symptoms = [{"position": str(k), "date": f"{2022 + k % 4}-08-15", "symptom": "leaf_stripe"} for k in range(1, 13)]
    season = load(walked_block((2022, 2023, 2024, 2025), vines=40, symptoms=symptoms, training="bilateral"), "A")
    shares = []
    decide(season, [], costs, futures=20, progress=shares.append)
    assert shares == sorted(shares)
    assert shares[0] < 0.1
    assert shares[-1] == pytest.approx(1.0)
