"""Photos on the desk: added to a finding or work, shown to who may look, taken back as any record."""

import re
import tempfile
from pathlib import Path

from flask import Blueprint, Response, abort, current_app, jsonify, request

from trunkwatch.access.audit import Done
from trunkwatch.errors import RecordError
from trunkwatch.intake.photos import NewPhoto, add_photos
from trunkwatch.spreadsheets.photo import MOST_BYTES, read_photo
from trunkwatch.store import Store
from trunkwatch.vineyard import codes
from trunkwatch.web.allowed import done, visitor
from trunkwatch.web.vineyard import Vineyard

__all__ = ["photos"]

photos = Blueprint("photos", __name__)

_MARK = re.compile(r"[0-9a-f]{64}")
#: Letters of a caption.
MOST_LETTERS = 500


def _vineyard() -> Vineyard:
    found: Vineyard = current_app.extensions["vineyard"]
    return found


@photos.post("/api/photo")
def add() -> Response:
    """Add one photo to a finding or work; its name and the kind that is sent with it say nothing, its bytes do."""
    if (request.content_length or 0) > MOST_BYTES + 10_000:
        raise RecordError(f"the photo is larger than {MOST_BYTES // 1_000_000} MB: save it smaller; nothing was added")
    sent = request.files.get("photo")
    record, shows, caption = (request.form.get(name, "").strip() for name in ("record", "shows", "caption"))
    if sent is None or not record:
        abort(400, "a photo and the id of its record are needed.")
    if shows and shows not in codes.PHOTO_SHOWS:
        abort(400, f"shows: one of {', '.join(codes.PHOTO_SHOWS)} is needed.")
    if len(caption) > MOST_LETTERS:
        abort(400, f"caption: at most {MOST_LETTERS} letters.")
    with tempfile.TemporaryDirectory(prefix="trunkwatch-photo-") as folder:
        path = Path(folder) / "the photo"
        sent.save(path)
        photo = read_photo(path)
    added = add_photos(
        _vineyard().path, record, [NewPhoto(photo, shows, caption, visitor().name)], device=visitor().who
    )
    done(Done.WROTE, table="photos", new=added.new)
    return jsonify(new=added.new, same=added.same, version=_vineyard().version())


@photos.get("/photo/<sha256>")
def show(sha256: str) -> Response:
    """Show a photo; always as a JPEG picture, whatever its bytes are."""
    if not _MARK.fullmatch(sha256):
        abort(404)
    with Store.open(_vineyard().path) as store:
        data = store.photo_file(sha256)
    if data is None:
        abort(404)
    answer = Response(data, mimetype="image/jpeg")
    answer.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    answer.headers["Content-Disposition"] = "inline"
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.set_etag(sha256)
    answer.make_conditional(request)
    return answer
