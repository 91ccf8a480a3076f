"""Figures and curves as tables for other programs: CSV with a Frictionless schema, and Parquet with units inside."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any, Final

from benchproof.report.citing import spdx

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.report.comparison_records import ComparisonPage
    from benchproof.report.records import Axis, Chart, Page, Results, Series

FIGURES: Final = "figures.csv"
DESCRIPTION: Final = "datapackage.json"
"""Frictionless description of every CSV table beside a report."""

_PROFILE: Final = "tabular-data-package"
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
_COLUMNS: Final = (
    ("campaign", "string", "campaign of the figure, in a comparison; empty for the report's own"),
    ("name", "string", "name of the quantity"),
    ("at", "string", "operating point, as JSON"),
    ("sample", "string", "sample; empty for the model"),
    ("unit", "string", "unit of value, standard_uncertainty and interval"),
    ("value", "number", "value; empty where there is none"),
    ("standard_uncertainty", "number", "standard uncertainty"),
    ("degrees_of_freedom", "number", "effective degrees of freedom; empty for infinitely many"),
    ("low", "number", "lower end of the coverage interval"),
    ("high", "number", "upper end of the coverage interval"),
    ("coverage", "number", "probability of the coverage interval"),
    ("method", "string", "method and its version"),
    ("flags", "string", "flags, separated by spaces"),
)


def figures_csv(results: Results) -> str:
    """Return all figures as CSV, one row a figure; texts that a spreadsheet would run begin with an apostrophe."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([name for name, _, _ in _COLUMNS])
    for row in _rows(results):
        writer.writerow([_cell(value) for value in row.values()])
    return buffer.getvalue()


def figures_parquet(results: Results) -> bytes:
    """Return all figures as Parquet."""
    import pyarrow as pa

    types = {"string": pa.string(), "number": pa.float64()}
    fields = [pa.field(name, types[kind], metadata={"description": meaning}) for name, kind, meaning in _COLUMNS]
    return _parquet(pa.Table.from_pylist(_rows(results), pa.schema(fields, metadata={"campaign": results.campaign})))


def curve_csv(chart: Chart, series: Series) -> str:
    """Return a curve file: one row a grid point, in the results' units, shortest digits that read back the same."""
    columns = _curve_columns(chart, series)
    heads = [f"{name} [{axis.unit}]" for name, axis, _ in columns]
    values = [column for _, _, column in columns]
    rows = [",".join("" if value is None else repr(value) for value in row) for row in zip(*values, strict=True)]
    return "\n".join([",".join(heads), *rows]) + "\n"


def curve_parquet(chart: Chart, series: Series) -> bytes:
    """Return a curve as Parquet: a column's unit stands in its metadata."""
    import pyarrow as pa

    columns = _curve_columns(chart, series)
    fields = [pa.field(n, pa.float64(), metadata={"unit": a.unit, "label": a.label}) for n, a, _ in columns]
    described = {"title": chart.title, "caption": chart.caption, "series": series.label}
    return _parquet(pa.table([list(column) for *_, column in columns], pa.schema(fields, metadata=described)))


def curve_files(charts: Sequence[Chart]) -> dict[str, tuple[Chart, Series]]:
    """Return the curves that have a file, by its path."""
    return {series.file: (chart, series) for chart in charts for series in chart.series if series.file}


def table_description(page: Page | ComparisonPage, results: Results, charts: Sequence[Chart]) -> dict[str, Any]:
    """Return the Frictionless data package of figures and curves.

    Parameters
    ----------
    page : Page or ComparisonPage
        Title and licence.
    results : Results
        Names the campaign.
    charts : sequence of Chart
        Whose curve files are described.

    Returns
    -------
    dict
        ``datapackage.json`` as plain data (Data Package 1.0); units stand at each field.
    """
    described = {
        "profile": _PROFILE,
        "name": _name(results.campaign),
        "title": page.title,
        "resources": [_figures_resource(), *(_curve_resource(*each) for each in curve_files(charts).values())],
    }
    licence = page.lab.data_license
    return {**described, "licenses": [{"name": licence}]} if spdx(licence) else described


def _name(text: str) -> str:
    """Return a name as data packages allow it."""
    spelled = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in text.lower())
    return spelled.strip("-") or "x"


def _figures_resource() -> dict[str, Any]:
    fields = [{"name": name, "type": kind, "description": meaning} for name, kind, meaning in _COLUMNS]
    return _resource(FIGURES, "All figures of the report", fields)


def _curve_resource(chart: Chart, series: Series) -> dict[str, Any]:
    fields = [
        {"name": f"{name} [{axis.unit}]", "type": "number", "title": axis.label, "unit": axis.unit}
        for name, axis, _ in _curve_columns(chart, series)
    ]
    return _resource(str(series.file), f"{chart.title}: {series.label}", fields)


def _resource(path: str, title: str, fields: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "profile": "tabular-data-resource",
        "name": _name(path.removesuffix(".csv")),
        "path": path,
        "title": title,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {"fields": fields, "missingValues": [""]},
    }


def _curve_columns(chart: Chart, series: Series) -> list[tuple[str, Axis, Sequence[float | None]]]:
    """Return name, axis and values of a curve's columns."""
    columns: list[tuple[str, Axis, Sequence[float | None]]] = [
        (chart.x.name, chart.x, series.x),
        (chart.y.name, chart.y, series.y),
    ]
    if series.low is not None and series.high is not None:
        columns += [(f"{chart.y.name}_low", chart.y, series.low), (f"{chart.y.name}_high", chart.y, series.high)]
    return columns


def _rows(results: Results) -> list[dict[str, Any]]:
    rows = []
    for figure in results.quantities:
        low, high = figure.interval or (None, None)
        values = figure.model_dump() | {"low": low, "high": high, "flags": " ".join(figure.flags)}
        values["at"] = json.dumps(dict(figure.at), ensure_ascii=False)
        rows.append({name: values[name] for name, _, _ in _COLUMNS})
    return rows


def _cell(value: object) -> str:
    """Return a value for CSV."""
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(value)
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULA) else text


def _parquet(table: Any) -> bytes:
    import pyarrow.parquet as pq

    buffer = io.BytesIO()
    pq.write_table(table, buffer, compression="zstd")
    return buffer.getvalue()
