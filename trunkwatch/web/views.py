"""Pages to look at: blocks, a block, its report and map, lists for the crew, the phone page."""

import json
from hashlib import sha256
from typing import Any

from flask import Blueprint, Response, abort, current_app, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.cold.of_store import cultivars_of
from trunkwatch.intake.handed_over import block_mark
from trunkwatch.report.deciding import page_of
from trunkwatch.report.pattern_page import pattern_html
from trunkwatch.sheets.bud_form import bud_form
from trunkwatch.sheets.crew_lists import (
    Standing,
    crew_lines,
    crew_lists,
    last_season,
    not_done_lines,
    standing_of,
    without_what_stands_beside,
)
from trunkwatch.sheets.crew_words import words_in
from trunkwatch.sheets.field_buds import bud_facts
from trunkwatch.sheets.field_page import app_texts, field_data, vineyard_id
from trunkwatch.sheets.field_words import LANGUAGES
from trunkwatch.sheets.paper import findings_list, row_strips
from trunkwatch.sheets.second_look import SecondLook, draw_second_look
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import ToWalk
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import season_bounds
from trunkwatch.vineyard.manner import in_force
from trunkwatch.web.allowed import paired_phone
from trunkwatch.web.vineyard import Vineyard, today

__all__ = ["views"]

views = Blueprint("views", __name__)


#: Share of vines showing up to which the flags of all blocks have one scale.
LEAST_TOP = 0.05
#: Vines of a blind recheck on the phone: fewest and most.
LEAST_DRAWN, MOST_DRAWN = 2, 1000


def _vineyard() -> Vineyard:
    found: Vineyard = current_app.extensions["vineyard"]
    return found


def _block(block: str) -> str:
    if block not in _vineyard().labels():
        abort(404)
    return block


def _season() -> int | None:
    text = request.args.get("season", "")
    if text and not (text.isdecimal() and len(text) == 4):
        abort(404)
    return int(text) if text else None


@views.get("/")
def blocks() -> str:
    """List all blocks."""
    lines = _vineyard().lines_at_hand()
    shares = [share for line, _ in lines for _, share in line.get("trend", ()) if share is not None]
    return render_template(
        "blocks.html",
        name=_vineyard().title(),
        lines=lines,
        top=max([LEAST_TOP, *shares]),
        some=any(line.get("season") for line, _ in lines),
    )


@views.get("/block/<label:block>/line")
def block_line(block: str) -> str:
    """Show a block in the list of blocks, read anew."""
    try:
        top = float(request.args.get("top", ""))
    except ValueError:
        top = LEAST_TOP
    if not LEAST_TOP <= top <= 1:
        top = LEAST_TOP
    line = _vineyard().line(_block(block))
    shares = [share for _, share in line.get("trend", ()) if share is not None]
    return render_template("block_line.html", line=line, again=False, top=max([top, *shares]))


@views.get("/block/<label:block>")
def block(block: str) -> str:
    """Show a block to log into."""
    _block(block)
    return render_template(
        "block.html",
        block=block,
        today=today(),
        symptoms=codes.SYMPTOMS,
        looks=codes.LOOKS,
        causes=codes.CAUSES,
        shoots=codes.RENEWAL_SHOOTS,
        qualities=codes.SHOOT_QUALITIES,
        open_survey=_vineyard().open_survey(block),
        due=_vineyard().due(block),
    )


def _with_head(page: str, block: str, *, over: bool = False) -> str:
    """Put the head of the desk on a page that stands by itself; it is not printed.

    `over` is for a page that fills the window: it gets the room that is left below the head.
    """
    bar = render_template("way_back.html", block=block)
    head, body, rest = page.partition("<body")
    tag, close, after = rest.partition(">")
    if not over:
        return f"{head}{body}{tag}{close}{bar}{after}"
    inside, end, tail = after.rpartition("</body>")
    return f'{head}{body} class="map-desk"{tag}{close}{bar}<main class="map-room">{inside}</main>{end}{tail}'


def _empty(block: str) -> str | None:
    """Return what is shown in place of numbers while a block has no record."""
    if _vineyard().has_seasons(_block(block)):
        return None
    return render_template("empty.html", block=block)


@views.get("/block/<label:block>/report")
def report(block: str) -> str:
    """Show the report of a block."""
    if page := _empty(block):
        return page
    return _with_head(_vineyard().report(block, _season()), block)


@views.get("/block/<label:block>/answer")
def answer(block: str) -> str:
    """Show the five lines of the answer; nothing while a block has no record."""
    if not _vineyard().has_seasons(_block(block)):
        return ""
    return _vineyard().answer(block, url_for("views.report", block=block))


@views.get("/block/<label:block>/map")
def map_page(block: str) -> str:
    """Show the map of a block."""
    return _empty(block) or _with_head(_vineyard().map(block, _season()), block, over=True)


@views.get("/block/<label:block>/pattern")
def pattern(block: str) -> str:
    """Say whether cases cluster."""
    if page := _empty(block):
        return page
    return _with_head(pattern_html(_vineyard().season(block, _season()), permutations=999), block)


@views.get("/block/<label:block>/decide")
def decide_page(block: str) -> str:
    """Show strategies, break-even and this winter's work."""
    if page := _empty(block):
        return page
    season = _vineyard().season(block, _season())
    with Store.open(_vineyard().path) as store:
        return _with_head(page_of(store, season, today=today()), block)


@views.get("/block/<label:block>/lists")
def lists(block: str) -> str:
    """Show the lists of the year, to tick."""
    walk = _vineyard().walk(_block(block), None if _vineyard().has_seasons(block) else _vineyard().now(block)[0])
    since = season_bounds(walk.season, walk.reading.hemisphere)[0]
    lines = crew_lines(walk.reading, done_since=since, through=last_season(walk, today()), standing=_standing(block))
    words = words_in("en")
    told = [
        (name, words[f"when.{name}"], [without_what_stands_beside(one) for one in found])
        for name, found in lines.items()
    ]
    not_done = not_done_lines(walk.reading, since=since)
    return render_template(
        "lists.html", block=block, season=walk.season, lists=told, languages=LANGUAGES, not_done=not_done
    )


def _standing(block: str) -> Standing:
    """Return what stands on the vines of a block; nothing while it has no record."""
    return standing_of(_vineyard().season(block)) if _vineyard().has_seasons(block) else Standing()


@views.get("/block/<label:block>/paper/<kind>")
def paper(block: str, kind: str) -> str:
    """Show a sheet to print."""
    walk = _vineyard().walk(_block(block), _season() or _vineyard().now(block)[0])
    size: Any = asked if (asked := request.args.get("size")) in ("A4", "Letter") else in_force().size
    if kind == "lists":
        if _season() is None and _vineyard().has_seasons(block):
            walk = _vineyard().walk(block)  # the winter after the last season on record, as the desk shows it
        through = last_season(walk, today())
        return crew_lists(
            walk.reading,
            through,
            size=size,
            language=_language(),
            through=through,
            standing=_standing(block),
        )
    if kind == "strip":
        return row_strips(walk, size=size)
    if kind == "buds":
        with Store.open(_vineyard().path) as store:
            return bud_form(block, walk.season, cultivars_of(store, block), size=size)
    if kind != "findings":
        abort(404)
    training = str(walk.reading.records.block.get("training") or "")
    return findings_list(walk.history, walk.season, training=training, size=size)


@views.get("/field/<label:block>")
def field_door(block: str) -> BaseResponse:
    """Open the phone page under a name of its own folder."""
    return redirect(url_for("views.field", block=_block(block), file="index.html"))


@views.get("/field/<label:block>/<file>")
def field(block: str, file: str) -> Response:
    """Hand out the phone page and what belongs to it."""
    season, look = _vineyard().now(_block(block))
    walk = _vineyard().walk(block, _season() or season)
    return _app_file(block, file, walk, _look(look))


@views.get("/recheck/<label:block>/<int:vines>/<file>")
def recheck(block: str, vines: int, file: str) -> Response:
    """Hand out the phone page of a blind recheck: in a folder of its own, so that it opens without a network beside the other."""
    if not LEAST_DRAWN <= vines <= MOST_DRAWN:
        abort(404)
    walk = _vineyard().walk(_block(block), _season())
    wanted = request.args.get("look")
    look = wanted if wanted in codes.LOOKS else None
    # The same draw as long as the records are the same; a list that was begun stays on the phone.
    drawn = draw_second_look(walk.reading, walk.season, vines, look=look, rng=walk.season)
    return _app_file(block, file, walk, drawn.look, drawn)


def _app_file(block: str, file: str, walk: ToWalk, look: str, drawn: SecondLook | None = None) -> Response:
    """Return one of the files of the phone page as an app."""
    vineyard = _vineyard()
    identity = vineyard_id(str(walk.reading.records.block.get("vineyard") or ""), vineyard.labels())
    with Store.open(vineyard.path) as store:
        mark = block_mark(store, block)
        cut_buds = bud_facts(store, walk)
    phone = paired_phone()
    pairing = {"phone": phone.id, "device": phone.device, "secret": phone.secret} if phone else None
    data = field_data(
        walk,
        identity=identity,
        look=look,
        language=_language(),
        mark=mark,
        pairing=pairing,
        today=today(),
        standing=_standing(block),
        buds=cut_buds,
        recheck=drawn,
    )
    texts = app_texts(data, sync=url_for("writing.sync", block=block))
    if file not in texts:
        abort(404)
    kinds = {
        "html": "text/html",
        "js": "text/javascript",
        "webmanifest": "application/manifest+json",
        "svg": "image/svg+xml",
    }
    return Response(texts[file], mimetype=kinds[file.rsplit(".", 1)[1]])


def _look(usual: str) -> str:
    wanted = request.args.get("look", usual)
    return wanted if wanted in codes.LOOKS else usual


def _language() -> str:
    wanted = request.args.get("language", "en")
    return wanted if wanted in LANGUAGES else "en"


@views.get("/api/block/<label:block>")
def grid(block: str) -> Response:
    """Return what the page draws of a block."""
    told = json.dumps(_vineyard().grid(_block(block)), ensure_ascii=False, separators=(",", ":"))
    mark = sha256(told.encode()).hexdigest()[:20]
    answer = Response(told, mimetype="application/json")
    answer.set_etag(mark)
    answer.headers["Cache-Control"] = "no-cache"
    answer.make_conditional(request)
    return answer


@views.get("/favicon.ico")
def icon() -> tuple[str, int]:
    """Answer browsers that ask for an icon where a page names none."""
    return "", 204


@views.get("/api/version")
def version() -> Response:
    """Return the mark of the file, for pages that wait for changes."""
    return jsonify(version=_vineyard().version())


@views.get("/api/block/<label:block>/vine/<label:row>/<label:position>")
def vine(block: str, row: str, position: str) -> Response:
    """Return every record of a vine."""
    return jsonify(records=_vineyard().vine(_block(block), row, position))
