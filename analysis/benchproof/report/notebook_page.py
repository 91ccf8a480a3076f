"""The executed notebook as a page: what each cell says, calls and shows, in the site's style.

nbconvert renders the cells with its `basic` template, which is the body alone; nh3 then lets through what is listed
here. Of a cell's outputs only our tables and charts and the kinds in ``_SHOWN`` come that far, and never a cell's HTML.
Formulas, tables and code, which are made safe on their own, are set aside and put in last.
"""

from __future__ import annotations

import html
import json
import re
from functools import cache, lru_cache
from threading import Lock
from typing import TYPE_CHECKING, Any, Final

import nbformat
import nh3
from markupsafe import Markup

from benchproof.notebooks.drawing import column_title
from benchproof.report.mathml import mathml
from benchproof.report.records import MIME_PREFIX
from benchproof.report.words import href, slug, visible

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

PAGE: Final = "notebook.html"

_CHART: Final = f"{MIME_PREFIX}chart+json"
_TABLE: Final = f"{MIME_PREFIX}table+json"
_SHOWN: Final = ("text/markdown", "text/plain")
"""Output types a page shows, the best first; a chart is shown by its still."""

_TAGS: Final = {
    *("a", "blockquote", "br", "code", "div", "em", "h1", "h2", "h3", "h4", "h5", "h6", "hr", "img", "li", "ol", "p"),
    *("pre", "s", "span", "strong", "table", "tbody", "td", "th", "thead", "tr", "ul"),
}
_ATTRIBUTES: Final = {
    "a": {"href", "title"},
    "div": {"class", "id"},
    "img": {"alt", "src"},
    "ol": {"start"},
    "span": {"class"},
    "td": {"class"},
    "th": {"class"},
}
_LINKS: Final = ("https://", "http://", "mailto:", "#")
_STILL: Final = re.compile(r"charts/[A-Za-z0-9_.%-]+\.svg")
_CLASS: Final = re.compile(r"[a-z][a-z0-9_ -]*")
_CELL: Final = "cell-id="
_MATH: Final = re.compile(r"\$\$(?P<block>[^$]+)\$\$|(?<![\\$])\$(?P<inline>[^$\n]+)\$")

_LONG: Final = 30
"""Longest formula in a line of text, in letters of its source, that is sure to fit a phone."""

_SCROLLS: Final = '<div class="scroll tall" role="region" aria-label="Table" tabindex="0">'
"""What stands round a table: one that is wider than the page can be moved with keys."""

_ONE_AT_A_TIME: Final = Lock()
"""Reports are assembled by several threads; the exporter is not made for that."""

# Two characters that Unicode keeps for private use stand round the number of what is set aside.
_OPEN, _CLOSE = "\ue0f2", "\ue0f3"
_PLACEHOLDER: Final = re.compile(f"{_OPEN}(\\d+){_CLOSE}")


def cell_anchor(cell: str) -> str:
    """Return the anchor of a cell on the notebook's page."""
    return f"cell-{slug(cell)}"


def notebook_body(notebook: Mapping[str, Any]) -> Markup:
    """Return the cells of an executed notebook as HTML that can stand in a page.

    Parameters
    ----------
    notebook : Mapping
        The notebook as JSON gives it (nbformat 4).

    Returns
    -------
    Markup
        Text, code, tables, stills of charts (under ``charts/``) and formulas as MathML. Each cell has an anchor.
    """
    aside: list[str] = []
    shown = nbformat.from_dict(_to_show(notebook, aside))
    with _ONE_AT_A_TIME:
        body, _ = _exporter().from_notebook_node(shown)
    # Alignment comes as a style, which the page's policy refuses; the site's own class says the same.
    clean = _clean(body.replace('style="text-align:right"', 'class="number"'))
    scrolling = clean.replace("<table>", f"{_SCROLLS}<table>").replace("</table>", "</table></div>")
    return Markup(_PLACEHOLDER.sub(lambda found: aside[int(found[1])], scrolling))  # noqa: S704 - cleaned above


def _clean(body: str) -> str:
    """Return HTML with nothing in it but what is listed here."""
    return nh3.clean(
        body,
        tags=_TAGS,
        attributes=_ATTRIBUTES,
        attribute_filter=_kept,
        link_rel="nofollow noopener",
        url_schemes={"http", "https", "mailto"},
    )


@cache
def _exporter() -> Any:
    """Return nbconvert's exporter, whose templates take a while to compile."""
    from jinja2 import pass_context
    from nbconvert.exporters import HTMLExporter, TemplateExporter

    @lru_cache(maxsize=1024)
    def in_html(markdown: str) -> str:
        """Set Markdown that stands for itself, most of which is the same in every campaign's notebook too."""
        return str(HTMLExporter.markdown2html(exporter, {}, markdown))

    class Body(HTMLExporter):
        """The exporter without what is done anyway: the page is cleaned whole, and made of a valid notebook.

        Its last step, which parses the page again for pictures without words, is left out as well.
        """

        def from_notebook_node(self, nb: Any, resources: Any = None, **more: Any) -> Any:
            register: Any = self.register_filter
            register("highlight_code", lambda source, metadata=None: source)
            register("clean_html", lambda text: text)
            return TemplateExporter.from_notebook_node(self, nb, resources, **more)

        def _preprocess(self, nb: Any, resources: Any) -> Any:
            return nb, resources

        @pass_context
        def markdown2html(self, context: Any, source: str) -> str:
            attached = context["cell"].get("attachments")
            return str(super().markdown2html(context, source)) if attached else in_html(source)

    made: Any = Body
    exporter = made(
        template_name="basic",
        exclude_anchor_links=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_raw=True,
    )
    return exporter


@lru_cache(maxsize=1024)
def _code(source: str) -> str:
    """Return a cell's code in colours; most of it is the same in every campaign's notebook."""
    from nbconvert.filters.highlight import Highlight2HTML

    return _clean(str(Highlight2HTML(pygments_lexer="ipython3")(source)))


def _to_show(notebook: Mapping[str, Any], aside: list[str]) -> dict[str, Any]:
    """Return a copy with the outputs a page shows; formulas, tables and code are set aside."""
    cells = [_cell(cell, aside) for cell in notebook["cells"]]
    return {**notebook, "metadata": {"language_info": {"name": "python", "pygments_lexer": "ipython3"}}, "cells": cells}


def _cell(cell: Mapping[str, Any], aside: list[str]) -> dict[str, Any]:
    source = _text(cell.get("source", ""))
    if cell["cell_type"] == "markdown":
        return {**cell, "source": _MATH.sub(lambda found: _formula(found, aside), _without_marks(source))}
    if cell["cell_type"] == "code":
        outputs = [kept for output in cell["outputs"] if (kept := _output(output, aside)) is not None]
        return {**cell, "source": _set_aside(_code(source), aside), "outputs": outputs}
    return {**cell, "source": source}


def _output(output: Mapping[str, Any], aside: list[str]) -> dict[str, Any] | None:
    """Return an output with one representation that a page shows; None where it has none."""
    data = output.get("data", {})
    if _CHART in data:
        shown = {"text/markdown": _still(data[_CHART])}
    elif _TABLE in data:
        shown = {"text/html": _set_aside(_table(data[_TABLE]), aside)}
    else:
        kind = next((kind for kind in _SHOWN if kind in data), None)
        if kind is None:
            return None
        shown = {kind: _without_marks(_text(data[kind]))}
    return {"output_type": "display_data", "data": shown, "metadata": {}}


def _still(chart: Mapping[str, Any]) -> str:
    """Return the Markdown of a chart's still, which lies beside the page."""
    words = re.sub(r"([\\\[\]<>!*_`])", r"\\\1", " ".join(f"{chart['title']}. {chart['caption']}".split()))
    return _without_marks(f"![{words}]({href('charts/' + str(chart['name']) + '.svg')})")


def _table(record: Mapping[str, Any]) -> str:
    """Return a table as it stands in the page."""
    heads = [column_title(column) for column in record["columns"]]
    classes = [' class="number"' if c["align"] == "right" else "" for c in record["columns"]]

    def row(tag: str, cells: Sequence[str]) -> str:
        pairs = zip(cells, classes, strict=True)
        return f"<tr>{''.join([f'<{tag}{kind}>{_escaped(cell)}</{tag}>' for cell, kind in pairs])}</tr>"

    body = "".join(row("td", cells) for cells in record["rows"])
    return f"{_SCROLLS}<table><thead>{row('th', heads)}</thead><tbody>{body}</tbody></table></div>"


def _escaped(text: str) -> str:
    """Return text of a table's cell, written as the rest of the page is."""
    return html.escape(_without_marks(text), quote=False).replace("\xa0", "&nbsp;")


def _text(value: Any) -> str:
    """Return text that a file may hold as a list of lines; anything else as JSON."""
    if isinstance(value, list):
        return "".join(map(str, value))
    return value if isinstance(value, str) else json.dumps(value)


def _without_marks(text: str) -> str:
    return visible(text).replace(_OPEN, "").replace(_CLOSE, "")


def _formula(found: re.Match[str], aside: list[str]) -> str:
    """Return a placeholder for a formula."""
    latex, block = found["block"] or found["inline"], found["block"] is not None
    shown = mathml(latex, block=block) or f"<code>{html.escape(found[0])}</code>"
    kind = "formula" if block else "long-formula" if len(latex) > _LONG else ""
    return _set_aside(f'<span class="{kind}" tabindex="0">{shown}</span>' if kind else shown, aside)


def _set_aside(shown: str, aside: list[str]) -> str:
    """Return a placeholder and keep what will stand there."""
    aside.append(shown)
    return f"{_OPEN}{len(aside) - 1}{_CLOSE}"


def _kept(tag: str, attribute: str, value: str) -> str | None:
    """Return an attribute's value, None if it goes."""
    if attribute == "id":
        return cell_anchor(value.removeprefix(_CELL)) if value.startswith(_CELL) else None
    if attribute == "class":
        return value if _CLASS.fullmatch(value) else None
    if attribute == "src":
        return value if _STILL.fullmatch(value) else None
    if (tag, attribute) == ("a", "href"):
        return value if value.lower().startswith(_LINKS) else None
    return value
