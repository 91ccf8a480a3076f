"""Coast-downs: the deceleration of a shaft left to itself, as a smooth law of its speed.

With ``dw/dt = -(a0 + a1 w + a2 w^2)`` the speed is linear in its own integrals, ``w = w0 - a0 t - a1 int w dt - a2
int w^2 dt``, so the law follows from a linear fit to the whole run on its real time stamps, without a derivative of
noisy speeds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import MethodError
from benchproof.methods.spin.marks import count_turns, mark_rows
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from benchproof.rig.instrument import Instrument, Occasion
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

SLOWEST: Final = 0.1
"""Below this share of its first speed a coast-down is not used: bearings stick, and few machines work there."""

FEWEST_ROWS: Final = 12
_MOST_TOGETHER: Final = 0.8


@dataclass(frozen=True, slots=True)
class CoastRun:
    """One log of a coast-down.

    Parameters
    ----------
    sample : str
        The sample.
    flywheel : str or None
        Its name on this rig; None for the bare rotor.
    shorted : bool
        Whether the windings were shorted, so that they braked the shaft.
    time : FloatArray
        s, shape (n,).
    channels : Mapping of str to FloatArray
        ``speed`` (rad/s) or ``once_per_turn``, and ``throttle`` where logged, each shape (n,).
    instrument : Instrument or None
        Of the speed; None for marks.
    lag : float
        Of the speed, s.
    occasion : Occasion
        Rig, campaign, run, date.
    """

    sample: str
    flywheel: str | None
    shorted: bool
    time: FloatArray
    channels: Mapping[str, FloatArray]
    instrument: Instrument | None
    lag: float
    occasion: Occasion


@dataclass(frozen=True, slots=True)
class Deceleration:
    """The deceleration of one coast-down as a law of speed.

    Parameters
    ----------
    run : CoastRun
        The log.
    time, speed : FloatArray
        What was fitted, s and rad/s, shape (n,).
    coefficients, covariance : FloatArray
        Of ``a0 + a1 x + a2 x^2`` with ``x = w / scale``, shapes (3,) and (3, 3).
    scale : float
        rad/s.
    """

    run: CoastRun
    time: FloatArray
    speed: FloatArray
    coefficients: FloatArray
    covariance: FloatArray
    scale: float

    @property
    def range(self) -> tuple[float, float]:
        """Return the speeds between which it was measured, rad/s."""
        return float(self.speed.min()), float(self.speed.max())

    def at(self, speed: FloatArray) -> FloatArray:
        """Return the deceleration at some speeds, rad/s2."""
        return np.asarray(self.basis(speed) @ self.coefficients, dtype=np.float64)

    def trials(self, speed: FloatArray, trials: Trials) -> FloatArray:
        """Return the deceleration by trial, shape (speeds, trials): the fit's own error, and the tachometer's."""
        return np.asarray(self.basis(speed) @ self.coefficients_by_trial(trials), dtype=np.float64)

    def coefficients_by_trial(self, trials: Trials) -> FloatArray:
        """Return the law's coefficients by trial, shape (3, trials)."""
        root = np.linalg.cholesky(self.covariance + 1e-300 * np.eye(3))
        draws = np.stack([part.draws for part in self._fit_parts(trials)])
        best = self.coefficients[:, None] + root @ draws
        if self.run.instrument is None:
            return np.asarray(best)
        return np.asarray(best * speed_gain(self.run.instrument, self.scale / 2, self.run.occasion, trials))

    def parts(self, trials: Trials) -> tuple[Part, ...]:
        """Return the sources in :meth:`trials`."""
        own = () if self.run.instrument is None else self.run.instrument.parts(self.run.occasion, trials)
        return (*self._fit_parts(trials), *own)

    def basis(self, speed: FloatArray) -> FloatArray:
        """Return what the law's coefficients are multiplied with at some speeds, shape (speeds, 3)."""
        return np.vander(np.atleast_1d(speed) / self.scale, 3, increasing=True)

    def _fit_parts(self, trials: Trials) -> tuple[Part, ...]:
        identity = (self.run.occasion.campaign, self.run.occasion.run, "coast-down")
        label = f"scatter of the coast-down, {self.run.occasion.run}"
        sources = [Source((*identity, str(k)), label, NORMAL) for k in range(3)]
        return tuple(Part(source, trials.draw(source)) for source in sources)


def speed_gain(instrument: Instrument, speed: float, occasion: Occasion, trials: Trials) -> FloatArray:
    """Return true over indicated change of speed by trial, shape (trials,), near a speed (rad/s)."""
    ends = np.array([0.5 * speed, speed])
    true, best = instrument.true_trials(ends, occasion, trials), instrument.corrected(ends)
    return np.asarray((true[1] - true[0]) / (best[1] - best[0]), dtype=np.float64)


def deceleration_of(run: CoastRun) -> Deceleration:
    """Return the law of a coast-down's deceleration.

    Raises
    ------
    MethodError
        If the log has too few rows, or the shaft does not slow down over the whole range.
    """
    time, speed = _coasting(run)
    where = run.occasion.run
    if time.size < FEWEST_ROWS:
        message = f"{time.size} rows of slowing down; log at least {FEWEST_ROWS}, or exclude the run"
        raise MethodError(where, message)
    scale = float(speed.max())
    x = speed / scale
    seconds = time - time[0]
    design = np.column_stack([np.ones(time.size), -seconds, -_integral(time, x), -_integral(time, x**2)])
    solution, *_ = np.linalg.lstsq(design, speed, rcond=None)
    residuals = speed - design @ solution
    inverse = np.linalg.inv(design.T @ design)
    covariance = inverse[1:, 1:] * _variance(residuals, 4)
    found = Deceleration(run, time, speed, solution[1:], covariance, scale)
    if np.any(found.at(np.linspace(*found.range, 20)) <= 0):
        message = "the shaft does not slow down over the whole run; was the drive still on? Cut the log, or exclude it"
        raise MethodError(where, message)
    return found


def _coasting(run: CoastRun) -> tuple[FloatArray, FloatArray]:
    """Return stamps and speeds from the fastest row on, down to the slowest that counts."""
    if run.instrument is not None:
        time, speed = run.time - run.lag, run.instrument.corrected(run.channels["speed"])
    else:
        turns = count_turns(run.time, mark_rows(run.channels["once_per_turn"]))
        marks = run.time[turns.rows]
        time, speed = (marks[1:] + marks[:-1]) / 2, np.diff(turns.angle) / np.diff(marks)
    first = int(speed.argmax())
    slow = np.flatnonzero(speed[first:] < SLOWEST * speed[first])
    last = first + int(slow[0]) if slow.size else speed.size
    return time[first:last], speed[first:last]


def _integral(time: FloatArray, values: FloatArray) -> FloatArray:
    steps = np.diff(time) * (values[1:] + values[:-1]) / 2
    return np.concatenate([[0.0], np.cumsum(steps)])


def _variance(residuals: FloatArray, parameters: int) -> float:
    """Return the variance of one row, widened for rows whose errors hang together (first-order process)."""
    total = float(residuals @ residuals)
    if not total:
        return 0.0
    together = float(np.clip(residuals[1:] @ residuals[:-1] / total, 0.0, _MOST_TOGETHER))
    return total / (residuals.size - parameters) * (1 + together) / (1 - together)
