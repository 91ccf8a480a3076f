"""Local fits of a run at many moments and half-widths, and the windows its group takes together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from benchproof.methods.spin.choice import choose
from benchproof.methods.spin.local import local_fits, noise_variance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from benchproof.methods.spin.choice import Choice
    from benchproof.methods.spin.local import Fits, Signal
    from benchproof.methods.spin.motion import Motion

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Windows:
    """Local fits of one run, by moment and half-width.

    Parameters
    ----------
    signal : Signal
        What was fitted.
    places : tuple of IntArray
        For each half-width, the moments at which it has room.
    fits : tuple of Fits
        For each half-width, the fits at those moments.
    values, variances : FloatArray
        Their values over the electrical shape, and their noise variances, shape (moments, widths), nan without a fit.
    noise : FloatArray
        Variance of one value of the signal around each moment, shape (moments,).
    power_rows : tuple of FloatArray
        For each half-width, what the relative noise of power brings to each fit, by row; empty without power.
    """

    signal: Signal
    places: tuple[IntArray, ...]
    fits: tuple[Fits, ...]
    values: FloatArray
    variances: FloatArray
    noise: FloatArray
    power_rows: tuple[FloatArray, ...]

    def taken(self, rungs: IntArray) -> FloatArray:
        """Return the values at chosen half-widths, nan where none is chosen, shape (moments,)."""
        return np.where(rungs >= 0, self.values[np.arange(rungs.size), rungs], np.nan)

    def rows(self, rungs: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return what the noise of each row does to the fits at chosen half-widths, relative, in standard deviations.

        Parameters
        ----------
        rungs : IntArray
            Number of the half-width at each moment, -1 for none, shape (moments,).

        Returns
        -------
        tuple
            For the noise of the signal's own values, and for that of power in the electrical shape, each shape
            (moments, n), 0 where none is chosen; of power, the sign is that of the shape's integral.
        """
        own, shape = np.zeros((2, rungs.size, self.signal.time.size))
        for k in np.flatnonzero(rungs >= 0):
            at, fits = int(np.searchsorted(self.places[rungs[k]], k)), self.fits[rungs[k]]
            size, first = int(fits.size[at]), int(fits.first[at])
            if not size:
                continue
            inside = slice(first, first + size)
            own[k, inside] = fits.row[at, :size] * (np.sqrt(self.noise[k]) / fits.value[at])
            if self.power_rows:
                shape[k, inside] = self.power_rows[rungs[k]][at, :size]
        return own, shape


def windows_of(
    motion: Motion, signal: Signal, moments: FloatArray, widths: FloatArray, power_noise: FloatArray
) -> Windows:
    """Return the local fits of a run's signal at some moments (s), none reaching over the run's ends.

    Parameters
    ----------
    motion : Motion
        The run.
    signal : Signal
        Its motion or its power.
    moments, widths : FloatArray
        s.
    power_noise : FloatArray
        Relative standard deviation of one reading of power around each moment; empty where it has no part.
    """
    room = np.minimum(moments - motion.start, motion.stop - moments) * (1 + 1e-9)
    places = tuple(np.flatnonzero(width <= room) for width in widths)
    fits = tuple(local_fits(signal, moments[at], width) for at, width in zip(places, widths, strict=True))
    noise = noise_variance(
        _by_width([each.size for each in fits], places, moments.size, 0),
        _by_width([each.scatter for each in fits], places, moments.size, np.nan),
        _by_width([each.together for each in fits], places, moments.size, np.nan),
        signal.degree + 1,
    )
    values, variances, power_rows = [], [], []
    for at, each in zip(places, fits, strict=True):
        over = each.of(motion.integral) if signal.derivative else np.ones(at.size)
        with np.errstate(divide="ignore", invalid="ignore"):
            values.append(each.value / over)
            variances.append(each.gain * noise[at] / over**2)
        if power_noise.size:
            power_rows.append(_power_rows(signal, motion.shape, each, power_noise[at]))
            variances[-1] = variances[-1] + np.einsum("kl,kl->k", power_rows[-1], power_rows[-1]) * values[-1] ** 2
    return Windows(
        signal=signal,
        places=places,
        fits=fits,
        values=_by_width(values, places, moments.size, np.nan),
        variances=_by_width(variances, places, moments.size, np.nan),
        noise=noise,
        power_rows=tuple(power_rows),
    )


def _power_rows(signal: Signal, shape: FloatArray, fits: Fits, power_noise: FloatArray) -> FloatArray:
    """Return what the relative noise of power brings to fits over their electrical shape, by row."""
    weights = fits.weights(signal.time, signal.derivative) * fits.inside(shape)
    total = weights.sum(axis=1)
    total[fits.size == 0] = 1.0
    return np.asarray(weights * (power_noise / total)[:, None], dtype=np.float64)


def _by_width(columns: Sequence[NDArray[Any]], places: Sequence[IntArray], count: int, fill: float) -> NDArray[Any]:
    """Return columns known at some of the moments as one array, shape (count, widths)."""
    whole = np.full((count, len(columns)), fill)
    for k, (column, at) in enumerate(zip(columns, places, strict=True)):
        whole[at, k] = column
    return whole


def chosen_together(windows: Sequence[Windows], moments: FloatArray, widths: FloatArray) -> Choice:
    """Choose windows on the mean of the runs, so that all use the same ones."""
    values = np.mean([window.values for window in windows], axis=0)
    variances = np.sum([window.variances for window in windows], axis=0) / len(windows) ** 2
    return choose(values, variances, np.nan_to_num(moments, nan=-1e9), widths)
