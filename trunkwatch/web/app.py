"""The app: pages, data for their scripts, and the one road by which they write."""

import math
import secrets
from importlib.resources import files
from pathlib import Path
from typing import Any

from flask import (
    Flask,
    Response,
    abort,
    current_app,
    g,
    jsonify,
    redirect,
    render_template,
    request,
    send_from_directory,
    url_for,
)
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.access.audit import Done
from trunkwatch.access.may import Right
from trunkwatch.access.people import people_of
from trunkwatch.errors import FaultyNotesError, FileError, SupersededError, TrunkwatchError
from trunkwatch.vineyard.spelling import spelled
from trunkwatch.web.addresses import LabelConverter
from trunkwatch.web.allowed import (
    OPEN,
    PHONE_ROUTES,
    SCRIPTS,
    NotAllowedError,
    check_right,
    done,
    paired_phone,
    phone_visitor,
)
from trunkwatch.web.bodies import sent_json
from trunkwatch.web.books import books
from trunkwatch.web.buds import buds
from trunkwatch.web.cold import cold
from trunkwatch.web.forecasts import Forecasts, forecasts
from trunkwatch.web.imports import imports, sweep_old_uploads
from trunkwatch.web.keeping import keeping
from trunkwatch.web.manners import manners, speak, spell, stop_speaking
from trunkwatch.web.once_more import news_at_entering, news_here
from trunkwatch.web.pairing import Invitations, pairing
from trunkwatch.web.photos import photos
from trunkwatch.web.security import (
    MOST_UPLOAD,
    PASS,
    PASS_S,
    Gate,
    allowed_host,
    cookie_name,
    own_page,
    policy_of,
    same_origin,
)
from trunkwatch.web.start import WITHOUT_A_FILE, start
from trunkwatch.web.surveys import surveys
from trunkwatch.web.views import views
from trunkwatch.web.vineyard import Vineyard
from trunkwatch.web.weeks import weeks
from trunkwatch.web.writing import writing

__all__ = ["create_app"]


def create_app(vineyard: Path, *, hosts: frozenset[str], access_code: str | None = None, outside: str = "") -> Flask:
    """Make the app over one vineyard file.

    Parameters
    ----------
    vineyard : Path
        A .gpkg file; where it is not there yet, the desk offers to make it.
    hosts : frozenset of str
        Names with ports under which it may be asked, such as ``127.0.0.1:8080``.
    access_code : str, optional
        Asked for once by every browser; none where the program listens to this machine only. Where people are set up
        everybody has an own code instead.
    outside : str
        Address under which phones reach it.

    Returns
    -------
    Flask
    """
    app = Flask(__name__)
    app.config.update(MAX_CONTENT_LENGTH=MOST_UPLOAD, MAX_FORM_MEMORY_SIZE=2_000_000, HOSTS=hosts, OUTSIDE=outside)
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.extensions["vineyard"] = Vineyard(vineyard, awaited=not vineyard.exists())
    app.extensions["gate"] = Gate(access_code, lambda: people_of(vineyard))
    app.extensions["invitations"] = Invitations()
    app.extensions["forecast"] = Forecasts()
    app.url_map.converters["label"] = LabelConverter
    app.register_blueprint(views)
    app.register_blueprint(surveys)
    app.register_blueprint(buds)
    app.register_blueprint(weeks)
    app.register_blueprint(cold)
    app.register_blueprint(forecasts)
    app.register_blueprint(writing)
    app.register_blueprint(photos)
    app.register_blueprint(imports)
    app.register_blueprint(books)
    app.register_blueprint(start)
    app.register_blueprint(keeping)
    app.register_blueprint(pairing)
    app.register_blueprint(manners)
    sweep_old_uploads()
    app.before_request(_let_in)
    app.before_request(speak)
    app.after_request(_seal)
    app.after_request(spell)  # before the seal: the last that is named here is the first
    app.teardown_request(stop_speaking)
    app.register_error_handler(FaultyNotesError, _faults)
    app.register_error_handler(TrunkwatchError, _told)
    app.register_error_handler(HTTPException, _http)
    app.add_url_rule("/static/shared/<path:filename>", "shared", _shared)
    app.add_url_rule("/enter", "enter", _enter, methods=["GET", "POST"])
    app.add_url_rule("/api/enter", "enter_code", _enter_code, methods=["POST"])
    app.add_url_rule("/leave", "leave", _leave, methods=["POST"])
    app.context_processor(_door)
    app.url_map.update()  # else the first requests would do it, several at once
    return app


def _let_in() -> BaseResponse | None:
    if not allowed_host(request, current_app.config["HOSTS"]):
        abort(421)
    if request.method not in ("GET", "HEAD", "OPTIONS") and not same_origin(request):
        abort(403)
    g.visitor = None
    if request.endpoint in SCRIPTS:
        return None
    g.visitor = _gate().visitor(_pass())
    if request.endpoint in OPEN:
        return None
    if g.visitor is None and request.endpoint in PHONE_ROUTES:
        g.visitor = phone_visitor(paired_phone())
    if g.visitor is not None:
        check_right()
        return _to_start()
    if request.path.startswith("/api/"):
        abort(401)
    return redirect(url_for("enter", next=request.full_path if request.method == "GET" else "/"))


def _shared(filename: str) -> Response:
    return send_from_directory(str(files("trunkwatch").joinpath("static").joinpath("shared")), filename)


def _to_start() -> BaseResponse | None:
    """Lead to the page that makes the file, as long as there is none."""
    vineyard: Vineyard = current_app.extensions["vineyard"]
    if request.endpoint is None or request.endpoint in WITHOUT_A_FILE or not vineyard.is_to_be_made():
        return None
    if _wants_data():
        raise FileError(f"there is no file {str(vineyard.path)!r} yet: the page of the desk makes it")
    return redirect(url_for("start.vineyard"))


def _pass() -> str | None:
    return request.cookies.get(cookie_name(PASS, request))


def _gate() -> Gate:
    gate: Gate = current_app.extensions["gate"]
    return gate


def _client() -> str:
    return request.remote_addr or ""


def _enter() -> BaseResponse | str | tuple[str, int]:
    g.people_here = any(person.lives for person in people_of(current_app.extensions["vineyard"].path).values())
    if request.method == "GET":
        return render_template("enter.html", wrong=False)
    token = _entered(request.form.get("code", ""), request.form.get("device", "")[:60])
    if token is None:
        return render_template("enter.html", wrong=True, wait=_wait()), 403
    return _with_pass(redirect(own_page(request.args.get("next", "/"))), token)


def _entered(code: str, device: str) -> str | None:
    """Try a code, and note how it went; a code that was not looked at, since its address must wait, is no news."""
    gate = _gate()
    waits = gate.wait_of(_client()) > 0
    token = gate.enter(code, _client(), device=device)
    if token is not None:
        g.visitor = gate.visitor(token)
        if g.visitor is not None and g.visitor.name:
            vineyard: Vineyard = current_app.extensions["vineyard"]
            keeps = Right.KEEP in g.visitor.may
            gate.set_news(token, news_at_entering(vineyard.path, g.visitor.name, keeps=keeps))
        done(Done.ENTERED)
    elif not waits and gate.asks():
        g.visitor = None
        done(Done.WRONG_CODE)
    return token


def _wait() -> int:
    return math.ceil(_gate().wait_of(_client()))


def _enter_code() -> BaseResponse:
    """Take the code from a page that stays as it is: a phone keeps its day while it enters a new code."""
    told = sent_json()
    token = _entered(str(told.get("code", ""))[:40] if isinstance(told, dict) else "", "phone")
    if token is None:
        wait = _wait()
        answer = jsonify(error="That is not the code." + (f" Wait {wait} seconds." if wait else ""), wait=wait)
        answer.status_code = 403
        return answer
    return _with_pass(jsonify(entered=True), token)


def _with_pass(answer: BaseResponse, token: str) -> BaseResponse:
    answer.set_cookie(
        cookie_name(PASS, request),
        token,
        httponly=True,
        samesite="Strict",
        secure=request.is_secure,
        max_age=int(PASS_S),
    )
    return answer


def _leave() -> BaseResponse:
    """Log out: the pass of this browser ends."""
    if _gate().asks() and g.visitor is not None:
        done(Done.LEFT)
    _gate().leave(_pass())
    answer = redirect(url_for("enter"))
    answer.delete_cookie(cookie_name(PASS, request), httponly=True, samesite="Strict", secure=request.is_secure)
    return answer


def _door() -> dict[str, Any]:
    """Tell every page who looks at it, whether there is a pass to end, and whether the pages of the keepers are open."""
    here = g.get("visitor")
    if here is None:
        return {"logged_in": False, "keeps": False, "people_here": g.get("people_here", False)}
    asks = _gate().asks() and _gate().is_open_for(_pass())
    return {"logged_in": asks, "keeps": Right.KEEP in here.may, "person_here": here.name, "news": news_here()}


def _seal(answer: Response) -> Response:
    html = answer.get_data(as_text=True) if answer.mimetype == "text/html" and not answer.direct_passthrough else ""
    answer.headers.setdefault("Content-Security-Policy", policy_of(html))
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Referrer-Policy"] = "same-origin"
    answer.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    answer.headers.setdefault("Cache-Control", "no-store")
    return answer


def _wants_data() -> bool:
    return request.path.startswith("/api/")


def _faults(error: FaultyNotesError) -> tuple[Any, int]:
    faults = [
        {"text": str(one), "column": one.column, "value": one.value, "problem": one.problem, "expected": one.expected}
        for one in error.faults[:200]
    ]
    if _wants_data():
        return jsonify(error=f"{len(error.faults)} error(s): nothing was imported", faults=faults), 422
    return render_template("message.html", title="Nothing was imported", lines=[one["text"] for one in faults]), 422


def _told(error: TrunkwatchError) -> tuple[Any, int]:
    if _wants_data() and isinstance(error, SupersededError):
        return jsonify(error=str(error), stands={"id": error.id, "values": error.values} if error.id else None), 409
    if _wants_data():
        return jsonify(error=spelled(str(error))), 409
    return render_template("message.html", title="That cannot be done", lines=[str(error)]), 409


def _http(error: HTTPException) -> tuple[Any, int]:
    told = {
        401: "Enter the access code first.",
        403: "This request did not come from a page of this program.",
        404: "There is no such page.",
        405: "That cannot be asked in this way.",
        413: f"Too large: at most {MOST_UPLOAD // 1_000_000} MB.",
        421: "This name is not served here.",
    }
    code = error.code or 500
    text = told.get(code, error.description or "Something went wrong.")
    if isinstance(error, NotAllowedError):
        text = str(error.description)
    if _wants_data():
        return jsonify(error=text), code
    g.quiet = secrets.token_hex(2)
    return render_template("message.html", title=text, lines=[]), code
