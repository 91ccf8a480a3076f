"""Templates to pages: one environment, strict, with everything escaped."""

from __future__ import annotations

import json
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from benchproof.nomenclature import unit_text
from benchproof.report.templates import templates_folder
from benchproof.report.words import visible

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.report.views import (
        ComparisonContext,
        EarlierContext,
        ErrataContext,
        FeedContext,
        IndexContext,
        NotebookContext,
        ReportContext,
        ScepticsContext,
    )


_ROW_BEGINS: Final = '        <tr><td class="number">'
_ROW_ENDS: Final = "</td></tr>\n"


@cache
def method_templates() -> frozenset[str]:
    """Return the names of the partials that methods bring for their section."""
    return frozenset(path.name for path in (templates_folder() / "methods").iterdir())


@cache
def environment() -> Environment:
    """Return the template environment."""
    made = Environment(
        loader=FileSystemLoader(templates_folder()),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=plain,
    )
    made.filters["data_block"] = data_block
    made.filters["number_rows"] = number_rows
    made.filters["unit"] = unit_text
    return made


def plain(value: object) -> object:
    """Return what is to be printed, with the characters shown that would hide or turn other text."""
    return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def data_block(value: Mapping[str, Any]) -> Markup:
    """Return data as JSON that can stand in a script element: nothing in it can end the element."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    safe = text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")
    return Markup(safe)  # noqa: S704 - no letter that HTML gives a meaning is left in it


def number_rows(rows: Sequence[Sequence[str]]) -> Markup:
    """Return rows of printed numbers as those of a table, in one piece: a chart has thousands of them."""
    text = escape(visible("\n".join(["\t".join(row) for row in rows])))
    cells = str(text).replace("\t", '</td><td class="number">').replace("\n", f"{_ROW_ENDS}{_ROW_BEGINS}")
    return Markup(f"{_ROW_BEGINS}{cells}{_ROW_ENDS}" if rows else "")  # noqa: S704 - escaped above


def render_report(context: ReportContext) -> str:
    """Return a report's page."""
    return environment().get_template("report.html.j2").render(page=context)


def render_comparison(context: ComparisonContext) -> str:
    """Return a comparison's page."""
    return environment().get_template("comparison.html.j2").render(page=context)


def render_index(context: IndexContext) -> str:
    """Return the list of reports."""
    return environment().get_template("index.html.j2").render(page=context)


def render_earlier(context: EarlierContext) -> str:
    """Return the page of an earlier revision, or of a withdrawn report."""
    return environment().get_template("earlier.html.j2").render(page=context)


def render_errata(context: ErrataContext) -> str:
    """Return the page of errata."""
    return environment().get_template("errata.html.j2").render(page=context)


def render_feed(context: FeedContext) -> str:
    """Return the feed (Atom, RFC 4287)."""
    return environment().get_template("feed.xml.j2").render(page=context)


def render(template: str, context: NotebookContext | ScepticsContext) -> str:
    """Return any other page."""
    return environment().get_template(template).render(page=context)
