"""Pictures on a page: a broad and a narrow form of which one is shown, and their colours on a dark screen."""

import re
from collections.abc import Callable
from typing import Any

from markupsafe import Markup

from trunkwatch.charts.colours import DARK as CHART_DARK
from trunkwatch.maps.symbols import DARK as MAP_DARK
from trunkwatch.maps.symbols import PAPER

__all__ = ["both_forms", "is_tall", "map_forms", "picture_css"]

#: Screens up to this width show the narrow form; paper shows the broad one.
_NARROW_SCREEN = "48rem"
#: Height over width from which a map would be shrunk to stand above the lists of the first page, words and all.
_TALL = 0.55


def both_forms(draw: Callable[..., str], *what: Any, name: str, **how: Any) -> str:
    """Draw a picture twice from the same data: for a desk and for paper, and for a phone.

    Parameters
    ----------
    draw : callable
        One of the functions of `trunkwatch.charts` and `trunkwatch.maps` that take `narrow`.
    what, how
        What it takes.
    name : str
        Start of the ids; those of the narrow form end otherwise.
    """
    return draw(*what, name=name, **how) + draw(*what, name=f"{name}-slim", narrow=True, **how)


def map_forms(draw: Callable[..., str], *what: Any, name: str, **how: Any) -> str:
    """Draw a map twice, as `both_forms` does; of a tall one the narrow form alone, whose words stay bigger on a sheet."""
    both = both_forms(draw, *what, name=name, **how)
    broad, slim = both[: both.index("</svg>") + 6], both[both.index("</svg>") + 6 :]
    return slim if is_tall(broad) else both


def is_tall(svg: str) -> bool:
    """Tell whether a picture is too tall to stand above the lists of the owner's page."""
    box = re.search(r'viewBox="[\d.-]+ [\d.-]+ ([\d.]+) ([\d.]+)"', svg)
    return box is not None and float(box[2]) > _TALL * float(box[1])


def picture_css() -> Markup:
    """Return the style sheet that shows one form of each picture, and repaints all of them on a dark screen.

    The pictures carry their colours as attributes, so that each of them is a valid file by itself; rules of
    a page come before attributes.
    """
    dark = "".join(
        f'[fill="{light}"]{{fill:{other}}}[stroke="{light}"]{{stroke:{other}}}'
        for light, other in sorted({**MAP_DARK, **CHART_DARK}.items())
    )
    return Markup(  # noqa: S704 - our own colours
        "svg.slim { max-width: 34rem !important; } svg.broad + svg.slim { display: none !important; } "
        f"@media screen and (max-width: {_NARROW_SCREEN}) {{ svg.broad:not(:last-of-type) {{ display: none !important; }} "
        "svg.broad + svg.slim { display: block !important; } }\n"
        f'@media print {{ rect[fill="{PAPER}"] {{ fill: none; }} }}\n'
        f"@media screen and (prefers-color-scheme: dark) {{ {dark} }}"
    )
