"""The scripts of map, desk and phone, by unit tests that need no browser: each test of the .mjs files is one here."""

import pytest
from js.made_data import write_made
from js.node_runs import FILES, LEFT_OUT, names_in, node, run

PROGRAM, WHY = node()
pytestmark = pytest.mark.skipif(PROGRAM is None, reason=WHY)

_CASES = [(file, name) for file in FILES for name in names_in(file)]
_RAN = {}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return write_made(tmp_path_factory.mktemp("made"))


def outcome(file, made):
    if file not in _RAN:
        _RAN[file] = run(file, made, None, "--expose-internals")
    return _RAN[file]


@pytest.mark.parametrize(("file", "name"), _CASES, ids=[f"{file.name.split('.')[0]}: {name}" for file, name in _CASES])
def test_script(file, name, made):
    told = outcome(file, made)
    assert name in told, f"{file.name} did not run it: {sorted(told)}"
    if told[name].startswith(LEFT_OUT):
        pytest.skip(told[name])
    assert told[name] == "", told[name]


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_every_test_of_a_file_is_listed(file, made):
    assert sorted(outcome(file, made)) == sorted(names_in(file))


def test_a_test_that_fails_is_told(tmp_path, made):
    """What node says of a failure reaches the report of it."""
    file = tmp_path / "made.test.mjs"
    file.write_text(
        'import assert from "node:assert/strict";\nimport { test } from "node:test";\n'
        'test("good", () => assert.equal(1, 1));\ntest("bad", () => assert.equal(1, 2));\n'
    )
    told = run(file, made)
    assert told["good"] == ""
    assert "Expected values to be strictly equal" in told["bad"]
    file.write_text("this is no script")
    assert "nothing ran" in next(iter(run(file, made).values()))
