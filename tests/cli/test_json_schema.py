"""trunkwatch.cli: json_schema; every `--json` against its schema, by the library jsonschema (JSON Schema draft 2020-12)."""

import json

import jsonschema
import pytest
from click.testing import CliRunner
from made_cards import put, told, vouch
from made_programme import make_programme

from trunkwatch.cli import main
from trunkwatch.cli.json_schema import schema_of, verbs_with_schema

SAMPLE = "sample_blocks"
RUNS = {
    "answer": [("--block", "Mill"), ("--block", "Chapel", "--details"), ("--block", "Hollow")],
    "audit": [()],
    "before": [("--block", "Mill", "--rows-only"), ("--block", "Hollow", "--rows-only")],
    "check": [()],
    "cold": [(), ("--block", "Mill", "--date", "2026-02-20", "--stand-in", "medium")],
    "forecast": [("--block", "Mill"), ("--block", "Hollow")],
    "history": [("--block", "Mill", "--row", "13", "--position", "24")],
    "incidence": [("--block", "Mill"), ("--block", "Hollow")],
    "pattern": [("--block", "Mill", "--permutations", "99"), ("--block", "Hollow", "--permutations", "99")],
    "peers": [("--by", "training"), ("--block", "Mill")],
    "plan": [("--block", "Mill", "--futures", "20"), ("--block", "Hollow", "--futures", "20")],
    "pool": [(), ("--by", "cultivar", "--by", "region")],
    "programme": [("list",), ("ready",), ("report", "--permutations", "99"), ("handouts",), ("cards",)],
    "settings": [()],
    "weeks": [],  # the sample has no past winter of weather; tests/cli/test_weeks_command.py holds what is printed
    "winter": [("--block", "Hollow")],
}


@pytest.fixture(scope="module")
def one_file(tmp_path_factory):
    """The samples as one file, as the audit needs it, with an entry in its audit."""
    path = tmp_path_factory.mktemp("schema") / "v.gpkg"
    loaded = CliRunner().invoke(main, ["load", str(path), SAMPLE])
    assert loaded.exit_code == 0, loaded.output
    assert CliRunner().invoke(main, ["people", str(path), "--add", "Ines", "--may", "keeper"]).exit_code == 0
    return str(path)


@pytest.fixture(scope="module")
def growers(tmp_path_factory):
    """A programme of two growers."""
    return str(make_programme(tmp_path_factory.mktemp("growers"), 2))


@pytest.fixture(scope="module")
def cards(tmp_path_factory):
    """Pool cards of seven growers."""
    return str(
        vouch(
            put(tmp_path_factory.mktemp("pool") / "cards", *(told(n, until="2999-12-31") for n in range(1, 8))),
            *range(1, 8),
        )
    )


def run(*words):
    done = CliRunner().invoke(main, list(words))
    assert done.exit_code in (0, 1), done.output
    return json.loads(done.stdout)


def test_every_verb_with_json_has_a_schema():
    verbs = {
        name
        for name in main.list_commands(None)
        if any(option.name == "as_json" for option in main.get_command(None, name).params)
    }
    assert verbs == set(verbs_with_schema()) == set(RUNS)


@pytest.mark.long
@pytest.mark.parametrize("verb", sorted(RUNS))
def test_what_is_printed_is_what_the_schema_says(verb, one_file, growers, cards):
    schema = run(verb, "--json-schema")
    assert schema == schema_of(verb)
    jsonschema.Draft202012Validator.check_schema(schema)
    for words in RUNS[verb]:
        vineyard = {"audit": one_file, "programme": growers, "pool": cards}.get(verb, SAMPLE)
        jsonschema.validate(run(verb, vineyard, *words, "--json"), schema, cls=jsonschema.Draft202012Validator)


@pytest.mark.long
@pytest.mark.parametrize(
    ("verb", "change"),
    [
        ("answer", lambda data: data.pop("money")),
        ("answer", lambda data: data["lines"][0].update(answer=3)),
        ("plan", lambda data: data.update(gains=1)),
        ("incidence", lambda data: data["seasons"][0]["annual"].pop("carried")),
    ],
)
def test_a_key_lost_or_new_is_noticed(verb, change):
    data = run(verb, SAMPLE, *RUNS[verb][0], "--json")
    change(data)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data, schema_of(verb))


def test_every_key_says_what_it_means():
    def silent(node, path=""):
        for name, inner in node.get("properties", {}).items():
            if not inner.get("description") and "items" not in inner:
                yield f"{path}.{name}"
            yield from silent(inner, f"{path}.{name}")
        if isinstance(node.get("items"), dict):
            yield from silent(node["items"], f"{path}[]")

    assert {verb: [*silent(schema_of(verb))] for verb in verbs_with_schema()} == {verb: [] for verb in RUNS}
