"""Drawings of `tw.draw` in the gallery: each new one of a block of code becomes a picture below it."""

from pathlib import Path
from typing import Any

from sphinx_gallery.scrapers import figure_rst

from trunkwatch.library.draw import Picture


def take_drawings(block: tuple[Any, ...], block_vars: dict[str, Any], gallery_conf: dict[str, Any]) -> str:
    """Save the drawings that a block of code has given a name, and return the reStructuredText that shows them."""
    seen: set[int] = gallery_conf.setdefault("_drawings_shown", set())
    made = []
    for value in list(block_vars["example_globals"].values()):
        if isinstance(value, Picture) and id(value) not in seen:
            seen.add(id(value))
            path = Path(next(block_vars["image_path_iterator"])).with_suffix(".svg")
            value.save(path)
            made.append(str(path))
    return figure_rst(made, gallery_conf["src_dir"]) if made else ""
