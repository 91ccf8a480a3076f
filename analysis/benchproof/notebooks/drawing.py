"""Draw a chart record as a still: the same bytes for the same record.

The still is what print, readers without scripts and feeds see. Letters are drawn as outlines of the font that
matplotlib carries, so the picture needs no font and looks alike everywhere.
"""

from __future__ import annotations

import io
import math
import warnings
from dataclasses import dataclass
from itertools import cycle, islice
from typing import TYPE_CHECKING, Any, Final, Literal

from benchproof.nomenclature import QUANTITIES, unit_text

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence


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
        Marker in matplotlib's spelling.
    """

    light: str
    dark: str
    dash: str
    marker: str


SAMPLE_STROKES: Final = (
    Stroke("#0072b2", "#56b4e9", "", "o"),
    Stroke("#d55e00", "#e69f00", "7 3", "s"),
    Stroke("#009e73", "#2fc79b", "2 2.5", "^"),
    Stroke("#b0518c", "#cc79a7", "9 3 2 3", "D"),
    Stroke("#000000", "#f0e442", "12 4", "v"),
)
"""Colours of Okabe and Ito's set, which colour-blind readers can tell apart [from memory of "Color Universal Design",
2008]; a few are a little darker or lighter than theirs, to stand out from the page."""

MODEL_STROKE: Final = Stroke("#33383d", "#d7d3c8", "", "x")
"""How what belongs to no single sample is drawn."""

_SIZE: Final = (5.2, 3.7)
"""Width and height in inches: letters stay legible when a phone shrinks the picture."""

_MARGINS: Final = {"right": 0.97, "bottom": 0.135, "top": 0.94}
_TITLE: Final = 0.38
_DIGIT: Final = 0.085
"""Inches of the upright axis's title with its gaps, and of a digit in its numbers."""


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
        An SVG document, the same for the same record and matplotlib.
    """
    drawn = in_shown_units(chart)

    def draw(axes: Any) -> None:
        _draw(axes, drawn)
        axes.figure.subplots_adjust(left=_left(axes), **_MARGINS)

    return still(draw, _SIZE, layout=None)


def still(
    draw: Callable[[Any], None], size: tuple[float, float], *, layout: Literal["constrained"] | None = "constrained"
) -> str:
    """Return a drawing as SVG, letters as outlines, the same bytes for the same drawing.

    Parameters
    ----------
    draw : callable
        Draws on the axes it is given.
    size : tuple of float
        Width and height in inches.
    layout : str or None
        None where ``draw`` places its axes itself, which spares drawing everything twice.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    settings: dict[Any, Any] = {"svg.hashsalt": "benchproof", "svg.fonttype": "path", "text.parse_math": False}
    with (
        mpl.rc_context({**settings, "font.family": ["DejaVu Sans"], "font.size": 9.5}),
        warnings.catch_warnings(),
    ):
        # A name in a script that the font lacks is drawn as boxes; the page beside it has the right letters.
        warnings.filterwarnings("ignore", message="Glyph")
        figure = Figure(figsize=size, layout=layout)
        draw(figure.add_subplot())
        return _serialise(figure)


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


def _draw(axes: Any, chart: Mapping[str, Any]) -> None:
    """Draw every series, the axes and the key."""
    styles = strokes(chart)
    keys: dict[str, Any] = {}
    for one in chart["series"]:
        handle = _draw_series(axes, one, styles[one["sample"]])
        keys.setdefault(_clean(one["label"]), handle)
    axes.set_xlabel(_clean(axis_title(chart["x"])))
    axes.set_ylabel(_clean(axis_title(chart["y"])))
    axes.set_xscale(chart["x"]["scale"])
    axes.set_yscale(chart["y"]["scale"])
    axes.grid(visible=True, color="#d9d6cd", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    if keys:
        axes.legend(list(keys.values()), list(keys), frameon=False, loc="best", fontsize=8.5)


def _left(axes: Any) -> float:
    """Return the share of the width that the title and the widest number of the upright axis need.

    A layout engine would draw the picture twice to find that out.
    """
    widest = max((len(label.get_text()) for label in axes.get_yticklabels()), default=0)
    return (_TITLE + _DIGIT * widest) / _SIZE[0]


def _draw_series(axes: Any, one: Mapping[str, Any], stroke: Stroke) -> Any:
    """Draw one series; return what stands for it in the key."""
    x, y = _gapped(one["x"]), _gapped(one["y"])
    if one["role"] == "points":
        return _draw_points(axes, one, stroke)
    if one["low"] is not None and one["high"] is not None:
        axes.fill_between(x, _gapped(one["low"]), _gapped(one["high"]), color=stroke.light, alpha=0.2, linewidth=0)
    return axes.plot(x, y, color=stroke.light, linestyle=_dash(stroke), linewidth=1.6)[0]


def _draw_points(axes: Any, one: Mapping[str, Any], stroke: Stroke) -> Any:
    x, y = _gapped(one["x"]), _gapped(one["y"])
    if one["low"] is not None and one["high"] is not None:
        axes.vlines(x, _gapped(one["low"]), _gapped(one["high"]), color=stroke.light, linewidth=1.0)
    drawn = axes.plot(
        x,
        y,
        linestyle="none",
        marker=stroke.marker,
        markersize=3.6,
        color=stroke.light,
        markerfacecolor="none",
    )
    return drawn[0]


def _dash(stroke: Stroke) -> Any:
    return (0, tuple(float(length) / 1.6 for length in stroke.dash.split())) if stroke.dash else "-"


def _gapped(values: Sequence[float | None]) -> list[float]:
    """Return values with a gap where one is missing."""
    return [math.nan if value is None else value for value in values]


def _clean(text: str) -> str:
    """Return text that XML can hold, that fits beside an axis, and that matplotlib's key does not hide."""
    printable = shortened("".join(letter if letter.isprintable() else " " for letter in text))
    return f" {printable}" if printable.startswith("_") else printable


def _serialise(figure: Any) -> str:
    """Return the figure's SVG without date, maker or anything else that changes from day to day."""
    buffer = io.StringIO()
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    figure.savefig(buffer, format="svg", metadata=nothing)
    return buffer.getvalue()
