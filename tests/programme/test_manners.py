"""trunkwatch.programme: work; the pages of each grower are in the manner of the grower's own vineyard."""

import pytest
from click.testing import CliRunner
from made_programme import OPEN, make_vineyard

from trunkwatch.cli import main
from trunkwatch.intake.settings import set_manner
from trunkwatch.programme.catalogue import Grower, write_catalogue


@pytest.mark.long
def test_each_grower_reads_the_own_units_and_prints_on_the_own_paper(tmp_path):
    for name in ("a", "b"):
        make_vineyard(tmp_path / name, 4, labels=["One"])
    set_manner(tmp_path / "b", {"units": "us", "spelling": "british", "paper": "letter"})
    write_catalogue(tmp_path, [Grower(name, name, ("report", "handout"), OPEN) for name in ("a", "b")])

    def pages(task, *more):
        done = CliRunner().invoke(main, ["programme", str(tmp_path), task, "--workers", "2", *more])
        assert done.exit_code == 0, done.output
        kind = task.rstrip("s")
        return [next((tmp_path / "pages" / name).glob(f"{kind}_*.html")).read_text() for name in ("a", "b")]

    report, us_report = pages("report", "--permutations", "99")
    assert "2.5 x 1.5 m" in report
    assert "8.2 x 4.9 ft" in us_report
    assert ("neighbors" in report, "neighbours" in report) == (True, False)
    assert ("neighbors" in us_report, "neighbours" in us_report) == (False, True)
    assert ["size: A4" in page for page in pages("handouts")] == [True, False]
    assert ["size: A4" in page for page in pages("handouts", "--size", "A4")] == [True, True]
    # A setting that is changed is a new answer, whatever was kept.
    set_manner(tmp_path / "b", {"units": "metric", "spelling": "american"})
    assert "2.5 x 1.5 m" in pages("report", "--permutations", "99")[1]
