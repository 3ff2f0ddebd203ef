"""trunkwatch.store: inside, form, rescue, log; trunkwatch.intake: check_file, check_layers: files with flipped bits and runs of zeros, and edited by other programs.

Forty of each, and fifty places for zeros; `python tests/fuzz/flips.py 200`, `python tests/fuzz/zeros.py 50` and `python tests/fuzz/gis_edits.py` judge as many as one likes.
"""

import sqlite3
import sys
from collections import Counter
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from edited import MOST_SECONDS, Judge, make_file
from flips import flipped
from flips import run as run_flips
from gis_edits import HARMLESS, edits
from gis_edits import run as run_edits
from zeros import SIZES, faults_of_rescue, make_small, rescued
from zeros import run as run_zeros

COUNT, HANDFUL, SEED = 40, 5, 7
#: Places of the small file at which each run of zeros is judged.
PLACES = 10


def handfuls(many):
    """Return where each handful starts; all but the first are the long tests'."""
    return [0, *(pytest.param(first, marks=pytest.mark.long) for first in range(HANDFUL, many, HANDFUL))]


@pytest.fixture(scope="module")
def judge(tmp_path_factory):
    return Judge(make_file(tmp_path_factory.mktemp("edited")))


@pytest.mark.parametrize("first", handfuls(COUNT))
def test_a_flipped_bit_is_named_or_changes_nothing(judge, tmp_path, first):
    for told in run_flips(judge, tmp_path, range(first, first + HANDFUL), SEED):
        assert told.wrong == [], told.name
        assert told.seconds < MOST_SECONDS


@pytest.mark.parametrize("first", handfuls(COUNT))
@pytest.mark.filterwarnings("ignore")
def test_an_edit_of_another_program_is_named_or_changes_nothing(judge, tmp_path, first):
    names = list(edits())
    some = names[:: len(names) // COUNT][first : first + HANDFUL]
    assert len(some) == HANDFUL
    for told in run_edits(judge, tmp_path, some):
        assert told.wrong == [], told.name
        assert told.seconds < MOST_SECONDS


def test_the_judge_tells_a_silent_change(judge, tmp_path):
    """A record that is changed together with its seal is named by nothing: who judges must notice."""
    from trunkwatch.store.seal import seal_all

    path = tmp_path / "hurt.gpkg"
    path.write_bytes(judge.whole.read_bytes())
    db = sqlite3.connect(path)
    db.execute("UPDATE symptoms SET observer = 'Somebody else' WHERE number = 5")
    seal_all(db)
    db.commit()
    db.close()
    raw, whole = bytearray(path.read_bytes()), judge.whole.read_bytes()
    raw[24:28], raw[92:96] = whole[24:28], whole[92:96]  # the count of changes in the head of the file would tell
    path.write_bytes(raw)
    told = judge.judge("sealed anew", path)
    assert told.wrong == ["reads otherwise, and check says nothing of it"]


def test_every_edit_changes_the_file_and_flips_are_the_same_again(judge, tmp_path):
    assert len(edits()) >= 100
    assert set(edits()) >= {name for name in HARMLESS if "geopandas" not in name}
    whole = judge.whole.read_bytes()
    assert flipped(whole, 3, 1) == flipped(whole, 3, 1) != flipped(whole, 4, 1)
    assert all(flipped(whole, number, 1)[1] != whole for number in range(6))


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    judge = Judge(make_small(folder))
    return judge, rescued(judge.whole, folder / "back")[1]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("first", handfuls(PLACES))
def test_a_run_of_zeros_is_named_or_changes_nothing_and_rescue_counts_what_is_missing(small, tmp_path, size, first):
    judge, before = small
    for place, _, wrong in run_zeros(judge, before, tmp_path, size, range(first, first + HANDFUL), SEED):
        assert wrong == [], place


def test_who_judges_a_rescue_notices_what_it_leaves_out_and_what_it_makes_up(small, tmp_path):
    judge, before = small
    (one,) = list(before)[-1:]
    assert faults_of_rescue(before, judge.whole, tmp_path / "out") == []
    assert (
        "says that 0 are missing, and 1 are"
        in faults_of_rescue(before + Counter([one]), judge.whole, tmp_path / "out")[0]
    )
    assert "never were" in faults_of_rescue(before - Counter([one]), judge.whole, tmp_path / "out")[0]
