"""Local fits of a run at many moments and half-widths, and the windows its group takes together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.spin.local import choose, fits_at, noise_variance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from benchproof.methods.spin.local import Choice, Local, Signal
    from benchproof.methods.spin.motion import Motion

    FloatArray = NDArray[np.float64]

_LEAST_EIGENVALUE: Final = 1e-4


@dataclass(frozen=True, slots=True)
class Windows:
    """Local fits of one run, by moment and half-width.

    Parameters
    ----------
    signal : Signal
        What was fitted.
    fits : list of list
        The fits; None where a window cannot be used.
    values, variances : FloatArray
        Their values over the electrical shape, and their noise variances, shape (moments, widths), nan without a fit.
    noise : FloatArray
        Variance of one value of the signal around each moment, shape (moments,).
    shape : FloatArray
        Electrical shape on the signal's stamps, not integrated.
    power_noise : FloatArray
        Relative standard deviation of one reading of power around each moment, shape (moments,); empty without power.
    """

    signal: Signal
    fits: list[list[Local | None]]
    values: FloatArray
    variances: FloatArray
    noise: FloatArray
    shape: FloatArray
    power_noise: FloatArray

    def taken(self, rungs: NDArray[np.intp]) -> FloatArray:
        """Return the values at chosen half-widths, nan where none is chosen, shape (moments,)."""
        return np.where(rungs >= 0, self.values[np.arange(rungs.size), rungs], np.nan)

    def factor(self, rungs: NDArray[np.intp]) -> FloatArray:
        """Return F, shape (moments, m): ``F @ z`` with standard z has the covariance of the fits' relative noise.

        Parameters
        ----------
        rungs : NDArray of int
            Number of the half-width at each moment, -1 for none, shape (moments,).
        """
        size = self.signal.time.size
        rows = np.zeros((rungs.size, 2 * size))
        for k, rung in enumerate(rungs):
            fit = self.fits[k][rung] if rung >= 0 else None
            if fit is not None:
                stop = fit.first + fit.row.size
                rows[k, fit.first : stop] = fit.row * np.sqrt(self.noise[k]) / fit.value
                rows[k, size + fit.first : size + stop] = self.shape_rows(k, fit)
        eigenvalues, vectors = np.linalg.eigh(rows @ rows.T)
        kept = eigenvalues > eigenvalues[-1] * _LEAST_EIGENVALUE
        return np.asarray(vectors[:, kept] * np.sqrt(eigenvalues[kept]), dtype=np.float64)

    def shape_rows(self, moment: int, fit: Local) -> FloatArray:
        """Return what the relative noise of power brings to a fit over its electrical shape, by row."""
        if not self.power_noise.size:
            return np.zeros(fit.row.size)
        shape = self.shape[fit.first : fit.first + fit.row.size]
        weights = fit.weights(self.signal.time, self.signal.derivative) * shape
        return np.asarray(weights / weights.sum() * self.power_noise[moment])


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
    fits: list[list[Local | None]] = [
        [None] * widths.size if not np.isfinite(at) else fits_at(signal, float(at), widths, motion.start, motion.stop)
        for at in moments
    ]
    blank = np.full((moments.size, widths.size), np.nan)
    noise = noise_variance(fits)
    windows = Windows(signal, fits, blank, blank.copy(), noise, motion.shape, power_noise)
    for k, row in enumerate(fits):
        for j, fit in enumerate(row):
            if fit is not None:
                over = fit.of(motion.integral) if signal.derivative else 1.0
                windows.values[k, j] = fit.value / over
                of_power = float((windows.shape_rows(k, fit) ** 2).sum()) if signal.derivative else 0.0
                windows.variances[k, j] = fit.gain * noise[k] / over**2 + of_power * windows.values[k, j] ** 2
    return windows


def chosen_together(windows: Sequence[Windows], moments: FloatArray, widths: FloatArray) -> Choice:
    """Choose windows on the mean of the runs, so that all use the same ones."""
    values = np.mean([window.values for window in windows], axis=0)
    variances = np.sum([window.variances for window in windows], axis=0) / len(windows) ** 2
    return choose(values, variances, np.nan_to_num(moments, nan=-1e9), widths)
