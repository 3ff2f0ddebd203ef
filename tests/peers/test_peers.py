"""trunkwatch.peers: beside, words; invented growers by the calls and by the command."""

import json

import pytest
from click.testing import CliRunner
from made_growers import write_grower, write_growers

from trunkwatch.cli import main
from trunkwatch.errors import NothingWrittenError, RecordError, UnknownBlockError
from trunkwatch.peers import gather, peers_of
from trunkwatch.peers.words import block_sentences, scouted_sentences, share_words, unusual_sentences


@pytest.fixture(scope="module")
def farms(tmp_path_factory):
    return write_growers(tmp_path_factory.mktemp("farms"), growers=6, sick=(2, 1))


@pytest.fixture(scope="module")
def found(farms):
    return peers_of(gather(farms), by="cultivar")


def run(*words):
    return CliRunner().invoke(main, ["peers", *map(str, words)])


def test_the_block_that_is_far_from_its_like_is_named_and_no_other(found):
    assert [one.row.block for one in found.unusual] == ["Farm 2/Field 1"]
    (sentence,) = unusual_sentences(found)
    assert "block Farm 2/Field 1 shows more than its like" in sentence
    assert found.season == 2024
    assert len(found.beside) == 12


def test_shares_lie_in_their_ranges_and_blocks_stand_by_name(found):
    for one in found.beside:
        assert one.low < one.share < one.high
        assert one.like_low < one.like_high
    names = [one.row.block for one in found.beside]
    assert names == sorted(names)


def test_a_block_in_words(found):
    sentences = block_sentences(found, found.of_block("Farm 0/Field 0"))
    assert sentences[0].startswith("Of blocks of this age (24 years) and cultivar Brannet nine in ten show ")
    assert "likely range" in sentences[0]
    assert any("would be from" in one for one in sentences)
    sick = block_sentences(found, found.of_block("Farm 2/Field 1"))
    assert any(one.startswith("That is unusual: ") for one in sick)


def test_observers_of_one_grower_each_are_confounded(found, tmp_path):
    assert "confounded with growers" in scouted_sentences(found.scouted)[0]
    same = peers_of(gather(write_growers(tmp_path, growers=3, observer="Ann")))
    assert "confounded" not in scouted_sentences(same.scouted)[0]


def test_names_that_fit_several_blocks_or_none(found):
    with pytest.raises(UnknownBlockError, match=r"'Field 0' is several; --block takes one of: Farm 0/Field 0, "):
        found.of_block("Field 0")
    with pytest.raises(UnknownBlockError, match="'West' is none of these"):
        found.of_block("West")


def test_few_blocks_are_said_to_be_few(tmp_path):
    few = peers_of(gather(write_growers(tmp_path, growers=2)))
    assert few.beside == ()
    assert unusual_sentences(few) == ("What is usual cannot be told from 4 blocks of the season: it takes 10.",)
    assert block_sentences(few, few.of_block("Farm 0/Field 0"))[1] == unusual_sentences(few)[0]


def test_blocks_without_a_case_are_said_to_tell_nothing(tmp_path):
    path = write_grower(tmp_path / "well", "Well", {f"B{number}": ("Sallow", 2001, 0.0) for number in range(11)})
    found = peers_of(gather([path]))
    assert unusual_sentences(found) == (
        "What is usual cannot be told: in no season was any vine showing, or all were.",
    )


def test_seasons_that_are_not_there(farms, tmp_path):
    with pytest.raises(RecordError, match="no block has a count in 1999; seasons: 2022, 2023, 2024"):
        peers_of(gather(farms), 1999)
    empty = write_grower(tmp_path / "new", "New", {"A": ("Sallow", 2001, None)})
    with pytest.raises(NothingWrittenError, match="no block has a season"):
        peers_of(gather([empty]))


def test_earlier_seasons_know_nothing_of_later_ones(farms):
    gathered = gather(farms)
    before = peers_of(gathered, 2023)
    assert before.season == 2023
    assert {one.row.season for one in before.beside} == {2023}
    assert before.everything.seasons[-1].season == 2023


def test_a_trend_of_each_block_stands_beside_that_of_all(tmp_path):
    blocks = {f"B{number}": ("Sallow", 2001, 0.08) for number in range(10)}
    found = peers_of(gather([write_grower(tmp_path / "hill", "Hill", blocks, seasons=range(2018, 2025))]))
    for one in found.beside:
        assert one.trend.low < 1 < one.trend.high
        assert one.trend.of_all == pytest.approx(1, abs=0.1)
    assert found.trends_differ < 0.1
    assert found.everything.trend.low < 1 < found.everything.trend.high


def test_shares_in_words():
    assert [share_words(share) for share in (0.5, 0.0995, 0.034, 0.0099, 0.0004)] == ["50", "10", "3.4", "0.99", "0.04"]


def test_the_command(farms):
    done = run(*farms, "--by", "training")
    assert done.exit_code == 0, done.output
    assert (
        "Season 2024, definition any: 12 blocks of 6 growers. These are the blocks on file, not a sample of a region."
        in done.output
    )
    assert "How many blocks show: 12 of 12" in done.output
    assert "training bilateral" in done.output
    assert "Observers are confounded with growers" in done.output
    assert "Farm 5/Field 1" in done.output
    for forbidden in ("rank", "worst", "best "):
        assert forbidden not in done.output
    one = run(*farms, "--block", "Farm 2/Field 1")
    assert one.output.startswith("Of blocks of this age (22 years) and cultivar ")
    assert "Farm 3" not in one.output
    assert "Observers are confounded with growers" in one.output


def test_the_command_in_json(farms):
    whole = json.loads(run(*farms, "--by", "age", "--json").stdout)
    assert [one["block"] for one in whole["beside"] if one["unusual"]] == ["Farm 2/Field 1"]
    assert {group["label"] for group in whole["groups"]} == {"10 to 19", "20 to 29"}
    one = json.loads(run(*farms, "--block", "Farm 0/Field 0", "--json").stdout)
    assert [block["block"] for block in one["beside"]] == ["Farm 0/Field 0"]
    assert whole["observers"]["apart"] == "confounded"


def test_the_command_says_what_stands_in_the_way(farms, tmp_path):
    assert run(tmp_path / "none").exit_code == 1
    assert run().exit_code == 2
    done = run(*farms, "--block", "Field 0")
    assert done.exit_code == 1
    assert "--block takes one of" in done.output
