"""The page of surveys: what is being walked, how far it is row by row, and what is odd when it is finished."""

from flask import Blueprint, abort, current_app, render_template, request

from trunkwatch.surveys.progress import FINISHED, RowProgress
from trunkwatch.surveys.words import oddity_words, walker_words
from trunkwatch.vineyard import codes
from trunkwatch.web.vineyard import Vineyard, today

__all__ = ["surveys"]

surveys = Blueprint("surveys", __name__)


def _vineyard() -> Vineyard:
    found: Vineyard = current_app.extensions["vineyard"]
    return found


@surveys.get("/block/<label:block>/survey")
def survey(block: str) -> str:
    """Show the surveys of a season, and a form to write down what was walked."""
    vineyard = _vineyard()
    if block not in vineyard.labels():
        abort(404)
    season, look = vineyard.now(block)
    every = vineyard.surveys(block)
    seasons = sorted({one.season for one in every} | {season}, reverse=True)
    wanted = request.args.get("season", "")
    shown = (
        int(wanted) if wanted.isdecimal() and int(wanted) in seasons else _usual(seasons, [one.season for one in every])
    )
    there = [one for one in every if one.season == shown]
    name = request.args.get("survey", "")
    chosen = next((one for one in there if one.name == name), there[0] if there else None)
    return render_template(
        "survey.html",
        block=block,
        seasons=seasons,
        season=shown,
        surveys=there,
        chosen=chosen,
        today=today(),
        usual=f"{look} {season}",
        looks=codes.LOOKS,
        symptoms=codes.SYMPTOMS,
        rows=_rows(block),
        paths=_paths,
        finished=FINISHED,
        oddity_words=oddity_words,
        walker_words=walker_words,
        version=vineyard.version(),
    )


def _usual(seasons: list[int], walked: list[int]) -> int:
    """Show the season walked last, not an empty one of today."""
    return max(walked) if walked else seasons[0]


def _rows(block: str) -> list[tuple[str, int, int]]:
    """Return row, first and last position of every row."""
    grid = _vineyard().walk(block, _vineyard().now(block)[0]).history.grid
    return [(row.label, row.first, row.last) for row in grid.named]


def _paths(row: RowProgress) -> list[tuple[str, str]]:
    """Return the strip of a row as classes and path data, ten units a position.

    Walked vines are ticks, vines to go are two dots, findings are flags.
    """
    drawn = {"walked": "", "to-go": "", "flag": ""}
    for number, mark in enumerate(row.marks):
        x = 10 * number + 5
        if mark in "wf":
            drawn["walked"] += f"M{x} 24V12"
        elif mark in "tF":
            drawn["to-go"] += f"M{x} 12v3M{x} 21v3"
        if mark in "fF":
            drawn["flag"] += f"M{x} 14V2l7 3.5l-7 3.5"
    return [(kind, path) for kind, path in drawn.items() if path]
