"""How a lab's logger writes what the instruments show: columns, units, decimals, commas, and what goes wrong.

A layout is the mapping a rig file holds under ``logs``; a style is what a layout need not say.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.instruments import SI_PER_UNIT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

DECIMALS = {
    "ms": 0,
    "us": 0,
    "s": 3,
    "%": 1,
    "gf": 1,
    "N": 3,
    "N*m": 5,
    "V": 3,
    "A": 2,
    "rpm": 0,
    "degC": 2,
    "m/s**2": 3,
    "1": 0,
}


@dataclass(frozen=True, slots=True)
class Style:
    """The habits of one logger.

    Parameters
    ----------
    delimiter, decimal : str
        Between cells, and inside a number.
    mark : bool
        Whether the file starts with a byte-order mark.
    comments : tuple of str
        Lines before the header.
    steps : mapping
        Column to the step in which the logger counts it, such as 100 electrical rpm.
    decimals : mapping
        Column to decimals, where they differ from those of its unit.
    """

    delimiter: str = ","
    decimal: str = "."
    mark: bool = False
    comments: tuple[str, ...] = ()
    steps: Mapping[str, float] = field(default_factory=dict)
    decimals: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that goes wrong while logging.

    ``stuck``: a channel repeats its value between two times. ``gap``: rows are lost between them.
    ``stamp``: the row after ``start`` carries its predecessor's time.
    """

    kind: str
    start: float
    stop: float = 0.0
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Recording:
    """A log as recorded.

    Parameters
    ----------
    channels : mapping of str to ndarray, shape (n,)
        Our channel names to what the file's figures mean in SI, all rounding done (temperatures in degC, speed that of
        the shaft).
    columns : mapping of str to ndarray, shape (n,)
        The lab's column names to the figures as written.
    style : Style
        How `text` writes them.
    formats : tuple of str
        One a column.
    """

    channels: Mapping[str, Floats]
    columns: Mapping[str, Floats]
    style: Style
    formats: tuple[str, ...]

    def text(self) -> str:
        """Return the file's content; the caller encodes it as UTF-8."""
        row = self.style.delimiter.join(self.formats)
        body = "\n".join([row % cells for cells in zip(*(c.tolist() for c in self.columns.values()), strict=True)])
        if self.style.decimal != ".":
            body = body.replace(".", self.style.decimal)
        head = [*self.style.comments, self.style.delimiter.join(self.columns)]
        return ("\ufeff" if self.style.mark else "") + "\n".join([*head, body]) + "\n"


def record(
    shown: Mapping[str, Floats],
    layout: Mapping[str, Mapping[str, Any]],
    style: Style,
    *,
    pole_pairs: int,
    faults: tuple[Fault, ...] = (),
) -> Recording:
    """Return the log that a logger makes of what the instruments show.

    Parameters
    ----------
    shown : mapping of str to ndarray, shape (n,)
        Channel to indicated values [SI].
    layout : mapping
        Channel to its column, unit and divisor, as in a rig file.
    style : Style
        The logger's habits.
    pole_pairs : int
        What a column with ``divide_by: pole_pairs`` is larger by.
    faults : tuple of Fault
        What goes wrong.
    """
    time = shown["time"]
    kept = np.ones(time.shape, bool)
    for fault in faults:
        if fault.kind == "gap":
            kept &= (time < fault.start) | (time >= fault.stop)
    channels, columns, formats = {}, {}, []
    for channel, entry in layout.items():
        per = _per_figure(entry, pole_pairs)
        figures = _stuck(shown[channel], time, channel, faults)[kept] / per
        column = entry["column"]
        if column in style.steps:
            figures = np.round(figures / style.steps[column]) * style.steps[column]
        digits = style.decimals.get(column, DECIMALS[entry["unit"]])
        figures = np.round(figures, digits) + 0.0  # no minus before a zero
        if channel == "time":
            figures = _stamps(figures, time[kept], faults)
        columns[column], channels[channel] = figures, figures * per
        formats.append(f"%.{digits}f")
    return Recording(channels, columns, style, tuple(formats))


def _per_figure(entry: Mapping[str, Any], pole_pairs: int) -> float:
    """SI value of one in a column."""
    divisor = entry.get("divide_by", 1)
    return SI_PER_UNIT[entry["unit"]] / (pole_pairs if divisor == "pole_pairs" else float(divisor))


def _stuck(values: Floats, time: Floats, channel: str, faults: tuple[Fault, ...]) -> Floats:
    for fault in faults:
        if fault.kind == "stuck" and fault.channel == channel:
            first, last = np.searchsorted(time, (fault.start, fault.stop))
            values = values.copy()
            values[first:last] = values[first]
    return values


def _stamps(figures: Floats, time: Floats, faults: tuple[Fault, ...]) -> Floats:
    for fault in faults:
        if fault.kind == "stamp":
            at = int(np.searchsorted(time, fault.start))
            figures[at + 1] = figures[at]
    return figures
