"""Dead time and time constant of one step: a first-order response behind a dead time, seen through a slow meter."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.trials.regression import fit_curve

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.methods.steps.run import Step, StepRun

    FloatArray = NDArray[np.float64]

SPAN: Final = 10.0
"""Time constants after the command that are fitted; what drifts later is not the response."""

TEN_TO_NINETY: Final = math.log(9.0)
"""Transition duration from 10 % to 90 % of a first-order response, in time constants (IEEE 181 [from memory])."""

_ALIKE: Final = 1e-4
_FEWEST: Final = 6


@dataclass(frozen=True, slots=True, eq=False)
class StepFit:
    """What a fit says of one step.

    Parameters
    ----------
    step : Step
        The step.
    time : array, shape (n,)
        Since the command's row, s.
    speed : array, shape (n,)
        As logged, rad/s.
    residuals : array, shape (n,)
        Logged less fitted, rad/s.
    start, change : float
        Speed before, and how far it goes, rad/s.
    dead_time, time_constant : float
        s; the dead time from the middle of the frame in which the command fell.
    own : tuple of float
        Standard uncertainties of dead time and time constant by the scatter of the rows, s.
    noise : float
        Residual standard deviation, rad/s.
    overshoot : float
        How far the speed goes beyond where it ends, as a share of the change.
    """

    step: Step
    time: FloatArray
    speed: FloatArray
    residuals: FloatArray
    start: float
    change: float
    dead_time: float
    time_constant: float
    own: tuple[float, float]
    noise: float
    overshoot: float

    @property
    def transition(self) -> float:
        """Time from 10 % to 90 % of the change, s."""
        return TEN_TO_NINETY * self.time_constant


def response(time: FloatArray, dead: float, tau: float, lag: float) -> FloatArray:
    """Return the share of a step that has been shown.

    Parameters
    ----------
    time : array, shape (n,)
        Since the command, s.
    dead, tau : float
        Dead time and time constant, s.
    lag : float
        First-order lag of the instrument, s; 0 for none.

    Returns
    -------
    array, shape (n,)
        ``1 - (tau exp(-t/tau) - lag exp(-t/lag)) / (tau - lag)`` from the end of the dead time on: two first-order lags
        in a row; ``1 - exp(-t/tau)`` for an instrument without lag.
    """
    since = np.maximum(time - dead, 0.0)
    if lag <= 0:
        return np.asarray(1 - np.exp(-since / tau), dtype=np.float64)
    # Two lags of one size have a limit of their own; a hair apart, the quotient comes as near to it as matters.
    second = lag if abs(tau - lag) > _ALIKE * tau else tau * (1 + _ALIKE)
    shown = 1 - (tau * np.exp(-since / tau) - second * np.exp(-since / second)) / (tau - second)
    return np.asarray(shown, dtype=np.float64)


def fit_step(run: StepRun, step: Step) -> StepFit:
    """Fit one step by least squares.

    Raises
    ------
    ValueError
        If too few rows follow the command, or the rows do not settle dead time and time constant.
    """
    time = run.time[step.rows] - step.command
    speed = run.speed[step.rows].astype(np.float64)
    start, end, dead, tau = _guess(time, speed, run.frame)
    kept = time <= dead + SPAN * (tau + run.lag)
    if np.count_nonzero(kept & (time > 0)) < _FEWEST:
        message = "too few rows between the command and the end of the response"
        raise ValueError(message)
    time, speed = time[kept], speed[kept]
    # A fit scales each parameter by its start, so the dead time is counted from well before the command.
    ahead = max(tau, 5 * run.frame)

    def curve(p: FloatArray, t: FloatArray) -> FloatArray:
        return np.asarray(p[0] + p[1] * response(t, p[2] - ahead, abs(p[3]), run.lag), dtype=np.float64)

    fit = fit_curve(curve, [start, end - start, dead + ahead, tau], time, speed)
    if fit.df < 2:
        message = "too few rows for a fit with its scatter"
        raise ValueError(message)
    u = fit.standard_uncertainties
    change = float(fit.coefficients[1])
    return StepFit(
        step=step,
        time=time,
        speed=speed,
        residuals=fit.residuals,
        start=float(fit.coefficients[0]),
        change=change,
        # The command fell between the last row with the old one and the first with the new: half a frame on the mean.
        dead_time=float(fit.coefficients[2]) - ahead + run.frame / 2,
        time_constant=abs(float(fit.coefficients[3])),
        own=(float(u[2]), float(u[3])),
        noise=fit.residual_sd,
        overshoot=_overshoot(run.speed[step.after : step.rows.stop], change),
    )


def _guess(time: FloatArray, speed: FloatArray, frame: float) -> tuple[float, float, float, float]:
    """Return start, end, dead time and time constant by the times at which 28 % and 63 % are reached.

    Two-point identification of a first-order response behind a dead time: 1.5 times what lies between them is the time
    constant (Astrom and Hagglund [from memory]).
    """
    after = time >= 0
    last = max(int(np.count_nonzero(after)) // 3, 1)
    start, end = float(np.median(speed[~after])), float(np.median(speed[after][-last:]))
    if start == end:
        message = "the speed does not answer to the command"
        raise ValueError(message)
    share = (speed[after] - start) / (end - start)
    since = time[after]
    early, late = (float(since[np.argmax(share >= level)]) for level in (0.283, 0.632))
    tau = max(1.5 * (late - early), frame / 2)
    return start, end, max(late - tau, 0.0), tau


def _overshoot(speed: FloatArray, change: float) -> float:
    """Return how far the speed goes beyond where it ends, of the change; a median of five rows takes the noise out."""
    rows = np.lib.stride_tricks.sliding_window_view(speed, min(5, speed.size))
    smooth = np.median(rows, axis=1)
    end = float(np.median(speed[-max(speed.size // 3, 1) :]))
    beyond = float(smooth.max() - end) if change > 0 else float(end - smooth.min())
    return max(beyond, 0.0) / abs(change) if change else 0.0
