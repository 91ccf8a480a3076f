"""The frame of a still: scales, ticks and the few shapes of SVG that charts are made of.

Lengths are in SVG's pixels. Numbers are rounded to tenths of one, so that the same data give the same bytes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final, TypeVar
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    Points = Sequence[tuple[float, float]]

Place = TypeVar("Place", bound="tuple[float, ...]")

LETTER: Final = 12.5
"""Height of letters."""

INK: Final = "#33383d"
FAINT: Final = "#d9d6cd"
_FONT: Final = "system-ui, 'Segoe UI', Roboto, 'Liberation Sans', 'DejaVu Sans', Arial, sans-serif"
_WIDTH_OF_LETTER: Final = 0.56
"""Width over height of the average letter, on the wide side of common fonts."""

_ROOM: Final = 0.04
"""Share of an axis left free at either end."""

_TICKS: Final = 6


@dataclass(frozen=True, slots=True)
class Scale:
    """From values to pixels along one axis.

    Parameters
    ----------
    low, high : float
        Ends of the axis.
    start, stop : float
        Their pixels.
    bend : callable
        What the axis is linear in: the value itself, its logarithm.
    """

    low: float
    high: float
    start: float
    stop: float
    bend: Callable[[float], float]

    def __call__(self, value: float) -> float:
        """Return the pixel of a value."""
        low, high = self.bend(self.low), self.bend(self.high)
        return self.start + (self.bend(value) - low) / (high - low) * (self.stop - self.start)


def limits(values: Iterable[float], *, logarithmic: bool = False) -> tuple[float, float]:
    """Return the ends of an axis with some room beside the data; never below zero where no value is.

    A logarithmic axis holds positive values only; without any it goes from 1 to 10.
    """
    found = [value for value in values if math.isfinite(value) and (value > 0 or not logarithmic)]
    if not found:
        return (1.0, 10.0) if logarithmic else (0.0, 1.0)
    low, high = min(found), max(found)
    if logarithmic:
        factor = (high / low) ** _ROOM if high > low else 1.1
        return low / factor, high * factor
    room = _ROOM * (high - low) or 0.05 * abs(high) or 0.5
    return max(low - room, 0.0) if low >= 0 else low - room, high + room


def ticks(low: float, high: float, *, logarithmic: bool = False) -> list[tuple[float, str]]:
    """Return the values an axis is marked at, round numbers, each with its words."""
    decades = math.log10(high / low) if logarithmic else 0.0
    if decades < 1:
        return _even(low, high)
    parts = (1.0,) if decades > _TICKS / 2 else (1.0, 2.0, 5.0)
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    marks = [part * 10.0**power for power in powers for part in parts]
    return [(mark, f"{mark:g}") for mark in marks if low <= mark <= high]


def _even(low: float, high: float) -> list[tuple[float, str]]:
    rough = (high - low) / _TICKS
    decade = 10.0 ** math.floor(math.log10(rough))
    step = decade * next(part for part in (1, 2, 5, 10) if part * decade >= rough * (1 - 1e-9))
    digits = max(-math.floor(math.log10(step)), 0)
    marks = [k * step for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]
    return [(mark, f"{mark:.{digits}f}".replace("-", "−")) for mark in marks]


def width_of(text: str, height: float = LETTER) -> float:
    """Return about how wide a line of text is."""
    return _WIDTH_OF_LETTER * height * len(text)


def document(width: float, height: float, title: str, shapes: Iterable[str]) -> str:
    """Return an SVG document on white ground."""
    size = f'width="{width:g}" height="{height:g}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" {size}>'
    ground = f'<rect {size} fill="#ffffff"/>'
    body = "\n".join(shapes)
    group = f'<g font-family="{_FONT}" font-size="{LETTER:g}" fill="{INK}">'
    return f"{head}\n<title>{escape(title)}</title>\n{ground}\n{group}\n{body}\n</g>\n</svg>\n"


def line(x1: float, y1: float, x2: float, y2: float, colour: str = FAINT, width: float = 0.8) -> str:
    """Return a straight line."""
    return f'<path d="M{_xy(x1, y1)}L{_xy(x2, y2)}" stroke="{colour}" stroke-width="{width:g}"/>'


def words(x: float, y: float, text: str, anchor: str = "middle", *, upwards: bool = False, size: float = LETTER) -> str:
    """Return a line of text; ``upwards`` turns it to read along an upright axis."""
    turned = f' transform="rotate(-90 {_xy(x, y)})"' if upwards else ""
    small = f' font-size="{size:g}"' if size != LETTER else ""
    place = f'x="{_n(x)}" y="{_n(y)}"'
    return f'<text {place} text-anchor="{anchor}"{small}{turned}>{escape(text)}</text>'


def curve(points: Points, colour: str, dash: str = "", width: float = 2.0) -> str:
    """Return a curve; it is broken where a point has no number."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    path = "".join(f"M{_path(piece)}" for piece in pieces(points))
    return f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}"{dashed}/>' if path else ""


def band(lower: Points, upper: Points, colour: str) -> str:
    """Return the area between two curves over the same places, shape by shape where they are broken."""
    both = [(*low, high[1]) for low, high in zip(lower, upper, strict=True)]
    path = "".join(
        f"M{_path([(x, high) for x, _, high in piece])}L{_path([(x, low) for x, low, _ in reversed(piece)])}Z"
        for piece in pieces(both)
    )
    return f'<path d="{path}" fill="{colour}" fill-opacity="0.2"/>' if path else ""


def marks(points: Points, sign: str, colour: str, size: float = 2.6) -> str:
    """Return a sign at every point, an outline: circle, square, triangle-up, diamond, triangle-down or x."""
    shape = _SIGNS[sign]
    path = "".join(shape(x, y, size) for x, y in points if math.isfinite(x) and math.isfinite(y))
    return f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="1.2"/>' if path else ""


def pieces(points: Iterable[Place]) -> Iterator[list[Place]]:
    """Yield the stretches of points that are numbers."""
    piece: list[Place] = []
    for point in points:
        if all(map(math.isfinite, point)):
            piece.append(point)
        elif piece:
            yield piece
            piece = []
    if piece:
        yield piece


def _circle(x: float, y: float, r: float) -> str:
    arc = f"a{r:g} {r:g} 0 1 0 "
    return f"M{_xy(x - r, y)}{arc}{2 * r:g} 0{arc}{-2 * r:g} 0"


def _polygon(*corners: tuple[float, float]) -> Callable[[float, float, float], str]:
    def drawn(x: float, y: float, r: float) -> str:
        return f"M{_path([(x + r * dx, y + r * dy) for dx, dy in corners])}Z"

    return drawn


def _cross(x: float, y: float, r: float) -> str:
    return f"M{_xy(x - r, y - r)}L{_xy(x + r, y + r)}M{_xy(x - r, y + r)}L{_xy(x + r, y - r)}"


_SIGNS: Final[dict[str, Callable[[float, float, float], str]]] = {
    "circle": _circle,
    "square": _polygon((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)),
    "triangle-up": _polygon((0, -1.2), (1.1, 0.9), (-1.1, 0.9)),
    "diamond": _polygon((0, -1.3), (1.3, 0), (0, 1.3), (-1.3, 0)),
    "triangle-down": _polygon((0, 1.2), (1.1, -0.9), (-1.1, -0.9)),
    "x": _cross,
}


def _path(points: Points) -> str:
    """Return a path through points, those left out that fall on the pixel before them."""
    placed = [_xy(x, y) for x, y in points]
    return "L".join([placed[0], *(after for before, after in pairwise(placed) if after != before)])


def _xy(x: float, y: float) -> str:
    return f"{_n(x)} {_n(y)}"


def _n(value: float) -> str:
    """Return a length to a tenth, without needless zeros."""
    text = f"{value:.1f}".removesuffix(".0")
    return text if text != "-0" else "0"
