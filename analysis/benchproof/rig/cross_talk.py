"""Cross-talk of a thrust and torque stand: what one load does to the other cell, and taking it out again.

Known thrust and torque are put on, alone or together, and both cells are read: ``[T; Q] indicated = z + M [T; Q]``.
``M`` is fitted by least squares, row by row, and inverted (calibration of multi-component balances, textbook
knowledge [from memory]). A propeller pulls with some 10 N while it brakes with some 0.1 N m: one thousandth of the
thrust in newton counts as a tenth of the torque in newton metre.

A cell that has a calibration of its own keeps the gain of that calibration: its row of ``M`` is divided by its own
diagonal element, so the loading says what crosses over and nothing else. A cell without one gets its gain from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, joint_parts
from benchproof.trials.regression import fit_linear

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.rig.loads import LoadError
    from benchproof.trials.engine import Trials
    from benchproof.trials.regression import Fit

    FloatArray = NDArray[np.float64]

CHANNELS: Final = ("thrust", "torque")
_FEWEST_LOADINGS: Final = 5
"""Zero and two gains a row, and two degrees of freedom for their scatter."""


@dataclass(frozen=True, slots=True, eq=False)
class CrossTalk:
    """The cross-talk of one stand, fitted.

    Parameters
    ----------
    rig, key : str
        The rig, and ``file:date`` of the loading.
    rows : tuple of Fit
        Thrust and torque cell: zero, and what it shows per thrust and per torque.
    keeps_gain : tuple of bool
        Which cell has a calibration of its own.
    load_errors : tuple
        Errors of the applied thrusts, and of the applied torques.
    applied, shown : array, shape (n, 2)
        Applied loads and what the cells' own calibrations made of the readings: N and N m.
    """

    rig: str
    key: str
    rows: tuple[Fit, Fit]
    keeps_gain: tuple[bool, bool]
    load_errors: tuple[tuple[LoadError, ...], tuple[LoadError, ...]]
    applied: FloatArray
    shown: FloatArray

    @property
    def matrix(self) -> FloatArray:
        """``M`` as fitted, shape (2, 2): rows thrust and torque cell, columns thrust and torque."""
        return np.array([row.coefficients[1:] for row in self.rows])

    @property
    def standard_uncertainties(self) -> FloatArray:
        """Standard uncertainties of the elements of ``M``, shape (2, 2)."""
        return np.array([row.standard_uncertainties[1:] for row in self.rows])

    def residuals(self) -> FloatArray:
        """Return inverted readings less applied loads, N and N m, shape (n, 2)."""
        zero = np.array([row.coefficients[0] for row in self.rows])
        return np.asarray((self.shown - zero) @ np.linalg.inv(self.matrix).T - self.applied)

    def taken_out(
        self, values: Mapping[str, FloatArray], by_trial: Mapping[str, FloatArray], trials: Trials
    ) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
        """Return readings without cross-talk; other channels pass unchanged.

        Parameters
        ----------
        values, by_trial : Mapping of str to array
            Corrected and tared readings of ``thrust`` and ``torque`` among others, shapes (n,) and (n, trials), SI.
            The correction is linear, so tare and correction may be taken in either order.
        trials : Trials
            The laboratory's trials.
        """
        pair = np.stack([by_trial[name] for name in CHANNELS])
        best = self._inverted(self.matrix[..., None], np.stack([values[name] for name in CHANNELS])[..., None])
        true = self._inverted(self._matrix_trials(trials)[:, :, None, :], pair)
        scaled = [one * self._load_factor(k, trials) for k, one in enumerate(true)]
        corrected = dict(zip(CHANNELS, best[..., 0], strict=True))
        return {**values, **corrected}, {**by_trial, **dict(zip(CHANNELS, scaled, strict=True))}

    def parts(self, trials: Trials) -> tuple[Part, ...]:
        """Return the sources of the correction: shared by all campaigns under this loading."""
        fits = [part for k in range(2) for part in self._row_parts(k, trials)]
        return (*fits, *(part for k in range(2) for _, part in self._load_parts(k, trials)))

    def _inverted(self, matrix: FloatArray, pair: FloatArray) -> FloatArray:
        """Return ``M^-1`` times readings, with each row's own gain kept where it has a calibration."""
        (a, b), (c, d) = matrix
        if self.keeps_gain[0]:
            a, b = a / a, b / a
        if self.keeps_gain[1]:
            c, d = c / d, d / d
        thrust, torque = pair
        return np.asarray(np.stack([d * thrust - b * torque, a * torque - c * thrust]) / (a * d - b * c))

    def _matrix_trials(self, trials: Trials) -> FloatArray:
        """Return ``M`` by trial, shape (2, 2, trials)."""
        rows = []
        for k, row in enumerate(self.rows):
            root = np.linalg.cholesky(row.covariance[1:, 1:] + np.eye(2) * 1e-300)
            # Elementwise, so that the last bits do not hang on the number of numerical threads.
            one, two = (part.draws for part in self._row_parts(k, trials))
            errors = np.stack([root[0, 0] * one, root[1, 0] * one + root[1, 1] * two])
            rows.append(row.coefficients[1:, None] + errors)
        return np.stack(rows)

    def _row_parts(self, k: int, trials: Trials) -> tuple[Part, ...]:
        identity = (self.rig, "cross-talk", CHANNELS[k], f"calibration:{self.key}")
        return joint_parts(trials, identity, f"cross-talk into {CHANNELS[k]}", 2, self.rows[k].df)

    def _load_factor(self, k: int, trials: Trials) -> FloatArray:
        total = np.ones(trials.count)
        for error, part in self._load_parts(k, trials):
            total = total * error.factor(part.draws)
        return total

    def _load_parts(self, k: int, trials: Trials) -> list[tuple[LoadError, Part]]:
        """Return the errors of the applied loads where the cell's gain comes from them."""
        if self.keeps_gain[k]:
            return []
        found = []
        for error in self.load_errors[k]:
            identity = (self.rig, "cross-talk", CHANNELS[k], error.name, f"calibration:{self.key}")
            source = Source(identity, f"{error.name} of the {CHANNELS[k]} loads", error.shape)
            found.append((error, Part(source, trials.draw(source))))
        return found


def fit_cross_talk(
    applied: FloatArray,
    shown: FloatArray,
    *,
    rig: str,
    key: str,
    keeps_gain: tuple[bool, bool],
    load_errors: tuple[tuple[LoadError, ...], tuple[LoadError, ...]] = ((), ()),
) -> CrossTalk:
    """Fit the cross-talk of a stand.

    Parameters
    ----------
    applied, shown : array, shape (n, 2)
        Applied thrust and torque, and what the cells showed after their own calibrations: N and N m.
    rig, key, keeps_gain, load_errors
        As of `CrossTalk`.

    Raises
    ------
    MethodError
        If the loadings do not settle the matrix, or a cell does not answer to its own load.
    """
    if applied.shape[0] < _FEWEST_LOADINGS:
        message = f"{applied.shape[0]} loadings; load thrust alone and torque alone, {_FEWEST_LOADINGS} rows at least"
        raise MethodError(key, message)
    design = np.column_stack([np.ones(applied.shape[0]), applied])
    try:
        thrust, torque = fit_linear(design, shown[:, 0]), fit_linear(design, shown[:, 1])
    except ValueError:
        message = "thrust and torque never change apart from each other; load each of them alone as well"
        raise MethodError(key, message) from None
    for name, own in zip(CHANNELS, (thrust.coefficients[1], torque.coefficients[2]), strict=True):
        if own <= 0:
            message = f"the {name} cell does not rise with {name}; look at the sign and the order of the columns"
            raise MethodError(key, message)
    return CrossTalk(rig, key, (thrust, torque), keeps_gain, load_errors, applied, shown)
