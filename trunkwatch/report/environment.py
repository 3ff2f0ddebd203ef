"""The templates of the pages, each value escaped, an unknown name an error."""

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

__all__ = ["environment"]


@cache
def environment() -> Environment:
    """Return the environment of all pages that are written as files; one, so that a template is compiled once."""
    return Environment(
        loader=PackageLoader("trunkwatch"), undefined=StrictUndefined, autoescape=select_autoescape(["html"]),
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
