"""The templates of the pages, each value escaped, an unknown name an error."""

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template, select_autoescape

from trunkwatch.vineyard.manner import meters
from trunkwatch.vineyard.spelling import spelled_page

__all__ = ["environment"]


class _Spoken(Template):
    """A template whose page is spelled as the manner in force does."""

    def render(self, *args: Any, **values: Any) -> str:
        return spelled_page(super().render(*args, **values))


class _Pages(Environment):
    template_class = _Spoken


@cache
def environment() -> Environment:
    """Return the environment of all pages that are written as files; one, so that a template is compiled once."""
    pages = _Pages(
        loader=PackageLoader("trunkwatch"),
        undefined=StrictUndefined,
        autoescape=select_autoescape(["html"]),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    pages.filters["meters"] = meters
    return pages
