"""Local polynomials on real time stamps, their windows chosen by the data.

Around a moment, rows within a half-width H are fitted by a polynomial, and a derivative of it is read in the middle.
Nothing is resampled. On uniform stamps these are the fits of Savitzky and Golay (Analytical Chemistry 36 (1964) 1627
[from memory]). Half-widths grow by a factor of 1.5. A wider window has less noise and more bias; what it loses by
bias shows in how far it lies from narrower ones, beyond what their noise explains, so the window with the least sum
of noise variance and squared bias is taken (Lepski's comparison in the form of Goldenshluger and Lepski, Annals of
Statistics 39 (2011) 1608 [from memory]). The comparison is averaged over repeats and over neighbouring moments,
because a window chosen by the noise of one moment alone would follow that noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.intp]

GROWTH: Final = 1.5
"""Factor from one half-width to the next: results are compared at H and H / 1.5."""

FEWEST_SPARE: Final = 2
"""A window has at least this many rows more than its polynomial has coefficients."""

NEIGHBOURS: Final = 0.7
"""Comparisons of windows are averaged over moments within this share of the half-width."""

NOISE_OF_COMPARISON: Final = 1.3
"""A comparison counts as bias only beyond this many times its noise variance: it scatters about once that variance."""

ALIKE: Final = 2
"""A moment takes the median choice of this many neighbours on either side and its own, against a choice by chance."""

LARGEST_NOISE: Final = 0.03
"""Windows whose relative noise is larger are too narrow to say anything."""

_MOST_RUNGS: Final = 20
_ENOUGH_ROWS: Final = 10
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
class Local:
    """One local fit.

    Parameters
    ----------
    value : float
        The wanted derivative in the window's middle.
    before : float
        The derivative one below the wanted one (of the level: the level itself).
    first : int
        First row of the window.
    row : FloatArray
        The value is ``row @ values[first : first + row.size]``.
    scatter : float
        Residual variance of the values.
    together : float
        Lag-1 autocorrelation of the residuals.
    """

    value: float
    before: float
    first: int
    row: FloatArray
    scatter: float
    together: float

    @property
    def gain(self) -> float:
        """Variance of the value over that of one row."""
        return float(self.row @ self.row)

    def weights(self, time: FloatArray, times: int) -> FloatArray:
        """Return what each value counts for in ``row @`` their integral by trapezoids, taken once or twice.

        Parameters
        ----------
        time : FloatArray
            The signal's stamps, s.
        times : int
            How often the values are integrated.
        """
        steps = np.diff(time[self.first : self.first + self.row.size], prepend=np.nan, append=np.nan) / 2
        steps[[0, -1]] = 0.0
        weights = self.row
        for _ in range(times):
            later = np.append(np.cumsum(weights[::-1])[::-1], 0.0)
            weights = steps[:-1] * later[:-1] + steps[1:] * later[1:]
        return np.asarray(weights)

    def of(self, values: FloatArray) -> float:
        """Return what the same fit makes of other values on the same stamps."""
        return float(self.row @ values[self.first : self.first + self.row.size])


def local_fit(signal: Signal, at: float, half_width: float) -> Local | None:
    """Return the local polynomial around a moment; None where its window has too few rows.

    Parameters
    ----------
    signal : Signal
        What is fitted.
    at, half_width : float
        s.
    """
    reach = half_width * (1 + 1e-9)
    first, stop = np.searchsorted(signal.time, (at - reach, at + reach))
    size = signal.degree + 1
    if stop - first < size + FEWEST_SPARE:
        return None
    basis = np.vander((signal.time[first:stop] - at) / half_width, size, increasing=True)
    projection = np.linalg.solve(basis.T @ basis, basis.T)
    values = signal.values[first:stop]
    middle = values[values.size // 2]
    coefficients = projection @ (values - middle)
    residuals = values - middle - basis @ coefficients
    coefficients[0] += middle
    order, lower = signal.derivative, max(signal.derivative - 1, 0)
    scale = math.factorial(order) / half_width**order
    total = float(residuals @ residuals)
    return Local(
        value=float(coefficients[order] * scale),
        before=float(coefficients[lower] * math.factorial(lower) / half_width**lower),
        first=int(first),
        row=projection[order] * scale,
        scatter=total / (values.size - size),
        together=float(residuals[1:] @ residuals[:-1]) / total if total else 0.0,
    )


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


def fits_at(signal: Signal, at: float, widths: FloatArray, start: float, stop: float) -> list[Local | None]:
    """Return the local fit for each half-width, None where the window would reach over start or stop (s)."""
    room = min(at - start, stop - at) * (1 + 1e-9)
    return [local_fit(signal, at, float(h)) if h <= room else None for h in widths]


def noise_variance(fits: Sequence[Sequence[Local | None]]) -> FloatArray:
    """Return the variance of one value around each moment, shape (moments,), from the residuals of narrow windows.

    A positive autocorrelation of the residuals widens it by (1 + r) / (1 - r), a first-order autoregressive process
    [from memory]; the fit itself makes residuals of white noise slightly negatively correlated, which is left.
    """
    narrow = [_narrow([fit for fit in row if fit is not None]) for row in fits]
    known = [fit for fit in narrow if fit is not None]
    if not known:
        return np.zeros(len(fits))
    together = float(np.clip(np.median([fit.together for fit in known]), 0.0, _MOST_TOGETHER))
    usual = float(np.median([fit.scatter for fit in known]))
    scatter = np.array([usual if fit is None else fit.scatter for fit in narrow])
    reach = max(len(fits) // 8, 1)
    smooth = [float(np.median(scatter[max(i - reach, 0) : i + reach + 1])) for i in range(scatter.size)]
    return np.array(smooth) * (1 + together) / (1 - together)


def _narrow(fits: Sequence[Local]) -> Local | None:
    """Return the narrowest fit that has rows enough to show their scatter."""
    return next((fit for fit in fits if fit.row.size >= _ENOUGH_ROWS), fits[-1] if fits else None)


@dataclass(frozen=True, slots=True)
class Choice:
    """The windows taken, by moment.

    Parameters
    ----------
    rung : IntArray
        Number of the half-width at each moment, -1 where none can be used, shape (moments,).
    value : FloatArray
        Mean over the repeats at that half-width, shape (moments,).
    variance : FloatArray
        Its noise variance, shape (moments,).
    bias : FloatArray
        Standard uncertainty for what the window's width may do, shape (moments,).
    narrower : FloatArray
        Value at H / 1.5, nan where there is none, shape (moments,).
    """

    rung: IntArray
    value: FloatArray
    variance: FloatArray
    bias: FloatArray
    narrower: FloatArray


def choose(values: FloatArray, variances: FloatArray, moments: FloatArray, widths: FloatArray) -> Choice:
    """Take the window with the least noise variance plus squared bias at each moment.

    Parameters
    ----------
    values, variances : FloatArray
        By moment and half-width, shape (moments, widths), nan where a window cannot be used.
    moments, widths : FloatArray
        s.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        usable = np.isfinite(values) & (np.sqrt(variances) <= LARGEST_NOISE * np.abs(values))
    values, variances = np.where(usable, values, np.nan), np.where(usable, variances, np.nan)
    bias, uncertain = np.zeros(values.shape), np.zeros(values.shape)
    for wide in range(widths.size):
        near = np.abs(moments[:, None] - moments[None, :]) <= NEIGHBOURS * widths[wide]
        for narrow in range(wide):
            square, noise = _compared(values, variances, near, wide, narrow)
            beyond = square - NOISE_OF_COMPARISON * noise
            bias[:, wide] = np.maximum(bias[:, wide], beyond)
            if narrow >= wide - 2:
                # With H / 1.5 the whole difference counts, noise and all: bias that noise hides is still bias.
                sure = square if narrow == wide - 1 else square - noise
                uncertain[:, wide] = np.maximum(uncertain[:, wide], sure)
    risk = np.where(usable, bias + variances, np.inf)
    rung = _steadied(risk.argmin(axis=1), usable)
    take = (np.arange(moments.size), rung)
    below = (np.arange(moments.size), np.maximum(rung - 1, 0))
    return Choice(
        rung=rung,
        value=np.where(rung >= 0, values[take], np.nan),
        variance=np.where(rung >= 0, variances[take], np.nan),
        bias=np.sqrt(uncertain[take]),
        narrower=np.where(rung > 0, values[below], np.nan),
    )


def _steadied(rung: IntArray, usable: NDArray[np.bool_]) -> IntArray:
    """Return the median of each moment's choice and its neighbours', where it can be used; -1 where nothing can."""
    steady = rung.copy()
    for k in range(rung.size):
        near = slice(max(k - ALIKE, 0), k + ALIKE + 1)
        chosen = rung[near][usable[near].any(axis=1)]
        able = np.flatnonzero(usable[k])
        steady[k] = able[np.abs(able - int(np.median(chosen))).argmin()] if able.size else -1
    return steady


def _compared(
    values: FloatArray, variances: FloatArray, near: NDArray[np.bool_], wide: int, narrow: int
) -> tuple[FloatArray, FloatArray]:
    """Return the squared difference of two windows and its noise variance, averaged over near moments.

    A least-squares estimate from more rows is the best one of its kind, so the variances of nested windows subtract.
    """
    square = (values[:, wide] - values[:, narrow]) ** 2
    noise = np.maximum(variances[:, narrow] - variances[:, wide], 0.0)
    both = np.isfinite(square)
    counted = near & both[None, :]
    count = np.maximum(counted.sum(axis=1), 1)
    return counted @ np.where(both, square, 0.0) / count, counted @ np.where(both, noise, 0.0) / count
