"""trunkwatch.programme: catalogue; who agreed to what and until when, and lines that cannot be."""

import pytest
from made_programme import OPEN, make_vineyard

from trunkwatch.errors import FileError, RecordError
from trunkwatch.programme.catalogue import CATALOGUE, Grower, add_grower, read_catalogue, write_catalogue


@pytest.fixture
def folder(tmp_path):
    for number in range(3):
        make_vineyard(tmp_path / f"v{number}", number)
    return tmp_path


def test_what_is_written_is_read_again(folder):
    growers = (
        Grower("Fern 1", "v0", ("report", "handout"), OPEN, "Ida, 555 0100", "you and Ida", "2026-01-02"),
        Grower("=Fern;-2", "v1", call="-"),
    )
    write_catalogue(folder, growers)
    assert read_catalogue(folder) == growers


def test_consent_holds_for_its_purpose_until_its_last_day():
    grower = Grower("A", "v", ("handout",), "2026-06-30")
    assert grower.allows("handout", "2026-06-30")
    assert grower.why_not("handout", "2026-07-01") == "the consent for handout ended on 2026-06-30"
    assert grower.why_not("report", "2026-01-01") == "no consent for report"
    assert Grower("A", "v", ("handout",)).why_not("handout", "2026-01-01") == "the consent for handout has no end date"


def test_a_grower_is_entered_and_written_anew(folder):
    add_grower(folder, Grower("Fern 1", "v0", ("report",), OPEN))
    add_grower(folder, Grower("Fern 2", "v1"))
    write_catalogue(folder, [Grower("Fern 1", "v0", ("report",), OPEN, last_read="2026-01-02"), Grower("Fern 2", "v1")])
    now = add_grower(folder, Grower("Fern 1", "v0", (), ""))
    assert [(one.name, one.purposes, one.last_read) for one in now] == [
        ("Fern 1", (), "2026-01-02"),
        ("Fern 2", (), ""),
    ]
    assert read_catalogue(folder) == now


@pytest.mark.parametrize(
    ("grower", "says"),
    [
        (Grower("fern 1", "v1"), "two growers are named 'fern 1'"),
        (Grower("Fern 2", "./v0"), "is the vineyard of 'Fern 1' already"),
        (
            Grower("Fern 2", "v1", ("everything",)),
            "'everything' is nothing to consent to: one of report, handout, compare",
        ),
        (Grower("Fern 2", "v1", ("report",), "soon"), "until is 'soon': a day is written 2027-12-31"),
        (Grower("", "v1"), "a grower has a name and a path"),
    ],
)
def test_what_cannot_be_is_refused_and_the_catalogue_stays(folder, grower, says):
    add_grower(folder, Grower("Fern 1", "v0"))
    before = (folder / CATALOGUE).read_bytes()
    with pytest.raises(RecordError, match=says):
        add_grower(folder, grower)
    assert (folder / CATALOGUE).read_bytes() == before


def test_a_path_that_leads_nowhere_is_named(folder):
    with pytest.raises(FileError, match="no vineyard at"):
        add_grower(folder, Grower("Fern 9", "v9"))


def test_a_line_that_cannot_be_is_told_with_its_number(folder):
    (folder / CATALOGUE).write_text(
        "grower,path,consent,until\nFern 1,v0,report,2030-01-01\nFern 2,v1,reprot,2030-01-01\n"
    )
    with pytest.raises(FileError, match=r"programme\.csv, line 3: 'reprot' is nothing to consent to"):
        read_catalogue(folder)


def test_a_folder_without_a_catalogue_says_how_to_start(tmp_path):
    with pytest.raises(FileError, match="add --grower NAME --path FILE"):
        read_catalogue(tmp_path)
