"""The page of a whole workbook: what it says, every word with its meaning, the block as it would be laid out, and the import."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, abort, current_app, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.access.audit import Done
from trunkwatch.errors import FaultyNotesError, RecordError, TrunkwatchError
from trunkwatch.intake.add import Added
from trunkwatch.intake.bring_book import kept_place, take_book, write_mapping
from trunkwatch.vineyard import codes
from trunkwatch.web.allowed import done, visitor
from trunkwatch.web.book_form import answers_of, book_form, in_words
from trunkwatch.web.book_seen import BookSeen, causes_of, see_book, understood_by
from trunkwatch.web.imports import (
    Upload,
    can_be_book,
    drop_upload,
    has_columns,
    its_own_name,
    turn_to_read,
    waiting_upload,
)
from trunkwatch.web.said import said_of
from trunkwatch.web.vineyard import Vineyard

__all__ = ["books"]

books = Blueprint("books", __name__)

#: Letters of one field that are read.
MOST_TYPED = 2_000
#: So many causes, notes and inspections are listed.
MOST_LISTED = 60


def _vineyard() -> Vineyard:
    there: Vineyard = current_app.extensions["vineyard"]
    return there


def _book(token: str) -> Upload:
    """Return a workbook that was handed in; one with a sheet called as a table of ours too, where its owner says that it is none."""
    upload = waiting_upload(token)
    if not can_be_book(upload):
        abort(404)
    return upload


def _seen(upload: Upload, answers: dict[str, Any] | None = None) -> BookSeen:
    """Return what a workbook says by the answers so far; by others, where those are given and can be."""
    if answers is None and isinstance(upload.seen, BookSeen) and upload.seen_at == _vineyard().version():
        return upload.seen
    path = _vineyard().path
    version = _vineyard().version()
    said = upload.answers if answers is None else answers
    with its_own_name(upload), turn_to_read():
        seen = see_book(upload.path, path, said, upload.name, _hemisphere(path))
    if answers is not None:
        upload.answers = answers
    upload.seen, upload.seen_at = seen, version
    return seen


def _hemisphere(path: Path) -> str:
    side = said_of(path).get("hemisphere", "")
    return side if side in codes.HEMISPHERES else ""


@books.get("/import/<token>/book")
def show(token: str) -> str:
    """Show what was understood of a workbook, and ask what is not known."""
    upload = _book(token)
    return _page(token, upload, _seen(upload), {}, {}, "")


def _page(
    token: str, upload: Upload, seen: BookSeen, typed: dict[str, str], wrong: dict[str, str], refused: str
) -> str:
    plan = seen.plan
    return render_template(
        "import_book.html",
        token=token,
        name=upload.name,
        seen=seen,
        plan=plan,
        form=book_form(plan),
        typed=typed,
        wrong=wrong,
        refused=refused,
        labels=_vineyard().labels(),
        in_words=in_words,
        symptoms=codes.SYMPTOMS,
        works=codes.WORK_KINDS,
        most=MOST_LISTED,
        asked=len(plan.asked),
        proposed=len(plan.proposed),
        can_import=seen.added is not None and not seen.waits and not refused and not wrong,
        columns_too=has_columns(upload),
    )


@books.post("/import/<token>/book")
def answer(token: str) -> BaseResponse | str | tuple[str, int]:
    """Take the answers of the form, and show what would be imported by them."""
    upload = _book(token)
    refused = _answered(token, upload)
    return refused or redirect(url_for("books.show", token=token) + "#outcome")


def _answered(token: str, upload: Upload) -> tuple[str, int] | None:
    """Read the form and understand the workbook by it; the page with what is wrong, where something is."""
    typed = {key: value[:MOST_TYPED] for key, value in request.form.items()}
    seen = _seen(upload)
    answers, wrong = answers_of(typed, seen.plan, upload.answers)
    if wrong:
        return _page(token, upload, seen, typed, wrong, ""), 422
    if answers == upload.answers:
        return None
    try:
        _seen(upload, answers)
    except RecordError as error:
        return _page(token, upload, seen, typed, {}, str(error)), 422
    return None


@books.post("/import/<token>/book/take")
def take(token: str) -> BaseResponse | str | tuple[str, int]:
    """Import a workbook as it was shown; what was changed since is shown first."""
    upload = _book(token)
    shown = upload.answers
    refused = _answered(token, upload)
    if refused:
        return refused
    seen = _seen(upload)
    keep_good = bool(request.form.get("keep_good"))
    if upload.answers != shown or seen.waits or (seen.added is None and not keep_good):
        return redirect(url_for("books.show", token=token) + "#outcome")
    try:
        added = _take(upload, keep_good=keep_good)
    except FaultyNotesError as error:
        seen = replace(seen, causes=(*seen.causes, *causes_of(error.faults)), added=None)
        return _page(token, upload, seen, {}, {}, "Nothing was imported: see the errors."), 422
    except TrunkwatchError as error:
        return _page(token, upload, seen, {}, {}, f"Nothing was imported: {error}"), 422
    drop_upload(token)
    done(Done.IMPORTED, file=upload.name, new=sum(added.new.values()))
    named = {*(block.label for block in seen.plan.blocks), *(look.block for look in seen.looks)}
    blocks = [label for label in _vineyard().labels() if label in named or label.partition("/")[2] in named]
    return render_template(
        "import_book_done.html",
        name=upload.name,
        added=added,
        new={table: many for table, many in added.new.items() if many},
        same=sum(added.same.values()),
        blocks=blocks,
        causes=causes_of([*added.left_out, *added.notes])[:MOST_LISTED],
    )


def _take(upload: Upload, *, keep_good: bool) -> Added:
    """Import a workbook, and keep what its words mean for the next one."""
    path = _vineyard().path
    with its_own_name(upload), turn_to_read():
        understood = understood_by(path, upload.path, upload.answers, upload.name, _hemisphere(path))
    if understood.plan.proposed:  # the vineyard has changed since it was shown
        raise RecordError(f"{upload.name}: something new waits for you: show it once more")
    added = take_book(path, understood, keep_good=keep_good, device=visitor().who)
    write_mapping(kept_place(path), understood, path, Path(upload.name))
    return added


@books.get("/api/import/<token>/drawing")
def drawing(token: str) -> Response:
    """Return a block of a workbook as it would be laid out, with what was seen."""
    upload = _book(token)
    found = _seen(upload).drawings.get(request.args.get("block", ""))
    if found is None:
        abort(404)
    return jsonify(found)
