"""Local polynomials on real time stamps.

Around a moment, rows within a half-width H are fitted by a polynomial, and a derivative of it is read in the middle.
Nothing is resampled. On uniform stamps these are the fits of Savitzky and Golay (Analytical Chemistry 36 (1964) 1627
[from memory]). Fits at many moments are made in one go, each with a window of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.intp]

GROWTH: Final = 1.5
"""Factor from one half-width to the next."""

FEWEST_SPARE: Final = 2
"""A window has at least this many rows more than its polynomial has coefficients."""

ENOUGH_ROWS: Final = 10
"""A window with this many rows shows their scatter, and the motion well enough for a first look."""

_MOST_RUNGS: Final = 20
_MOST_TOGETHER: Final = 0.8


@dataclass(frozen=True, slots=True)
class Signal:
    """Values over time, and how they are fitted.

    Parameters
    ----------
    time : FloatArray
        Stamps, s, increasing, shape (n,).
    values : FloatArray
        Shape (n,).
    degree : int
        Of the local polynomials.
    derivative : int
        Which derivative is wanted; 0 for the level.
    """

    time: FloatArray
    values: FloatArray
    degree: int
    derivative: int

    @property
    def spacing(self) -> float:
        """Usual time from one row to the next, s."""
        return float(np.median(np.diff(self.time)))


@dataclass(frozen=True, slots=True)
class Fits:
    """Local fits of a signal at some moments, one window each.

    Parameters
    ----------
    value : FloatArray
        The wanted derivative in each window's middle, shape (moments,), nan where the window has too few rows.
    before : FloatArray
        The derivative one below the wanted one (of the level: the level itself), shape (moments,).
    gain, before_gain : FloatArray
        Variances of both over that of one row, shape (moments,).
    first, size : IntArray
        First row of each window and its number of rows, 0 where they are too few, shape (moments,).
    row : FloatArray
        What each value of a window counts for, shape (moments, longest), 0 beyond the window's end.
    scatter : FloatArray
        Residual variance of the values, shape (moments,).
    together : FloatArray
        Lag-1 autocorrelation of the residuals, shape (moments,).
    """

    value: FloatArray
    before: FloatArray
    gain: FloatArray
    before_gain: FloatArray
    first: IntArray
    size: IntArray
    row: FloatArray
    scatter: FloatArray
    together: FloatArray

    def inside(self, values: FloatArray) -> FloatArray:
        """Return other values on the same stamps, window by window, shape (moments, longest); past its end any."""
        return np.asarray(values[_rows(self.first, self.row.shape[1], values.size)], dtype=np.float64)

    def of(self, values: FloatArray) -> FloatArray:
        """Return what the same fits make of other values on the same stamps, shape (moments,)."""
        return np.asarray(np.einsum("kl,kl->k", self.row, self.inside(values)), dtype=np.float64)

    def weights(self, time: FloatArray, times: int) -> FloatArray:
        """Return what each value counts for in the fits of their integral by trapezoids, taken once or twice.

        Parameters
        ----------
        time : FloatArray
            The signal's stamps, s.
        times : int
            How often the values are integrated.
        """
        weights = self.row
        steps = np.zeros((weights.shape[0], weights.shape[1] + 1))
        steps[:, 1:-1] = np.diff(self.inside(time), axis=1) / 2
        steps[np.arange(steps.shape[1]) >= self.size[:, None]] = 0.0
        later = np.zeros(steps.shape)
        for _ in range(times):
            np.cumsum(weights[:, ::-1], axis=1, out=later[:, -2::-1])
            weights = steps[:, :-1] * later[:, :-1] + steps[:, 1:] * later[:, 1:]
        return weights


def local_fits(signal: Signal, at: ArrayLike, half_width: ArrayLike) -> Fits:
    """Return the local polynomials around some moments.

    Parameters
    ----------
    signal : Signal
        What is fitted.
    at, half_width : array_like
        s, shape (moments,) or one for all; nan has no fit.
    """
    middles = np.atleast_1d(np.asarray(at, dtype=np.float64))
    half = np.broadcast_to(np.asarray(half_width, dtype=np.float64), middles.shape)
    first, size = _windows(signal, middles, half)
    longest = int(size.max(initial=1))
    rows = _rows(first, longest, signal.time.size)
    counted = np.arange(longest) < size[:, None]
    basis = _powers(
        np.where(counted, (signal.time[rows] - middles[:, None]) / half[:, None], 0.0), counted, signal.degree
    )
    normal = basis @ basis.transpose(0, 2, 1)
    normal[size == 0] = np.eye(signal.degree + 1)
    inverse = np.linalg.inv(normal)
    middle = signal.values[rows[np.arange(middles.size), size // 2]]
    values = np.where(counted, signal.values[rows] - middle[:, None], 0.0)
    coefficients = (inverse @ (basis @ values[:, :, None]))[:, :, 0]
    residuals = values - (coefficients[:, None, :] @ basis)[:, 0]
    coefficients[:, 0] += middle
    order, lower = signal.derivative, max(signal.derivative - 1, 0)
    scale, below = math.factorial(order) / half**order, math.factorial(lower) / half**lower
    total = np.einsum("kl,kl->k", residuals, residuals)
    beside = np.einsum("kl,kl->k", residuals[:, 1:], residuals[:, :-1])
    none = size == 0
    return Fits(
        value=np.where(none, np.nan, coefficients[:, order] * scale),
        before=np.where(none, np.nan, coefficients[:, lower] * below),
        gain=inverse[:, order, order] * scale**2,
        before_gain=inverse[:, lower, lower] * below**2,
        first=first,
        size=size,
        row=(inverse[:, order, None] @ basis)[:, 0] * np.where(none, 0.0, scale)[:, None],
        scatter=total / np.maximum(size - signal.degree - 1, 1),
        together=np.divide(beside, total, out=np.zeros(middles.size), where=total > 0),
    )


def rows_within(signal: Signal, at: FloatArray, half_width: FloatArray) -> tuple[IntArray, IntArray]:
    """Return the first row within a half-width of each moment, and how many there are."""
    reach = half_width * (1 + 1e-9)
    first = np.searchsorted(signal.time, at - reach)
    return first, np.searchsorted(signal.time, at + reach) - first


def _windows(signal: Signal, at: FloatArray, half_width: FloatArray) -> tuple[IntArray, IntArray]:
    """Return the first row and the number of rows of each window, none where they are too few."""
    first, size = rows_within(signal, at, half_width)
    return first, np.where(size < signal.degree + 1 + FEWEST_SPARE, 0, size)


def _rows(first: IntArray, longest: int, count: int) -> IntArray:
    """Return the rows of windows, all of one length, shape (moments, longest); past the last row, the last row."""
    return np.asarray(np.minimum(first[:, None] + np.arange(longest), count - 1), dtype=np.intp)


def _powers(x: FloatArray, counted: NDArray[np.bool_], degree: int) -> FloatArray:
    """Return the powers of x from 0 to the degree, 0 for rows that do not count, shape (moments, degree + 1, rows)."""
    basis = np.empty((x.shape[0], degree + 1, x.shape[1]))
    basis[:, 0] = counted
    for power in range(1, degree + 1):
        np.multiply(basis[:, power - 1], x, out=basis[:, power])
    return basis


def half_widths(spacing: float, longest: float, degree: int) -> FloatArray:
    """Return the half-widths to choose from, s.

    Parameters
    ----------
    spacing : float
        Usual time from row to row, s.
    longest : float
        Largest half-width that makes sense, s.
    degree : int
        Of the polynomials.
    """
    smallest = (degree + FEWEST_SPARE) / 2 * spacing
    steps = int(np.clip(math.log(max(longest / smallest, GROWTH)) / math.log(GROWTH), 1, _MOST_RUNGS))
    return np.asarray(smallest * GROWTH ** np.arange(steps + 1), dtype=np.float64)


def noise_variance(size: IntArray, scatter: FloatArray, together: FloatArray, coefficients: int) -> FloatArray:
    """Return the variance of one value around each moment, shape (moments,), from the residuals of narrow windows.

    A positive autocorrelation of the residuals widens it by (1 + r) / (1 - r), a first-order autoregressive process
    [from memory]; the fit itself makes residuals of white noise slightly negatively correlated, which is left.

    Parameters
    ----------
    size, scatter, together : array
        Of the fits, by moment and half-width, increasing, shape (moments, widths); size 0 where there is none.
    coefficients : int
        Of each fit.
    """
    narrow, known = _narrow(size)
    if not known.any():
        return np.zeros(size.shape[0])
    take = (np.arange(size.shape[0]), narrow)
    likeness = float(np.clip(np.median(together[take][known]), 0.0, _MOST_TOGETHER))
    # Of few degrees of freedom the median of a variance lies below its mean (Wilson, Hilferty 1931 [from memory]).
    found = scatter[take] / (1 - 2 / (9 * np.maximum(size[take] - coefficients, 1))) ** 3
    found = np.where(known, found, np.median(found[known]))
    reach = max(found.size // 8, 1)
    values = found.tolist()  # of so few values at a time, sorted lists give the median sooner than arrays
    smooth = [median(values[max(i - reach, 0) : i + reach + 1]) for i in range(found.size)]
    return np.array(smooth) * (1 + likeness) / (1 - likeness)


def _narrow(size: IntArray) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return each moment's narrowest window that has rows enough to show their scatter, else its widest, if any."""
    enough, any_rows = size >= ENOUGH_ROWS, size > 0
    widest = size.shape[1] - 1 - np.argmax(any_rows[:, ::-1], axis=1)
    taken = np.where(enough.any(axis=1), np.argmax(enough, axis=1), widest)
    return taken, np.asarray(any_rows.any(axis=1))
