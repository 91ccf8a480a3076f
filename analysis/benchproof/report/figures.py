"""A chart record as a live figure: the traces and layout that the chart script draws.

Colours come in two sets, for a light and a dark page; the script picks one. Text is made inert here, because the chart
library reads a little markup in labels.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from benchproof.notebooks.drawing import Stroke, axis_title, shortened, strokes
from benchproof.report.words import visible

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

_FONT: Final = "system-ui, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif"
_DIGITS: Final = 6
"""Significant digits of drawn points: more than a screen shows, fewer than machines differ in."""

THEMES: Final = {
    "light": {"ink": "#23272b", "grid": "#dedbd2", "paper": "rgba(0,0,0,0)", "card": "#ffffff"},
    "dark": {"ink": "#e4e1d8", "grid": "#3b4046", "paper": "rgba(0,0,0,0)", "card": "#23272b"},
}
"""Ink, grid lines, ground and label ground of the two themes."""

Figure = dict[str, Any]

if TYPE_CHECKING:
    Painted = Callable[[str], Figure]
    """Takes a theme and returns a trace in its colours; the points are made once for both."""


def figure_data(chart: Mapping[str, Any]) -> dict[str, Figure]:
    """Return the live figure of a chart for a light and for a dark page.

    Parameters
    ----------
    chart : Mapping
        The chart's record in the units of pages.

    Returns
    -------
    dict
        ``light``: ``data`` (traces; ``meta`` names a trace's sample) and ``layout``; ``dark``: what differs, in the
        same shape, so that no point is written twice.
    """
    traces = list(_traces(chart))
    light, dark = (
        {"data": [trace(theme) for trace in traces], "layout": _layout(chart, theme)} for theme in ("light", "dark")
    )
    return {"light": light, "dark": _difference(light, dark)}


def _difference(base: Any, other: Any) -> Any:
    """Return what of ``other`` must be laid over ``base`` to get it back; both have one shape."""
    if isinstance(base, dict):
        return {key: _difference(base[key], other[key]) for key in base if base[key] != other[key]}
    if isinstance(base, list) and base and isinstance(base[0], dict):
        return [_difference(one, another) for one, another in zip(base, other, strict=True)]
    return other


def inert(text: str) -> str:
    """Return text that the chart library shows letter by letter."""
    return visible(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace("%{", "% {")


def _traces(chart: Mapping[str, Any]) -> Iterator[Painted]:
    """Yield the traces: bands first, so that lines and points lie on top of them."""
    styles = strokes(chart)
    ordered = sorted(chart["series"], key=lambda one: ("band", "line", "points").index(one["role"]))
    for one in ordered:
        stroke = styles[one["sample"]]
        rounded = {**one, **{key: _rounded(one[key]) for key in ("x", "y", "low", "high") if one[key] is not None}}
        if one["role"] == "points":
            yield _points(one, rounded, stroke, chart)
        else:
            if one["low"] is not None and one["high"] is not None:
                yield _band(rounded, stroke)
            yield _line(rounded, stroke, chart)


def _band(one: Mapping[str, Any], stroke: Stroke) -> Painted:
    """Return the interval as one closed area: along the low ends and back along the high ones."""
    whole = [
        point
        for point in zip(one["x"], one["low"], one["high"], strict=True)
        if all(value is not None for value in point)
    ]
    around = [x for x, _, _ in whole] + [x for x, _, _ in reversed(whole)]
    ends = [low for _, low, _ in whole] + [high for _, _, high in reversed(whole)]
    return lambda theme: {
        "type": "scatter",
        "mode": "lines",
        "x": around,
        "y": ends,
        "fill": "toself",
        "fillcolor": _translucent(_colour(stroke, theme), 0.22),
        "line": {"width": 0, "color": _colour(stroke, theme)},
        "hoverinfo": "skip",
        "name": inert(one["label"]),
        "meta": _meta(one),
    }


def _line(one: Mapping[str, Any], stroke: Stroke, chart: Mapping[str, Any]) -> Painted:
    common = _common(one, chart)
    dash = ",".join(f"{length}px" for length in stroke.dash.split()) or "solid"
    return lambda theme: {
        **common,
        "mode": "lines",
        "line": {"color": _colour(stroke, theme), "width": 2, "dash": dash},
    }


def _points(one: Mapping[str, Any], rounded: Mapping[str, Any], stroke: Stroke, chart: Mapping[str, Any]) -> Painted:
    common = _common(rounded, chart)
    bars = _error_bars(one) if one["low"] is not None and one["high"] is not None else None

    def painted(theme: str) -> Figure:
        colour = _colour(stroke, theme)
        marker = {"symbol": f"{stroke.marker}-open", "size": 7, "color": colour, "line": {"width": 1.4}}
        trace = {**common, "mode": "markers", "marker": marker}
        return {**trace, "error_y": {**bars, "color": colour, "thickness": 1.2, "width": 0}} if bars else trace

    return painted


def _error_bars(one: Mapping[str, Any]) -> Figure:
    above = [None if None in pair else pair[0] - pair[1] for pair in zip(one["high"], one["y"], strict=True)]
    below = [None if None in pair else pair[0] - pair[1] for pair in zip(one["y"], one["low"], strict=True)]
    return {"type": "data", "symmetric": False, "array": _rounded(above), "arrayminus": _rounded(below)}


def _common(one: Mapping[str, Any], chart: Mapping[str, Any]) -> Figure:
    """Return what lines and points share: rounded data, name and the text shown beside the pointer."""
    label = inert(shortened(one["label"]))
    ends = [one["low"], one["high"]] if one["low"] is not None and one["high"] is not None else []
    interval = " (%{customdata[0]:.4~g} to %{customdata[1]:.4~g})" if ends else ""
    x_title, y_title = (inert(shortened(axis_title(chart[name]))) for name in ("x", "y"))
    trace: Figure = {
        "type": "scatter",
        "x": one["x"],
        "y": one["y"],
        "name": label,
        "meta": _meta(one),
        "hovertemplate": f"{label}<br>{x_title}: %{{x:.4~g}}<br>{y_title}: %{{y:.4~g}}{interval}<extra></extra>",
    }
    return {**trace, "customdata": list(map(list, zip(*ends, strict=True)))} if ends else trace


def _layout(chart: Mapping[str, Any], theme: str) -> Figure:
    colours = THEMES[theme]
    font = {"family": _FONT, "size": 14, "color": colours["ink"]}
    hover = {"bgcolor": colours["card"], "bordercolor": colours["grid"], "font": font, "align": "left"}
    return {
        "font": font,
        "paper_bgcolor": colours["paper"],
        "plot_bgcolor": colours["paper"],
        "margin": {"l": 64, "r": 12, "t": 12, "b": 56},
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": hover,
        "dragmode": "zoom",
        # No sign between thousands: 5000 and 12000 look alike.
        "separators": ".",
        "xaxis": _axis(chart, "x", colours),
        "yaxis": _axis(chart, "y", colours),
    }


def _axis(chart: Mapping[str, Any], name: str, colours: Mapping[str, str]) -> Figure:
    axis = chart[name]
    columns = [one[key] or () for one in chart["series"] for key in ((name,) if name == "x" else ("y", "low", "high"))]
    negative = any(value is not None and value < 0 for column in columns for value in column)
    return {
        "title": {"text": inert(shortened(axis_title(axis))), "standoff": 10},
        "type": axis["scale"],
        # Values that are all positive get no negative stretch of axis.
        "rangemode": "normal" if negative else "nonnegative",
        "gridcolor": colours["grid"],
        "linecolor": colours["ink"],
        "showline": True,
        "zeroline": False,
        "ticks": "outside",
        "tickcolor": colours["ink"],
        "automargin": True,
        # Digits stand as they are: 12000, not 12k.
        "exponentformat": "none",
        "separatethousands": False,
    }


def _meta(one: Mapping[str, Any]) -> str:
    """Return the key by which a trace is shown or hidden."""
    return str(one["sample"]) if one["sample"] is not None else ""


def _colour(stroke: Stroke, theme: str) -> str:
    return stroke.dark if theme == "dark" else stroke.light


def _translucent(colour: str, share: float) -> str:
    red, green, blue = (int(colour[start : start + 2], 16) for start in (1, 3, 5))
    return f"rgba({red},{green},{blue},{share})"


def _rounded(values: Sequence[float | None]) -> list[float | None]:
    return [None if value is None else float(f"{value:.{_DIGITS}g}") for value in values]
