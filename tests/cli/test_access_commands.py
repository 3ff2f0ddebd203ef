"""trunkwatch.cli: people_command, phones_command, audit_command; who may enter, from the command line."""

import json
import re

import pytest
from click.testing import CliRunner

from trunkwatch.access.audit import Done, note
from trunkwatch.access.people import people_of, person_with_code
from trunkwatch.access.phones import pair_phone
from trunkwatch.cli import main
from trunkwatch.intake import start_file

BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}


@pytest.fixture
def vines(tmp_path):
    start_file(tmp_path / "v.gpkg", BLOCK, 2, 6)
    return tmp_path / "v.gpkg"


def run(*words, code=0):
    done = CliRunner().invoke(main, [str(word) for word in words])
    assert done.exit_code == code, done.output
    return done.output


def test_people_are_added_listed_given_codes_and_removed(vines):
    assert "Nobody is set up" in run("people", vines)
    said = run("people", vines, "--add", "Ana", "--may", "keeper")
    assert "Ana may: keeper (look, log, correct-own, correct-all, import, keep)" in said
    code = re.search(r"code: ([0-9-]+)", said)[1]
    assert person_with_code(people_of(vines), code).name == "Ana"
    assert "Ben may: scout (look, log, correct-own)" in run("people", vines, "--add", "Ben")
    assert "Cai may: look, log" in run("people", vines, "--add", "Cai", "--may", "look", "--may", "log")
    listed = run("people", vines)
    assert [line.split(":")[0] for line in listed.splitlines()] == ["Ana", "Ben", "Cai"]
    assert code not in listed
    pair_phone(vines, "phone 3", "Ben")
    assert "Ben, phone 3: paired 20" in run("phones", vines)
    again = re.search(r"code: ([0-9-]+)", run("people", vines, "--new-code", "Ana"))[1]
    assert person_with_code(people_of(vines), code) is None
    assert person_with_code(people_of(vines), again).name == "Ana"
    assert "Ben is let in no more; stopped with it: phone 3" in run("people", vines, "--remove", "Ben")
    assert "stopped 20" in run("phones", vines)
    run("people", vines, "--remove", "Cai")
    assert "Nobody is set up any more: the desk lets everybody in" in run("people", vines, "--remove", "Ana")
    done = run("audit", vines, "--last", 2).splitlines()
    assert len(done) == 2
    assert "removed a person  command line  person Ana" in done[0]
    told = json.loads(run("audit", vines, "--json"))
    assert told[-1]["done"] == "added a person"
    assert not any(part in json.dumps(told) for part in (code, again))


def test_a_lost_phone_is_stopped(vines):
    assert "No phone is paired" in run("phones", vines)
    pair_phone(vines)
    assert "phone 1 is stopped" in run("phones", vines, "--stop", "phone 1")
    assert "no paired phone 'phone 1'" in run("phones", vines, "--stop", "phone 1", code=1)


def test_what_was_done_steers_no_screen(vines):
    assert "Nothing was done" in run("audit", vines)
    note(vines, Done.IMPORTED, "\x1b[2J\x07Ana", file="a\r\nb")
    said = run("audit", vines)
    assert "\x1b" not in said
    assert len(said.splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["people", "V", "--add", "A", "--remove", "B"], 2, "one at a time"),
        (["people", "V", "--may", "look"], 2, "--may goes with --add"),
        (["people", "V", "--add", "A", "--may", "fly"], 1, "'fly' is no right"),
        (["people", "V", "--add", "A", "--may", "look"], 1, "the first needs the right keep"),
        (["people", "V", "--add", "A, B", "--may", "keeper"], 1, "'A, B' cannot be the name"),
        (["people", "V", "--remove", "Zoe"], 1, "there is no person 'Zoe'"),
        (["people", "nowhere.gpkg"], 1, "no file 'nowhere.gpkg'"),
        (["phones", "nowhere.gpkg"], 1, "no file"),
        (["audit", "nowhere.gpkg"], 1, "no file"),
        (["people", ".", "--add", "A", "--may", "keeper"], 1, "is a folder"),
        (["audit", "."], 1, "is a folder"),
    ],
)
def test_what_cannot_be_ends_as_all_commands_do(vines, words, code, said):
    assert said in run(*(str(vines) if word == "V" else word for word in words), code=code)
