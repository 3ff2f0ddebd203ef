"""trunkwatch.maps: scripts: modules are joined whole, in order and once, and what cannot be joined is refused."""

import re

import pytest

from trunkwatch.maps import scripts
from trunkwatch.maps.scripts import joined


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Return a function that writes scripts where the package's would lie."""
    (tmp_path / "static" / "shared").mkdir(parents=True)
    monkeypatch.setattr(scripts, "files", lambda _package: tmp_path)

    def write(**texts):
        for name, text in texts.items():
            (tmp_path / "static" / f"{name.replace('__', '/')}.js").write_text(text)

    return write


def test_each_script_stands_once_and_after_those_that_it_imports(folder):
    folder(
        page='import { a } from "./shared/a.js";\nimport { b, c } from "./shared/b.js";\na(b, c);\n',
        shared__a='import { c } from "./b.js";\nexport function a() { return c; }\n',
        shared__b="export const b = 1;\nexport let c = 2;\nexport async function d() {}\nconst exported = 3;\n",
    )
    assert joined("page.js", "shared/b.js") == (
        '"use strict";\n'
        "const b = 1;\nlet c = 2;\nasync function d() {}\nconst exported = 3;\n\n"
        "function a() { return c; }\n\n"
        "a(b, c);\n"
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('import { a as b } from "./shared/a.js";\n', "a as b"),
        ('import * as b from "./shared/a.js";\n', r"import \* as b"),
        ('import a from "./shared/a.js";\n', "import a from"),
        ("export default 1;\n", "export default 1"),
        ("const a = 1;\nexport { a };\n", r"export \{ a \}"),
        ("export { a } from './shared/a.js';\n", r"export \{ a \} from"),
    ],
)
def test_what_would_be_lost_when_scripts_are_joined_is_refused(folder, text, told):
    folder(page=text, shared__a="export const a = 1;\n")
    with pytest.raises(ValueError, match=f"page.js .*{told}"):
        joined("page.js")


def test_scripts_that_import_each_other_are_refused_by_name(folder):
    folder(
        a='import { b } from "./b.js";\nexport const a = 1;\n', b='import { a } from "./a.js";\nexport const b = 1;\n'
    )
    with pytest.raises(ValueError, match=r"a\.js imports b\.js imports a\.js"):
        joined("a.js")


def test_the_scripts_of_the_package_can_be_joined():
    text = joined("block_map.js")
    assert text.startswith('"use strict";\n')
    assert not re.search(r"^(import|export)\b", text, re.MULTILINE)
    assert text.count("function drawMark(") == text.count("function el(") == 1
    assert text.index("function el(") < text.index("function drawMark(") < text.index("const map = ")
