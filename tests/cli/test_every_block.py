"""trunkwatch.cli: every_block; --all-blocks of the verbs that read says of each block what the verb says of it alone."""

import json

import jsonschema
import pytest
from click.testing import CliRunner
from made_programme import make_vineyard

from trunkwatch.cli import main
from trunkwatch.cli.json_schema import schema_of

VERBS = {
    "answer": (), "incidence": (), "forecast": (), "winter": (), "before": ("--rows-only",),
}  # fmt: skip


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory):
    """Two blocks that a file name cannot tell apart, and one between them without records."""
    return make_vineyard(
        tmp_path_factory.mktemp("three") / "v", 4, labels=["A 1", "Bare", "A-1"], seasons=range(2022, 2027)
    )


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_each_block_is_said_as_it_is_alone(vineyard, verb):
    both = run(verb, vineyard, "--all-blocks", *VERBS[verb])
    assert both.exit_code == 0, both.output
    alone = [run(verb, vineyard, "--block", block, *VERBS[verb]) for block in ("A 1", "A-1")]
    assert both.stdout == "".join(one.stdout for one in alone)
    assert "note: block Bare is left out: block 'Bare' has no survey, finding or work yet" in both.stderr


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_json_is_a_list_of_what_each_block_gives(vineyard, verb):
    both = json.loads(run(verb, vineyard, "--all-blocks", "--json", *VERBS[verb]).stdout)
    alone = [
        json.loads(run(verb, vineyard, "--block", block, "--json", *VERBS[verb]).stdout) for block in ("A 1", "A-1")
    ]
    assert both == alone
    for one in both:
        jsonschema.validate(one, schema_of(verb), cls=jsonschema.Draft202012Validator)


def test_maps_of_all_blocks_have_names_of_their_own(vineyard, tmp_path):
    result = run("map", vineyard, "--all-blocks", tmp_path / "maps")
    assert result.exit_code == 0, result.output
    pages = sorted((tmp_path / "maps").iterdir())
    assert [path.name[:8] for path in pages] == ["map_A_1_", "map_A_1_"]
    assert len(pages) == 2
    assert [("Block A 1" in page, "Block A-1" in page) for page in (path.read_text("utf-8") for path in pages)] == [
        (True, False),
        (False, True),
    ]
    assert "block Bare is left out" in result.stderr


@pytest.mark.parametrize("verb", [*sorted(VERBS), "map"])
def test_it_goes_with_no_block(vineyard, verb, tmp_path):
    result = run(verb, vineyard, "--block", "A 1", "--all-blocks", *((tmp_path / "m",) if verb == "map" else ()))
    assert result.exit_code == 2
    assert "--all-blocks goes with no --block" in result.output


def test_where_no_block_can_be_read_it_is_an_error(tmp_path):
    path = make_vineyard(tmp_path / "v", 1, labels=["Bare"])
    (path / "surveys.csv").unlink(missing_ok=True)
    result = run("incidence", path, "--all-blocks")
    assert result.exit_code == 1
    assert "no block can be read so" in result.output


def test_a_forecast_in_a_file_of_two_growers_is_that_of_each_alone(tmp_path):
    for number, name in ((4, "hers"), (5, "his")):
        make_vineyard(tmp_path / name, number, labels=[f"{name} 1", f"{name} 2"], seasons=range(2022, 2027))
        head, *lines = (tmp_path / name / "blocks.csv").read_text().splitlines()
        named = "\n".join(f"{name},{line}" for line in lines)
        (tmp_path / name / "blocks.csv").write_text(f"vineyard,{head}\n{named}\n")
        assert run("load", tmp_path / "all.gpkg", tmp_path / name).exit_code == 0
    found = json.loads(run("forecast", tmp_path / "all.gpkg", "--block", "hers 1", "--json").stdout)
    assert found == json.loads(run("forecast", tmp_path / "hers", "--block", "hers 1", "--json").stdout)
    assert found["leans_on"] == {"own": 1, "lent": 0, "growers": 0}
    assert (
        "uses 1 other block of the same vineyard" in run("forecast", tmp_path / "all.gpkg", "--block", "his 2").stdout
    )
