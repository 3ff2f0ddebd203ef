"""How docstrings are shown: results without a list of arguments, and words in single backticks as links where there is a page of them."""

from dataclasses import is_dataclass
from typing import Any

from docutils import nodes
from sphinx.addnodes import pending_xref
from sphinx.application import Sphinx
from sphinx.environment import BuildEnvironment
from sphinx.roles import XRefRole

from trunkwatch.stats.result import Result


class Named(XRefRole):
    """`name` in a docstring: a function or class of ours, or an argument or figure, of which there is no page."""

    def process_link(
        self, env: BuildEnvironment, refnode: nodes.Element, has_explicit_title: bool, title: str, target: str
    ) -> tuple[str, str]:
        """Leave a mark by which a link without a page becomes a plain word."""
        refnode["refdomain"], refnode["reftype"] = "py", "obj"
        refnode["py:module"] = env.ref_context.get("py:module")
        refnode["py:class"] = env.ref_context.get("py:class")
        refnode["named"] = True
        return title, target


def _plain(app: Sphinx, env: BuildEnvironment, node: pending_xref, contnode: nodes.Element) -> nodes.Element | None:
    return contnode if node.get("named") else None


def _signature(
    app: Sphinx, what: str, name: str, found: Any, options: Any, signature: str, returns: str
) -> tuple[str, str] | None:
    """Results are made by the functions, not by people."""
    if what == "class" and is_dataclass(found) and issubclass(found, Result):
        return "", ""
    return None


def setup(app: Sphinx) -> dict[str, bool]:
    """Take the arguments off results; add the role of single backticks."""
    app.connect("autodoc-process-signature", _signature)
    app.connect("missing-reference", _plain)
    app.add_role("named", Named())
    return {"parallel_read_safe": True, "parallel_write_safe": True}
