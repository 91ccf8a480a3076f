"""The executed notebook as a page: what comes through, what does not, and where a chart's cell is."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

import nh3
import pytest

from benchproof.report.collect import collect
from benchproof.report.history import Past
from benchproof.report.linked_data import linked_data
from benchproof.report.mathml import mathml
from benchproof.report.notebook_page import notebook_body
from benchproof.report.page import Files, notebook_context, report_context
from benchproof.report.render import render, render_report
from report.sample_notebook import sample_claims, sample_notebook

EVIL = "<script>window.ran=1</script><img src=x onerror=window.ran=1>"


def cell(kind: str, source: str, *outputs: dict, name: str = "one") -> dict:
    made = {"cell_type": kind, "id": name, "metadata": {}, "source": source}
    return made if kind == "markdown" else {**made, "execution_count": 1, "outputs": list(outputs)}


def shown(data: dict) -> dict:
    return {"output_type": "display_data", "data": data, "metadata": {}}


def body(*cells: dict) -> str:
    return str(notebook_body({"cells": list(cells), "metadata": {}, "nbformat": 4, "nbformat_minor": 5}))


class Elements(HTMLParser):
    """Every element with its attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep it."""
        self.found.append((tag, dict(attrs)))


@pytest.mark.parametrize(
    "hostile",
    [
        cell("markdown", EVIL),
        cell("markdown", "[a](javascript:alert(1)) ![p](http://elsewhere.example/p.png)"),
        cell("markdown", f"$\\text{{{EVIL}}}$ and $$\\href{{javascript:x}}{{y}}$$"),
        cell("code", "x", shown({"text/html": EVIL})),
        cell("code", "x", shown({"text/vnd.mermaid": EVIL, "image/svg+xml": f"<svg>{EVIL}</svg>"})),
        cell("code", "x", shown({"application/javascript": "window.ran=1"})),
        cell("code", "x", shown({"text/markdown": EVIL, "text/plain": EVIL})),
        cell("code", "x", shown({"text/plain": EVIL})),
        cell("code", f"'{EVIL}'", {"output_type": "stream", "name": "stdout", "text": EVIL}),
        cell(
            "code",
            "x",
            shown(
                {"application/vnd.benchproof.chart+json": {"title": f"a](x) {EVIL}", "caption": "![", "name": "../x"}}
            ),
        ),
    ],
)
def test_nothing_of_a_notebook_can_run_or_load_in_the_page(hostile: dict) -> None:
    elements = Elements(body(hostile)).found
    assert not {tag for tag, _ in elements} & {"script", "iframe", "object", "svg", "style", "link", "form"}
    for tag, attributes in elements:
        assert not any(name.startswith("on") or name == "style" for name in attributes)
        if tag == "img":
            assert re.fullmatch(r"charts/[A-Za-z0-9_.%-]+\.svg", attributes.get("src") or "charts/none.svg")
        assert not (attributes.get("href") or "").startswith("javascript")


def test_tables_code_and_formulas_come_through() -> None:
    table = "| a | b [N] |\n| :--- | ---: |\n| x | 1.5 |"
    text = body(
        cell("markdown", "## Thrust\n\n$$T = C_T \\rho n^2 D^4$$"),
        cell("code", "show()", shown({"text/markdown": table}), name="two"),
    )
    assert "<h2>Thrust</h2>" in text
    assert '<math display="block">' in text
    assert '<td class="number">1.5</td>' in text
    assert "show" in text
    assert 'id="cell-one"' in text


def test_a_formula_that_cannot_be_set_stays_readable() -> None:
    assert "<code>$\\nonsense{$</code>" in body(cell("markdown", "$\\nonsense{$"))
    assert mathml("\\href{javascript:alert(1)}{x}", block=False) == ""
    assert mathml("a < b", block=False).count("&lt;") == 1


def test_every_chart_of_the_report_links_to_the_cell_that_shows_it() -> None:
    notebook = sample_notebook()
    for number, each in enumerate(notebook["cells"]):
        each["id"] = f"cell{number}"
    collected = collect(notebook, sample_claims())
    report = render_report(report_context(collected, Files(()), Past(), preview=True))
    page = render("notebook.html.j2", notebook_context(collected.page, notebook, Past(), preview=True))
    links = set(re.findall(r'href="notebook\.html#([^"]+)"', report))
    anchors = {attributes.get("id") for _, attributes in Elements(page).found}
    assert len(links) == 2
    assert links <= anchors


def test_every_figure_has_an_address_of_its_own_and_a_link_to_it() -> None:
    collected = collect(sample_notebook(), sample_claims())
    elements = Elements(render_report(report_context(collected, Files(()), Past(), preview=True))).found
    anchors = [a["id"] for _, a in elements if (a.get("id") or "").startswith("figure-")]
    assert len(anchors) == len(set(anchors))
    links = {(a.get("href") or "").removeprefix("#") for tag, a in elements if tag == "a" and a.get("class") == "here"}
    assert links
    assert links <= set(anchors)


def test_linked_data_parse_and_name_dataset_and_review() -> None:
    collected = collect(sample_notebook(lambda text: f"</script>{text}"), sample_claims())
    page = render_report(report_context(collected, Files(()), Past(), preview=True))
    (block,) = re.findall(r'<script type="application/ld\+json">(.*?)</script>', page, re.DOTALL)
    record = json.loads(block)
    dataset, review = record["@graph"]
    assert (dataset["@type"], review["@type"]) == ("Dataset", "Review")
    assert dataset["name"].startswith("</script>")
    assert review["itemReviewed"]["@type"] == "Product"
    assert "reviewRating" not in review
    anchors = {attributes.get("id") for _, attributes in Elements(page).found}
    for variable in dataset["variableMeasured"]:
        assert variable["minValue"] <= variable["value"] <= variable["maxValue"]
        assert variable["url"].removeprefix("#") in anchors


def test_a_licence_is_an_address_where_it_is_a_known_identifier() -> None:
    collected = collect(sample_notebook(), sample_claims())
    record = linked_data(collected.page, collected.results, "", ())
    assert record["@graph"][0]["license"] == "https://spdx.org/licenses/CC-BY-4.0"


def test_a_table_and_code_stand_in_the_page_as_cleaning_would_write_them() -> None:
    hostile = f"{EVIL} & 'one' \"two\"\u00a0\ue0f20\ue0f3"
    column = {"label": hostile, "unit": None, "align": "right"}
    table = {"columns": [column], "rows": [[hostile]]}
    text = body(cell("code", hostile, shown({"application/vnd.benchproof.table+json": table})))
    parts = [re.findall(pattern, text, re.DOTALL) for pattern in ("<table>.*</table>", "<pre>.*?</pre>")]
    assert [len(found) for found in parts] == [1, 1]
    for [part] in parts:
        assert nh3.clean(part, attributes={"th": {"class"}, "td": {"class"}, "span": {"class"}}, link_rel=None) == part
    assert parts[0][0].count("&lt;script&gt;window.ran=1") == 2
    assert parts[0][0].count("&nbsp;") == 2
    assert "\ue0f2" not in parts[0][0]


def test_markdown_with_the_same_words_shows_each_cell_its_own_attachment_and_formula() -> None:
    attached = {**cell("markdown", "![p](attachment:p.png)"), "attachments": {"p.png": {"image/png": "AAAA"}}}
    text = body(attached, cell("markdown", "$x$"), cell("markdown", "$y$", name="two"), cell("markdown", "$x$"))
    assert re.findall(r"<mi>(.)</mi>", text) == ["x", "y", "x"]
    assert 'alt="p"' in text
    assert "AAAA" not in text
