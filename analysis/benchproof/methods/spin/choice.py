"""Windows chosen by the data: the widest that agrees with all narrower ones, less one step.

Half-widths grow by a factor of 1.5. A wider window has less noise and more bias; what it loses by bias shows in how far
it lies from narrower ones, beyond what their noise explains, so the window with the least sum of noise variance and
squared bias is looked for (Lepski's comparison in the form of Goldenshluger and Lepski, Annals of Statistics 39 (2011)
1608 [from memory]). Comparisons are averaged over repeats and over neighbouring moments, and count as bias only
beyond what chance brings to so few of them: a window chosen by noise would be a narrow one just where its noise is
largest. One narrow window that lies off by chance speaks against every wider one at once, so the chance is that of all
comparisons of a window together (Bonferroni).

A bias that noise hides passes the comparison. The window taken is therefore one step narrower than the one found
(undersmoothing, Hall: Annals of Statistics 20 (1992) 675 [from memory]), and how far the two lie apart, beyond noise,
says what bias is left. The difference is known as a root mean square over neighbouring moments, so the bias is stated
as one too: that of the same moments around a corner, the worst a curve of torque has.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import ndtri

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.intp]

NEIGHBOURS: Final = 0.7
"""Comparisons of windows are averaged over moments within this share of the half-width to find a window."""

CLOSE: Final = 0.35
"""To say what bias is left they are averaged within this share: a corner's bias is largest at the corner."""

CHANCE: Final = 0.05
"""Comparisons of a window with all narrower ones count as bias beyond what chance lets any of them exceed so often."""

ALIKE: Final = 2
"""A moment takes the median choice of this many neighbours on either side and its own, against a choice by chance."""

LARGEST_NOISE: Final = 0.03
"""Windows whose relative noise is larger are too narrow to say anything."""

CORNER: Final = 1.14
"""Bias at H over the difference of H and 1.5 H, both root mean squares over the close moments around a corner.

Numerically for a corner without noise: 1.13 for slopes of cubics, 1.14 for curvatures of quartics, 1.10 for levels of
parabolas. At the corner itself the bias is twice the difference there. Where bias grows as H^4 it is a quarter."""


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
    wider : FloatArray
        Value at 1.5 H, nan where there is none, shape (moments,).
    """

    rung: IntArray
    value: FloatArray
    variance: FloatArray
    bias: FloatArray
    wider: FloatArray


def choose(values: FloatArray, variances: FloatArray, moments: FloatArray, widths: FloatArray) -> Choice:
    """Take a window at each moment.

    Parameters
    ----------
    values, variances : FloatArray
        By moment and half-width, shape (moments, widths), nan where a window cannot be used.
    moments, widths : FloatArray
        s, increasing.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        usable = np.isfinite(values) & (np.sqrt(variances) <= LARGEST_NOISE * np.abs(values))
    values, variances = np.where(usable, values, np.nan), np.where(usable, variances, np.nan)
    bias, apart = np.zeros(values.shape), np.full(values.shape, np.nan)
    for wide in range(1, widths.size):
        square, noise, count = _compared(values, variances, moments, widths[: wide + 1], NEIGHBOURS)
        bias[:, wide] = np.maximum(square - _by_chance(count, wide) * noise, 0.0).max(axis=1)
        pair = slice(wide - 1, wide + 1)
        square, noise, _ = _compared(values[:, pair], variances[:, pair], moments, widths[pair], CLOSE)
        apart[:, wide - 1] = np.maximum(square - noise, 0.0)[:, 0]
    found = _steadied(np.where(usable, bias + variances, np.inf).argmin(axis=1), usable)
    rung = _nearest(found - 1, usable)
    take, some = (np.arange(moments.size), rung), rung >= 0
    above = (take[0], np.minimum(rung + 1, widths.size - 1))
    wider = np.where(some & (rung + 1 < widths.size), values[above], np.nan)
    variance = np.where(some, variances[take], np.nan)
    # Where no wider window tells, its width may do as much as the noise.
    left = np.where(np.isfinite(wider), CORNER * np.sqrt(apart[take]), np.sqrt(variance))
    return Choice(rung, np.where(some, values[take], np.nan), variance, left, wider)


def _steadied(rung: IntArray, usable: NDArray[np.bool_]) -> IntArray:
    """Return the median of each moment's choice and its neighbours', as near as it can be used."""
    able = np.asarray(usable.any(axis=1))
    near = [rung[max(k - ALIKE, 0) : k + ALIKE + 1][able[max(k - ALIKE, 0) : k + ALIKE + 1]] for k in range(rung.size)]
    return _nearest(np.array([int(np.median(each)) if each.size else 0 for each in near]), usable)


def _nearest(rung: IntArray, usable: NDArray[np.bool_]) -> IntArray:
    """Return the nearest half-width that can be used at each moment, the narrower of two; -1 where none can."""
    off = np.abs(np.arange(usable.shape[1]) - rung[:, None])
    return np.where(usable.any(axis=1), np.where(usable, off, usable.size).argmin(axis=1), -1)


def _compared(
    values: FloatArray, variances: FloatArray, moments: FloatArray, widths: FloatArray, reach: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Compare the widest of some half-widths with all others, averaged over moments within a share of it.

    Returns
    -------
    tuple
        Squared difference, its noise variance, and how many independent comparisons they rest on, each shape
        (moments, widths - 1). A least-squares estimate from more rows is the best one of its kind, so the variances of
        nested windows subtract.
    """
    last = widths.size - 1
    near = (np.abs(moments[:, None] - moments[None, :]) <= reach * widths[last]).astype(np.float64)
    square = (values[:, last, None] - values[:, :last]) ** 2
    both = np.isfinite(square)
    noise = np.maximum(variances[:, :last] - variances[:, last, None], 0.0)
    count = np.maximum(near @ both, 1.0)
    # Comparisons closer than the narrower half-width share most of their rows.
    own = np.minimum(np.diff(moments, prepend=-np.inf)[:, None] / widths[:last], 1.0)
    independent = np.maximum(near @ np.where(both, own, 0.0), 1.0)
    return near @ np.where(both, square, 0.0) / count, near @ np.where(both, noise, 0.0) / count, independent


def _by_chance(count: FloatArray, comparisons: int) -> FloatArray:
    """Return what chance lets any of some means of squared standard normals exceed.

    Parameters
    ----------
    count : FloatArray
        How many squares each mean is of.
    comparisons : int
        How many means there are; each may exceed it in its share of the chance.

    Notes
    -----
    Wilson, Hilferty: Proceedings of the National Academy of Sciences 17 (1931) 684 [from memory].
    """
    part = 2 / (9 * count)
    quantile = float(ndtri(1 - CHANCE / comparisons))
    return np.asarray((1 - part + quantile * np.sqrt(part)) ** 3, dtype=np.float64)
