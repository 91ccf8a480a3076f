"""Points typed into a test: one field of all its points, with the errors that all of them share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.trials.distributions import NORMAL, RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, merge_parts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.methods.bench import Bench

    FloatArray = NDArray[np.float64]

FEWEST_WITH_SCATTER: Final = 3
"""Fewer points leave a line through the origin less than two degrees of freedom: their scatter says nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Channel:
    """One field of a test's points.

    Parameters
    ----------
    values : array, shape (n,)
        Best estimates, SI.
    trials : array, shape (n, count)
        What they may have been; what differs from reading to reading is left to the scatter of the points, or in
        here where there are too few of them.
    parts : tuple of Part
        The sources in ``trials``.
    """

    values: FloatArray
    trials: FloatArray
    parts: tuple[Part, ...]

    def times(self, factor: float) -> Channel:
        """Return the channel in another measure of the same thing."""
        return Channel(self.values * factor, self.trials * factor, self.parts)


def channel(field: str, measures: str, test: Any, bench: Bench) -> Channel:
    """Return one field of a test's points.

    A value that brings its own uncertainty shares it with the field's other values: it is taken for an error that does
    not average out, since what does is counted by the scatter of the points.

    Raises
    ------
    InputError
        If the rig has no instrument for it.
    """
    written = [getattr(point, field) for point in test.points]
    rows: list[FloatArray] = []
    parts: list[tuple[Part, ...]] = []
    values: list[float] = []
    for k, each in enumerate(written):
        value, row, own = _row(each, k, field, measures, test, bench, alone=len(written) < FEWEST_WITH_SCATTER)
        values.append(value)
        rows.append(row)
        parts.append(own)
    return Channel(np.array(values), np.stack(rows), merge_parts(parts))


def _row(
    written: Any, k: int, field: str, measures: str, test: Any, bench: Bench, *, alone: bool
) -> tuple[float, FloatArray, tuple[Part, ...]]:
    """Return the value, trials and sources of one point's field."""
    if hasattr(written, "standard"):
        shape = RECTANGULAR if written.shape == "rectangular" else NORMAL
        source = Source(bench.place(test, "stated", field), f"stated uncertainty of {field}", shape)
        part = Part(source, bench.trials.draw(source))
        value = written.value.si
        return value, value + written.standard * part.draws, (part,)
    if alone:
        quantity = bench.read(measures, written, test, f"{field} {k}", field)
        return quantity.value, quantity.trials, quantity.parts
    instrument, occasion = bench.instrument(measures, test, field), bench.occasion(test)
    indicated = np.array([written.si])
    row = np.broadcast_to(instrument.true_trials(indicated, occasion, bench.trials)[0], (bench.trials.count,))
    return float(instrument.corrected(indicated)[0]), row, instrument.parts(occasion, bench.trials)
