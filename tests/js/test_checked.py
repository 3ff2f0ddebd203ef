"""The scripts by a type checker and a linter: nothing is wrong in them, and what is wrong would be seen."""

import pytest
from js.checked import lay_out, lint_said, types_said, why_not

pytestmark = pytest.mark.skipif(bool(why_not()), reason=why_not())

#: Beside the scripts of the desk: each line has a fault that one of the two has to see.
FAULTY = """import { lookOf } from "./shared/rules.js";
import { noSuchName } from "./shared/marks.js";
lookOf("2025-01-01", "north");
let never = noSuchName;
if (document.title == "") undeclaredName();
eval("1");
"""
IN_PHONE = """
function spareHelper() { return localDay("2025"); }
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    lay_out(folder)
    (folder / "desk" / "faulty.js").write_text(FAULTY)
    with (folder / "phone.js").open("a") as script:
        script.write(IN_PHONE)
    return folder


def own(found):
    return [line for line in found if not line.startswith("desk/faulty.js")]


def test_types_are_right_and_a_wrong_one_is_seen(folder):
    found = types_said(folder)
    faulty = "\n".join(line for line in found if line.startswith("desk/faulty.js"))
    assert "faulty.js:2: error TS2305" in faulty  # no such export
    assert "faulty.js:3: error TS2554" in faulty  # an argument is missing
    assert "undeclaredName" in faulty
    left = own(found)
    assert len(left) == 1, left
    assert left[0].startswith("field/give.js:")
    assert "TS2345" in left[0]  # a text is no date


def test_the_linter_has_nothing_to_say_and_would_say_it(folder):
    found = lint_said(folder)
    assert own(found) == []
    told = " ".join(line for line in found if line.startswith("desk/faulty.js"))
    for rule in ("prefer-const", "eqeqeq", "no-undef", "no-eval", "no-unused-vars"):
        assert rule in told, found
