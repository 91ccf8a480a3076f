"""Draw a chart record as a still: the same bytes for the same record.

The still is what print, readers without scripts and feeds see. Its words are text, which readers can search and have
read to them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import cycle, islice
from typing import TYPE_CHECKING, Any, Final

from benchproof.nomenclature import QUANTITIES, unit_text
from benchproof.notebooks import plot

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence


@dataclass(frozen=True, slots=True)
class Stroke:
    """How one sample is drawn: colour, dash and marker, so that nothing rests on colour alone.

    Parameters
    ----------
    light : str
        Colour on a light ground.
    dark : str
        Colour of the same family on a dark ground.
    dash : str
        Dash pattern as SVG has it, empty for a full line.
    marker : str
        Sign of single points: circle, square, triangle-up, diamond, triangle-down or x.
    """

    light: str
    dark: str
    dash: str
    marker: str


SAMPLE_STROKES: Final = (
    Stroke("#0072b2", "#56b4e9", "", "circle"),
    Stroke("#d55e00", "#e69f00", "7 3", "square"),
    Stroke("#009e73", "#2fc79b", "2 2.5", "triangle-up"),
    Stroke("#b0518c", "#cc79a7", "9 3 2 3", "diamond"),
    Stroke("#000000", "#f0e442", "12 4", "triangle-down"),
)
"""Colours of Okabe and Ito's set, which colour-blind readers can tell apart [from memory of "Color Universal Design",
2008]; a few are a little darker or lighter than theirs, to stand out from the page."""

MODEL_STROKE: Final = Stroke("#33383d", "#d7d3c8", "", "x")
"""How what belongs to no single sample is drawn."""

_WIDTH: Final = 520.0
_HEIGHT: Final = 370.0
"""Letters stay legible when a phone shrinks a picture of this size."""

_GAP: Final = 8.0
_LINE: Final = 1.4 * plot.LETTER
_SWATCH: Final = 26.0
_SMALL: Final = 11.5
"""Height of the key's letters."""


def svg(chart: Mapping[str, Any]) -> str:
    """Return the still of a chart record.

    Parameters
    ----------
    chart : Mapping
        ``x`` and ``y`` with name, label, unit and scale; ``series`` with label, sample, role, x, y, low, high; title.
        Values in the unit of the axis; null where a point has none.

    Returns
    -------
    str
        An SVG document, the same for the same record.
    """
    drawn = in_shown_units(chart)
    styles = strokes(drawn)
    key, depth = _key(drawn, styles)
    across = _scale(drawn, "x", ("x",))
    upright = _scale(drawn, "y", ("y", "low", "high"))
    marked = plot.ticks(upright.low, upright.high, logarithmic=drawn["y"]["scale"] == "log")
    left = 2 * _GAP + _LINE + max((plot.width_of(text) for _, text in marked), default=0.0)
    x = replace(across, start=left, stop=_WIDTH - 2 * _GAP)
    y = replace(upright, start=_HEIGHT - 2 * _LINE - 1.5 * _GAP, stop=_GAP + depth)
    series = (shape for one in drawn["series"] for shape in _series(one, styles[one["sample"]], x, y))
    shapes = [*_frame(drawn, x, y, marked), *series, *key]
    return plot.document(_WIDTH, _HEIGHT, clean(str(drawn["title"]), 200), [shape for shape in shapes if shape])


def in_shown_units(chart: Mapping[str, Any]) -> dict[str, Any]:
    """Return the record with its axes in the units that pages show, as the nomenclature has them.

    An axis whose name or unit the nomenclature does not know is left alone.
    """
    x_unit, x_scale = _shown(chart["x"])
    y_unit, y_scale = _shown(chart["y"])
    series = [
        {
            **one,
            "x": _scaled(one["x"], x_scale),
            **{key: _scaled(one.get(key), y_scale) for key in ("y", "low", "high")},
        }
        for one in chart["series"]
    ]
    return {
        **chart,
        "x": {**chart["x"], "unit": x_unit},
        "y": {**chart["y"], "unit": y_unit},
        "series": series,
    }


def strokes(chart: Mapping[str, Any]) -> dict[str | None, Stroke]:
    """Return the stroke of each sample, in the order the chart names its samples.

    A chart's ``samples`` lists all of the campaign's, so that a sample keeps its stroke from chart to chart.
    """
    named = [
        *chart.get("samples", ()),
        *(one["sample"] for one in chart["series"] if one["sample"] is not None),
    ]
    order = list(dict.fromkeys(named))
    return {None: MODEL_STROKE, **dict(zip(order, islice(cycle(SAMPLE_STROKES), len(order)), strict=True))}


def axis_title(axis: Mapping[str, Any]) -> str:
    """Return an axis's words with its unit."""
    unit = unit_text(axis["unit"])
    return f"{axis['label']} [{unit}]" if unit else str(axis["label"])


def column_title(column: Mapping[str, Any]) -> str:
    """Return a table column's words with its unit as results have it."""
    return str(column["label"]) + (f" [{column['unit']}]" if column["unit"] else "")


def shortened(text: str, most: int = 60) -> str:
    """Return text cut to what a drawing has room for."""
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _shown(axis: Mapping[str, Any]) -> tuple[str, float]:
    """Return the unit to show and how many of the record's units one of it is."""
    term = QUANTITIES.get(axis["name"])
    if term is None or term.unit != axis["unit"] or not term.shown:
        return axis["unit"], 1.0
    return term.shown[0].unit, term.shown[0].per_unit


def _scaled(values: Sequence[float | None] | None, per_unit: float) -> list[float | None] | None:
    """Return values in units of ``per_unit``, untouched where that is one."""
    if values is None:
        return None
    return [value if value is None or per_unit == 1.0 else value / per_unit for value in values]


def clean(text: str, most: int = 60) -> str:
    """Return text that XML can hold and that fits beside an axis."""
    return shortened("".join(letter if letter.isprintable() else " " for letter in text), most)


def _scale(chart: Mapping[str, Any], axis: str, fields: Sequence[str]) -> plot.Scale:
    """Return an axis's scale over all its data, not yet placed."""
    logarithmic = chart[axis]["scale"] == "log"
    values = (value for one in chart["series"] for field in fields for value in _gapped(one.get(field) or ()))
    low, high = plot.limits(values, logarithmic=logarithmic)
    return plot.Scale(low, high, 0.0, 1.0, _logarithm if logarithmic else float)


def _logarithm(value: float) -> float:
    """Return the logarithm; what has none lies nowhere."""
    return math.log10(value) if value > 0 else math.nan


def _frame(
    chart: Mapping[str, Any], x: plot.Scale, y: plot.Scale, marked: Sequence[tuple[float, str]]
) -> Iterator[str]:
    """Yield grid, axes, their numbers and titles."""
    for value, text in plot.ticks(x.low, x.high, logarithmic=chart["x"]["scale"] == "log"):
        yield plot.line(x(value), y.start, x(value), y.stop)
        yield plot.words(x(value), y.start + _LINE, text)
    for value, text in marked:
        yield plot.line(x.start, y(value), x.stop, y(value))
        yield plot.words(x.start - _GAP / 2, y(value) + 0.35 * plot.LETTER, text, "end")
    yield plot.line(x.start, y.start, x.stop, y.start, plot.INK)
    yield plot.line(x.start, y.start, x.start, y.stop, plot.INK)
    yield plot.words((x.start + x.stop) / 2, _HEIGHT - _GAP, clean(axis_title(chart["x"])))
    yield plot.words(_GAP + 0.8 * plot.LETTER, (y.start + y.stop) / 2, clean(axis_title(chart["y"])), upwards=True)


def _series(one: Mapping[str, Any], stroke: Stroke, x: plot.Scale, y: plot.Scale) -> Iterator[str]:
    """Yield one series: its interval, and its curve or its points."""
    across = [x(value) for value in _gapped(one["x"])]
    placed = {
        field: list(zip(across, (y(value) for value in _gapped(one[field])), strict=True))
        for field in ("y", "low", "high")
        if one[field] is not None
    }
    banded = "low" in placed and "high" in placed
    if one["role"] == "points":
        if banded:
            yield from _bars(placed["low"], placed["high"], stroke)
        yield plot.marks(placed["y"], stroke.marker, stroke.light)
        return
    if banded:
        yield plot.band(placed["low"], placed["high"], stroke.light)
    yield plot.curve(placed["y"], stroke.light, stroke.dash)


def _bars(low: plot.Points, high: plot.Points, stroke: Stroke) -> Iterator[str]:
    for (place, below), (_, above) in zip(low, high, strict=True):
        if all(map(math.isfinite, (place, below, above))):
            yield plot.line(place, below, place, above, stroke.light, 1.2)


def _key(chart: Mapping[str, Any], styles: Mapping[str | None, Stroke]) -> tuple[list[str], float]:
    """Return the key above the chart, in as many lines as it needs, and its depth."""
    shapes: list[str] = []
    place, base = 2 * _GAP, _GAP + _SMALL
    for one in _first_of_each_label(chart["series"]):
        label = clean(one["label"])
        width = _SWATCH + plot.width_of(label, _SMALL) + 2 * _GAP
        if place > 2 * _GAP and place + width > _WIDTH:
            place, base = 2 * _GAP, base + _LINE
        shapes += [_swatch(one, styles[one["sample"]], place, base - 0.35 * _SMALL)]
        shapes += [plot.words(place + _SWATCH, base, label, "start", size=_SMALL)]
        place += width
    return shapes, base if shapes else 0.0


def _first_of_each_label(series: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    found: dict[str, Mapping[str, Any]] = {}
    for one in series:
        found.setdefault(clean(one["label"]), one)
    return list(found.values())


def _swatch(one: Mapping[str, Any], stroke: Stroke, left: float, height: float) -> str:
    """Return what stands for a series in the key."""
    if one["role"] == "points":
        return plot.marks([(left + _SWATCH / 2 - 2, height)], stroke.marker, stroke.light)
    return plot.curve([(left, height), (left + _SWATCH - 5, height)], stroke.light, stroke.dash)


def _gapped(values: Sequence[float | None]) -> list[float]:
    """Return values with a gap where one is missing."""
    return [math.nan if value is None else value for value in values]
