"""trunkwatch.store: again, store; trunkwatch.intake: enter, correct: three devices that write, merge and disagree, beside a plain model.

Ten thousand runs are in tests/calibration/devices.py.
"""

import tempfile
from pathlib import Path

import pytest
from events.devices import CLOCKS, WHAT, DifferenceError, in_memory, play
from events.model import Act, outweighed, stands
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

STEP = st.tuples(st.integers(0, 2), st.sampled_from(WHAT), st.integers(0, 5), st.integers(0, 11))
CLOCK = st.integers(0, len(CLOCKS) - 1)
SETTINGS = {
    "deadline": None, "database": None, "derandomize": True, "phases": [Phase.explicit, Phase.generate, Phase.shrink],
    "suppress_health_check": list(HealthCheck),
}  # fmt: skip


@pytest.mark.long
@settings(max_examples=197, **SETTINGS)
@given(st.tuples(CLOCK, CLOCK, CLOCK), st.lists(STEP, min_size=4, max_size=11))
def test_three_devices_say_what_the_model_says(clocks, steps):
    with in_memory():
        play(clocks, steps)


@pytest.mark.long
@settings(max_examples=3, **{**SETTINGS, "phases": [Phase.generate]})
@given(st.tuples(CLOCK, CLOCK, CLOCK), st.lists(STEP, min_size=4, max_size=7))
def test_three_files_say_what_the_model_says(clocks, steps):
    with tempfile.TemporaryDirectory() as folder:
        play(clocks, steps, Path(folder))


@pytest.mark.long
def test_corrected_back_to_what_was_entered_stays_when_a_copy_of_the_entry_comes(tmp_path):
    """10, then 20, then 10 again on one device; another one has the 10 of the beginning."""
    steps = [(0, "enter", 0, 0), (1, "merge", 0, 1), (0, "correct", 0, 1), (0, "correct", 0, 0), (0, "merge", 0, 0)]
    play((0, 0, 0), steps, tmp_path)


def test_the_same_words_written_later_by_who_knew_more_count_later():
    """Corrected to 20 here; there to 20, to 30 and, after this was seen, here to 20 again: that 20 has the last word."""
    steps = [
        (0, "enter", 0, 0),
        (1, "merge", 0, 1),
        (1, "correct", 0, 2),
        (0, "merge", 0, 0),
        (2, "merge", 0, 0),
        (0, "correct", 0, 1),
        (2, "correct", 0, 1),
        (2, "correct", 0, 2),
        (0, "merge", 0, 1),
    ]
    for clocks in ((0, 2, 0), (2, 2, 2), (3, 0, 2), (1, 1, 1)):
        with in_memory():
            play(clocks, steps)


def test_the_model_finds_a_difference(monkeypatch):
    """A device that keeps the earlier moment, or forgets a correction, is found out."""
    steps = [(0, "enter", 0, 0), (0, "correct", 0, 1), (1, "merge", 0, 1), (0, "correct", 0, 2)]
    monkeypatch.setattr("trunkwatch.intake.correct.later_than", lambda _claims, now: now)
    with in_memory(), pytest.raises(DifferenceError):
        play((1, 1, 1), steps)


def test_the_model_by_hand():
    cells = {value: (("row", "1"), ("percent", value)) for value in ("10", "20")}
    entry = Act(1, "symptoms", "a", "a", cells["10"], 5, takes_back=False, knew=frozenset())
    later = Act(2, "symptoms", "a", "b", cells["20"], 6, takes_back=False, knew=frozenset({1}))
    undo = Act(3, "symptoms", "a", "c", cells["20"], 7, takes_back=True, knew=frozenset({1, 2}))
    other = Act(4, "symptoms", "a", "a", cells["20"], 8, takes_back=False, knew=frozenset())

    def name(act):
        return "v" + act.cells[1][1]

    key = ("symptoms", "a")
    assert stands([entry], name) == {key: entry}
    assert stands([later, entry], name) == {key: later}
    assert stands([entry, later, undo], name) == {}
    assert stands([entry, later, undo, other], name) == {key: other}
    assert outweighed([entry, later, undo, other], name) == []
    wrong = Act(5, "symptoms", "a", "d", cells["10"], 1, takes_back=False, knew=frozenset({1, 2}))
    assert outweighed([entry, later, wrong], name) == [(later, wrong)]
