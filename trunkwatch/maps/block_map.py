"""The block map: one page that opens in a browser without a network.

folium makes the frame, the Leaflet library stands inside the page, and the vines are drawn on
one canvas from compact data: a marker for each vine would make the page a thousand times larger.
"""

from collections.abc import Mapping, Sequence
from html import escape
from importlib.resources import files
from string import Template
from typing import Any

import folium
import numpy as np
from branca.element import Element
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.history import BlockHistory
from trunkwatch.maps.counts import last_counted
from trunkwatch.maps.frame import Placement, drawing_frame
from trunkwatch.maps.map_data import map_data, script_text
from trunkwatch.maps.scripts import joined
from trunkwatch.maps.strip import strip_svg
from trunkwatch.vineyard.manner import AMERICAN, in_force
from trunkwatch.vineyard.spelling import spelled_values

__all__ = ["block_map"]


def block_map(
    history: BlockHistory,
    *,
    placed: Placement | tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
    bearing_deg: float | None = None,
    rows_go: str = "right",
    foci: Sequence[NDArray[np.int64]] | None = None,
    season: int | None = None,
    base_layer: str | None = None,
    base_credit: str = "",
    photos: Mapping[str, Sequence[tuple[str, str]]] | None = None,
    title: str | None = None,
) -> str:
    """Draw a block over its seasons as one HTML page.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    placed : Placement or (longitude, latitude), optional
        WGS84 degrees, (rows, stations). Without, the block is drawn in its own metres.
    bearing_deg, rows_go : float and {"right", "left"}, optional
        How the rows lie, used where there are no coordinates.
    foci : sequence of (rows, stations) int array, optional
        Numbers of the foci of each season of the history, 0 elsewhere.
    season : int, optional
        Season that the page opens with; the last counted one where left out.
    base_layer : str, optional
        Address of map tiles with {z}, {x} and {y}; it needs a network, the block does not.
    base_credit : str
        Credit that the owner of the tiles asks for.
    photos : mapping of record id to sequence of (str, str), optional
        What is said of each photo, and a small picture as the address of an image; empty where none is shown.
    title : str, optional
        Heading; the block where left out.

    Returns
    -------
    str
        HTML; same input, same bytes.

    Raises
    ------
    RecordError
        If the block has no seasons, or not this one.
    ValueError
        If a base layer is asked for a block without coordinates.
    """
    first = season if season is not None else last_counted(history)
    if first is None:
        raise RecordError(f"block {history.block!r} has no season yet: nothing to draw")
    history.index_of(first)
    frame = drawing_frame(history.grid, placed, bearing_deg=bearing_deg, rows_go=rows_go)
    if base_layer and frame.origin is None:
        raise ValueError(f"block {history.block!r} has no coordinates: a base layer cannot lie under it")
    heading = title or f"Block {history.block}"
    data = map_data(history, frame, foci, first, photos)
    static = strip_svg(
        history,
        first,
        placed=placed,
        bearing_deg=bearing_deg,
        rows_go=rows_go,
        name="static",
        foci=foci[history.index_of(first)] if foci is not None else None,
    )
    body = Template(_text("block_map.html")).substitute(
        title=escape(heading),
        season=str(first),
        most=str(len(history.seasons) - 1),
        first=str(data["first"]),
        note=escape(frame.note),
        static=static,
    )
    if in_force().spelling != AMERICAN.spelling:
        data = spelled_values(data)
    told = script_text(data | {"base": base_layer or "", "credit": base_credit})
    scripts = f'<script type="application/json" id="data">{told}</script><script type="module">{joined("block_map.js")}</script>'
    return _framed(heading, body, scripts, frame.origin)


def _text(name: str) -> str:
    return files("trunkwatch").joinpath("static").joinpath(name).read_text("utf-8")


def _framed(heading: str, body: str, scripts: str, origin: tuple[float, float] | None) -> str:
    """Put the page into the frame that folium makes, with Leaflet inside and fixed ids."""
    page = folium.Map(
        location=(origin[1], origin[0]) if origin else (0.0, 0.0),
        tiles=None,
        zoom_start=18,
        zoom_control=False,
        crs="EPSG3857" if origin else "Simple",
        zoom_snap=0.25,
        zoom_animation=False,
        fade_animation=False,
        max_zoom=24,
        min_zoom=-4,
        attribution_control=False,
    )
    page.default_js, page.default_css = [], []
    page._id = "block"  # noqa: SLF001 - folium numbers its elements at random; the same input must give the same bytes
    root: Any = page.get_root()
    root._id = "page"  # noqa: SLF001 - same
    leaflet = _text("leaflet/leaflet.js").split("\n//# sourceMappingURL")[0]
    head = (
        f"<title>{escape(heading)}</title><style>{_leaflet_css()}\n{_text('block_map.css')}</style>"
        f"<script>{leaflet}</script>"
    )
    root.header.add_child(Element("{% raw %}" + head + "{% endraw %}", template_name="head"), name="head")
    root.html.add_child(Element("{% raw %}" + body + "{% endraw %}", template_name="body"), name="body")
    html = str(root.render())
    html = html.replace("maximum-scale=1.0, user-scalable=no", "viewport-fit=cover")
    html = html.replace("<html>", '<html lang="en">', 1)
    html = html.replace('<div class="folium-map" ', '<div class="folium-map" role="main" ', 1)
    # Ours comes after folium's script, which makes the map.
    end = html.rindex("</script>") + len("</script>")
    return html[:end] + scripts + html[end:]


def _leaflet_css() -> str:
    """Return Leaflet's style sheet without its pictures, which would be asked for over a network."""
    lines = _text("leaflet/leaflet.css").splitlines()
    return "\n".join(line for line in lines if "url(" not in line)
