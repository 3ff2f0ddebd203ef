"""Formulas as MathML, which browsers set by themselves: no script and no network."""

from docutils import nodes
from docutils.utils.math import MathError
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx.application import Sphinx
from sphinx.errors import ExtensionError
from sphinx.writers.html5 import HTML5Translator


def _set(node: nodes.math | nodes.math_block, *, block: bool) -> str:
    try:
        return tex2mathml(node.astext(), as_block=block)
    except MathError as error:
        raise ExtensionError(
            f"{node.source}:{node.line}: the formula {node.astext()!r} cannot be set: {error}"
        ) from error


def _inline(translator: HTML5Translator, node: nodes.math) -> None:
    translator.body.append(_set(node, block=False))
    raise nodes.SkipNode


def _display(translator: HTML5Translator, node: nodes.math_block) -> None:
    translator.body.append(
        f'<div class="formula" tabindex="0" role="group" aria-label="formula">{_set(node, block=True)}</div>'
    )
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Let `html_math_renderer = "mathml"` be said."""
    app.add_html_math_renderer("mathml", (_inline, None), (_display, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
