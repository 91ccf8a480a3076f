"""A chart as a page prints it: still, live figure, key, data, curve files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.notebooks.drawing import SAMPLE_STROKES, axis_title, in_shown_units, strokes
from benchproof.report.figures import figure_data
from benchproof.report.notebook_page import PAGE, cell_anchor
from benchproof.report.views import ChartView, Download, Key, PointGroup
from benchproof.report.words import href, slug

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.notebooks.drawing import Stroke
    from benchproof.report.collect import DrawnChart
    from benchproof.report.records import Chart

MOST_ROWS: Final = 120
"""Most points of a series that a page tables; of a longer one every so-manyth is printed, and the page says so."""


def chart_view(chart: DrawnChart) -> ChartView:
    """Return a chart ready to print, in the units pages show."""
    record = chart.record
    shown = in_shown_units(record.model_dump())
    return ChartView(
        anchor=chart_anchor(record),
        title=record.title,
        caption=record.caption,
        alt=f"{record.title}. {record.caption}",
        still=href(f"charts/{record.name}.svg"),
        live=figure_data(shown),
        computed=f"{PAGE}#{href(cell_anchor(chart.cell))}",
        keys=_keys(record, strokes(shown)),
        headings=(axis_title(shown["x"]), axis_title(shown["y"]), "low", "high"),
        points=tuple(_point_group(series) for series in shown["series"]),
        downloads=tuple(
            Download(f"{series.label} ({name})", href(series.file.removesuffix(".csv") + ending), note="")
            for series in record.series
            if series.file
            for name, ending in (("CSV", ".csv"), ("Parquet", ".parquet"))
        ),
    )


def chart_anchor(record: Chart) -> str:
    """Return the anchor of a chart."""
    return f"chart-{slug(record.section)}-{slug(record.name)}"


def _keys(record: Chart, styles: Mapping[str | None, Stroke]) -> tuple[Key, ...]:
    """Return one key a sample, in the order of the series."""
    samples = dict.fromkeys(series.sample for series in record.series)
    return tuple(
        Key(_key_label(record, sample), str(sample or ""), _stroke_number(styles[sample])) for sample in samples
    )


def _key_label(record: Chart, sample: str | None) -> str:
    """Return the words for a sample: those of its curve, where it has one; for what is of no sample, its own."""
    if record.keyed == "model":
        return str(sample or "")
    own = [series for series in record.series if series.sample == sample]
    labels = [series.label for series in own if series.role == "band" or sample is None]
    return labels[0] if labels else f"Sample {sample}"


def _stroke_number(stroke: Stroke) -> int:
    """Return the number the style sheet knows a stroke by; 0 for what belongs to no sample."""
    return SAMPLE_STROKES.index(stroke) + 1 if stroke in SAMPLE_STROKES else 0


def _point_group(series: Mapping[str, Any]) -> PointGroup:
    columns: Sequence[Sequence[float | None]] = [
        series[name] for name in ("x", "y", "low", "high") if series[name] is not None
    ]
    rows = list(zip(*columns, strict=True))
    step = -(-len(rows) // MOST_ROWS) or 1
    note = f"one point in {step}; {len(rows)} points in all" if step > 1 else ""
    printed = tuple(tuple(_printed(value) for value in row) for row in rows[::step])
    return PointGroup(str(series["label"]), note, printed)


def _printed(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"
