"""trunkwatch.vineyard: file_stems; trunkwatch.cli: file_names, and the verbs that go through all blocks."""

import json

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.cli.file_names import file_stems


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def test_every_block_has_a_file_name_of_its_own():
    labels = ["A 1", "A-1", "a_1", "Mill", "Nord/1", "--", "\u00c9tang", "E\u0301tang"]
    stems = file_stems(labels)
    assert list(stems) == labels
    assert (stems["A 1"], stems["Mill"], stems["Nord/1"]) == ("A_1", "Mill", "Nord_1")
    assert len({stem.casefold() for stem in stems.values()}) == len(labels)
    assert all(letter.isalnum() or letter == "_" for stem in stems.values() for letter in stem if letter != "\u0301")


def test_a_block_that_comes_later_leaves_the_names_before():
    labels = ["A-1", "A 1", "A_1"]
    for many in (1, 2):
        assert file_stems(labels[:many]).items() <= file_stems(labels).items()


def test_blocks_of_two_growers_have_file_names_of_their_own():
    stems = file_stems(["Hill/North", "Dale/North", "Hill_North", "Hill North", "North"])
    assert (stems["Hill/North"], stems["Dale/North"], stems["North"]) == ("Hill_North", "Dale_North", "North")
    assert len({stem.casefold() for stem in stems.values()}) == 5
    assert not any("/" in stem for stem in stems.values())


@pytest.fixture
def three(tmp_path):
    """Two blocks whose labels make the same file name, and one that comes first and has no record."""
    path = tmp_path / "v"
    path.mkdir()
    lines = [("Bare", 9), ("A 1", 12), ("A-1", 12)]
    (path / "blocks.csv").write_text(
        "block,planted,row_spacing_m,vine_spacing_m\n" + "".join(f"{b},2000,2.5,1.5\n" for b, _ in lines)
    )
    (path / "rows.csv").write_text("block,row,last\n" + "".join(f"{b},{r},{n}\n" for b, n in lines for r in (1, 2)))
    (path / "surveys.csv").write_text(
        "survey,block,date,look,covered\n"
        + "".join(
            f"s,{b},2026-{day},{look},1..2\n"
            for b in ("A 1", "A-1")
            for look, day in (("dormant", "01-15"), ("summer", "08-15"))
        )
    )
    (path / "symptoms.csv").write_text(
        "block,row,position,date,symptom\nA 1,1,3,2026-08-15,leaf_stripe\nA-1,2,5,2026-08-15,leaf_stripe\n"
    )
    return path


@pytest.mark.long
def test_a_report_of_all_blocks_writes_each_and_names_what_it_leaves_out(three, tmp_path):
    done = run("report", three, "--all-blocks", tmp_path / "out", "--permutations", 99)
    assert done.exit_code == 0, done.output
    written = sorted(one.name for one in (tmp_path / "out").iterdir())
    second = file_stems(["A 1", "A-1"])["A-1"]
    assert written == sorted(f"{kind}_{stem}_2026.html" for kind in ("map", "report") for stem in ("A_1", second))
    assert "<title>" in (tmp_path / "out" / "report_A_1_2026.html").read_text()
    assert "A-1" in (tmp_path / "out" / f"report_{second}_2026.html").read_text()
    assert "A-1" not in (tmp_path / "out" / "report_A_1_2026.html").read_text()
    assert "note: block Bare is left out: block 'Bare' has no survey" in done.stderr


@pytest.mark.long
@pytest.mark.parametrize(
    "words", [("report", "--all-blocks", "out"), ("pattern", "--all-blocks"), ("plan", "--all-blocks")]
)
def test_where_no_block_has_a_record_the_command_ends_with_1(three, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    for name in ("surveys.csv", "symptoms.csv"):
        (three / name).unlink()
    done = run(words[0], three, *words[1:])
    assert done.exit_code == 1
    assert "Error: no block can be" in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_block_without_a_record_stops_no_pattern_and_no_plan_of_the_others(three):
    done = run("pattern", three, "--all-blocks", "--permutations", 99, "--json")
    assert done.exit_code == 0
    assert [one["block"] for one in json.loads(done.stdout)] == ["Bare", "A 1", "A-1"]
    assert "no survey" in json.loads(done.stdout)[0]["reason"]
    planned = run("plan", three, "--all-blocks", "--futures", 20)
    assert planned.exit_code == 0, planned.output
    assert "note: Bare: " in planned.stderr


@pytest.mark.parametrize("words", [("report",), ("map",), ("sheet", "--phone"), ("sheet", "--paper", "findings")])
def test_two_blocks_reported_on_one_after_the_other_are_two_files(three, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    for label in ("A 1", "A-1"):
        done = run(
            words[0], three, *words[1:], "--block", label, *(("--permutations", 99) if words == ("report",) else ())
        )
        assert done.exit_code == 0, done.output
    assert len(list(tmp_path.glob("*.html"))) == 2
