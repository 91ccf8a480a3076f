"""What is taken out of a notebook, and what is refused."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from benchproof.errors import InputError
from benchproof.report.collect import collect
from report.sample_notebook import CAMPAIGN, sample_notebook

CHART = "application/vnd.benchproof.chart+json"


def chart_cell(notebook: dict[str, Any], number: int = 0) -> dict[str, Any]:
    """The data of a chart's output, to be bent."""
    cells = [c for c in notebook["cells"] if any(CHART in o.get("data", {}) for o in c["outputs"])]
    return cells[number]["outputs"][0]["data"]


def test_sections_come_in_the_order_of_the_notebook() -> None:
    found = collect(sample_notebook())
    assert [section.key for section in found.sections] == ["inspection", "weighing", "thrust_sweep"]
    assert [table.name for table in found.shared.tables] == ["budget_thrust"]
    assert found.page.campaign == CAMPAIGN
    assert len(found.sections[2].charts) == 2


def test_results_keep_the_order_of_their_keys() -> None:
    found = collect(sample_notebook())
    assert list(found.results_data)[:3] == ["schema", "campaign", "methods"]


def test_what_a_notebook_prints_besides_is_ignored() -> None:
    plain = sample_notebook()
    more = copy.deepcopy(plain)
    more["cells"].append(
        {"outputs": [{"data": {"text/html": "<b>x</b>", "application/vnd.benchproof.hat+json": {"section": "x"}}}]}
    )
    assert collect(more) == collect(plain)


def bend(data: dict[str, Any], how: str) -> None:
    """Damage a chart's output in one way."""
    record, series = data[CHART], data[CHART]["series"][0]
    match how:
        case "unknown key":
            record["html"] = "<b>"
        case "short column":
            series["y"] = series["y"][:-1]
        case "way out by the file":
            series["file"] = "../../index.html"
        case "way out by the name":
            record["name"] = "../up"
        case "not a number":
            series["x"][0] = float("nan")
        case "no still":
            del data["image/svg+xml"]
        case still:
            data["image/svg+xml"] = f'<svg xmlns="http://www.w3.org/2000/svg">{still}</svg>'


@pytest.mark.parametrize(
    "how",
    [
        "unknown key",
        "short column",
        "way out by the file",
        "way out by the name",
        "not a number",
        "no still",
        "<script>x</script>",
        "<path onload='x()'/>",
        "<a href='javascript:x()'/>",
        "<use href='http://elsewhere/x.svg#a'/>",
        "<foreignObject/>",
        "<style>@import 'http://elsewhere/x.css';</style>",
        "<path",
    ],
)
def test_a_bent_chart_is_refused_in_words(how: str) -> None:
    notebook = sample_notebook()
    bend(chart_cell(notebook), how)
    with pytest.raises(InputError) as caught:
        collect(notebook)
    assert "chart" in caught.value.faults[0].place
    assert caught.value.faults[0].remedy


def test_entities_are_refused_before_anything_reads_them() -> None:
    notebook = sample_notebook()
    chart_cell(notebook)["image/svg+xml"] = '<!DOCTYPE svg [<!ENTITY a "aaaa">]><svg>&a;</svg>'
    with pytest.raises(InputError, match="entity"):
        collect(notebook)


@pytest.mark.parametrize("kind", ["page", "results"])
def test_page_and_results_are_there_exactly_once(kind: str) -> None:
    mime = f"application/vnd.benchproof.{kind}+json"
    notebook = sample_notebook()
    having = [cell for cell in notebook["cells"] if mime in cell["outputs"][0]["data"]]
    twice = {**notebook, "cells": [*notebook["cells"], *having]}
    never = {**notebook, "cells": [cell for cell in notebook["cells"] if cell not in having]}
    for bent in (twice, never):
        with pytest.raises(InputError, match=f"{kind}.*exactly one"):
            collect(bent)


def test_two_charts_of_one_name_would_overwrite_each_other() -> None:
    notebook = sample_notebook()
    chart_cell(notebook, 1)[CHART]["name"] = chart_cell(notebook, 0)[CHART]["name"]
    with pytest.raises(InputError, match="shown 2 times"):
        collect(notebook)
