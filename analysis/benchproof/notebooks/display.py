"""What a notebook cell shows: records under our own MIME types, with text beside for any other viewer.

The page is made from these records alone; nothing scrapes what a cell printed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.findings.results import curve_file
from benchproof.notebooks.drawing import column_title, svg

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.methods.method import Choice, Method
    from benchproof.methods.records import Axis, Chart, Series, Table

MIME: Final = "application/vnd.benchproof."


class Shown:
    """A record with its MIME bundle; a frozen thing to put at the end of a cell."""

    __slots__ = ("kind", "record", "text")

    def __init__(self, kind: str, record: Mapping[str, Any], text: str) -> None:
        self.kind = kind
        self.record = record
        self.text = text

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:
        """Return the record under our type, and words for viewers that do not know it."""
        bundle = {f"{MIME}{self.kind}+json": dict(self.record), "text/plain": self.text}
        if self.kind == "chart":
            bundle["image/svg+xml"] = svg(self.record)
        if self.kind == "table":
            bundle["text/markdown"] = _markdown(self.record)
        return bundle

    def __repr__(self) -> str:
        return self.text


def shown_chart(chart: Chart, section: str, samples: Sequence[str], *, keyed: str = "sample") -> Shown:
    """Return a chart ready to show; a sample (in a comparison: a model) keeps its colour by its place among all."""
    record = {
        "section": section,
        "name": chart.name,
        "title": chart.title,
        "caption": chart.caption,
        "x": _axis(chart.x),
        "y": _axis(chart.y),
        "samples": list(samples),
        "series": [_series(chart, series) for series in chart.series],
        **({"keyed": keyed} if keyed != "sample" else {}),
    }
    return Shown("chart", record, f"{chart.title}. {chart.caption}")


def _axis(axis: Axis) -> dict[str, str]:
    return {"name": axis.name, "label": axis.label, "unit": axis.unit, "scale": axis.scale}


def _series(chart: Chart, series: Series) -> dict[str, Any]:
    return {
        "label": series.label,
        "sample": series.sample,
        "role": series.role,
        "x": list(series.x),
        "y": list(series.y),
        "low": list(series.low) or None,
        "high": list(series.high) or None,
        "file": curve_file(chart, series) if series.curve else None,
    }


def shown_table(table: Table, section: str) -> Shown:
    """Return a table ready to show."""
    record = {
        "section": section,
        "name": table.name,
        "title": table.title,
        "caption": table.caption,
        "columns": [{"label": c.label, "unit": c.unit, "align": c.align} for c in table.columns],
        "rows": [list(row) for row in table.rows],
    }
    return Shown("table", record, f"{table.title}. {table.caption}")


def shown_method(method: Method, chosen: Mapping[str, Any]) -> Shown:
    """Return a method's description, with the choices this campaign made."""
    record = {
        "section": method.key,
        "title": method.title,
        "version": method.version,
        "summary": method.summary,
        "equations": list(method.equations),
        "sources": list(method.sources),
        "choices": [_choice(choice, chosen) for choice in method.choices],
        "cautions": list(method.cautions),
        "history": [{"version": change.version, "note": change.note} for change in method.history],
    }
    return Shown("method", record, f"{method.title}, method {method.label}. {method.summary}")


def _choice(choice: Choice, chosen: Mapping[str, Any]) -> dict[str, str]:
    value = str(chosen.get(choice.name, choice.default))
    return {"name": choice.name, "value": value, "default": choice.default, "meaning": choice.meaning}


def _markdown(record: Mapping[str, Any]) -> str:
    heads = [column_title(column) for column in record["columns"]]
    rules = ["---:" if c["align"] == "right" else ":---" for c in record["columns"]]
    lines: Sequence[Sequence[str]] = [heads, rules, *record["rows"]]
    return "\n".join("| " + " | ".join(_cell(cell) for cell in line) + " |" for line in lines)


def _cell(text: str) -> str:
    return text.replace("\\", "\\\\").replace("|", "\\|").replace("\n", " ").replace("<", "&lt;")
