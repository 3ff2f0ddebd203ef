"""trunkwatch.vineyard: glossary, held against every sentence of the package: errors, help, terminal, pages and scripts."""

import ast
import re
from pathlib import Path

import pytest

import trunkwatch
from trunkwatch.vineyard.glossary import TERMS

PACKAGE = Path(trunkwatch.__file__).parent
#: A string with two words at least; codes and names have one.
SENTENCE = re.compile(r"\w\S* \S")


def _is_command(node):
    return isinstance(node, ast.FunctionDef) and any(
        "command" in ast.unparse(one) or "group" in ast.unparse(one) for one in node.decorator_list
    )


def strings_of_code(text):
    """Every string of a module that a person may read; docstrings only of commands, where they are the help."""
    tree = ast.parse(text)
    silent = set()
    for node in ast.walk(tree):
        holds = isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        if holds and ast.get_docstring(node) is not None and not _is_command(node):
            silent.add(id(node.body[0].value))
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            silent |= {id(one) for one in node.values}
            parts = (str(one.value) if isinstance(one, ast.Constant) else "…" for one in node.values)
            yield node.lineno, "".join(parts)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent:
            yield node.lineno, node.value


def strings_of_page(text):
    """The text between the tags, and what the tags say to a reader."""
    text = re.sub(
        r"\{#.*?#\}|<script.*?</script>|<style.*?</style>",
        lambda found: "\n" * found.group().count("\n"),
        text,
        flags=re.DOTALL,
    )
    for number, line in enumerate(text.splitlines(), 1):
        said = re.findall(r'(?:aria-label|title|placeholder|alt)="([^"]*)"', line)
        yield from ((number, one) for one in [*said, *re.findall(r"'([^']* [^']*)'", line)])
        yield number, re.sub(r"<[^>]*>|\{\{.*?\}\}|\{%.*?%\}", "…", line)


def strings_of_script(text):
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip().startswith(("//", "*", "/*")):
            yield from (
                (number, re.sub(r"\$\{[^}]*\}", "…", one))
                for one in re.findall(r'"([^"\n]* [^"\n]*)"|`([^`\n]*)`', line)
                for one in one
                if one
            )


READERS = {".py": strings_of_code, ".html": strings_of_page, ".js": strings_of_script}
#: The glossary itself, and the words that growers write, which are to be understood and not said.
SILENT = {"glossary.py", "trade_words.py"}
FILES = [
    one
    for one in sorted(PACKAGE.rglob("*"))
    if one.suffix in READERS and "leaflet" not in one.parts and one.name not in SILENT
]


@pytest.mark.parametrize("term", TERMS, ids=lambda term: term.says)
def test_one_term_a_thing(term):
    never = [re.compile(pattern) for pattern in term.never]
    found = [
        f"{path.relative_to(PACKAGE)}:{number}: {text.strip()[:160]!r}"
        for path in FILES
        for number, text in SENTENCES[path]
        if any(one.search(text) for one in never)
    ]
    assert not found, f"say {term.says!r}:\n" + "\n".join(found)


SENTENCES = {
    path: [one for one in READERS[path.suffix](path.read_text("utf-8")) if SENTENCE.search(one[1])] for path in FILES
}


def test_the_sentences_are_found():
    """What the test reads is not empty: sentences of a page, a script, an error and a command's help are among them."""
    assert sum(map(len, SENTENCES.values())) > 3000
    every = {text for lines in SENTENCES.values() for _, text in lines}
    assert any("Vines that nobody scouted are never counted as healthy" in one for one in every)
    assert any("Nothing from here" in one or "saved" in one for one in every)
    assert any("Show the rates of a block by season" in one for one in every)


@pytest.mark.parametrize(
    ("bad", "term"),
    [
        ("Row 3 was walked by Ana.", "scouted"),
        ("no summer look", "inspection"),
        ("renew the arm", "retrain"),
        ("near a neighbour of it", "neighbor, color, meter"),
        ("2 fault(s): nothing was taken", "import"),
        ("12 known already", "already recorded"),
        ("Hand over the records", "send"),
    ],
)
def test_words_that_stand_no_more_are_caught(bad, term):
    (entry,) = (one for one in TERMS if one.says == term)
    assert any(re.search(pattern, bad) for pattern in entry.never)


@pytest.mark.parametrize(
    "fine",
    [
        "renew_arm",
        "--day-zero",
        "early renewal",
        "look at the wood before cutting",
        "walk to these vines",
        "renewal shoot",
    ],
)
def test_codes_and_trade_words_stay(fine):
    assert not [pattern for term in TERMS for pattern in term.never if re.search(pattern, fine)]


def test_every_term_is_explained_once():
    says = [term.says for term in TERMS]
    assert len(says) == len(set(says))
    assert all(term.meaning and term.never for term in TERMS)
