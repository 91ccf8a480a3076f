"""Heating of a winding by two thermal nodes, driven by the losses as they were.

``rise = R_1 (P * h_1) + R_2 (P * h_2)`` with ``h = exp(-t/tau) / tau``: winding against body, body against air. For a
constant loss it is ``P (R_1 (1 - exp(-t/tau_1)) + R_2 (1 - exp(-t/tau_2)))``; but copper's loss grows as it warms, so
the losses of every moment are what is filtered. A delay of its own stands for where between two rows the load began,
and for the thermometer's lag.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache, reduce
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import special
from scipy.signal import lfilter

from benchproof.trials.regression import added_terms, fit_curve, fit_nearby
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.methods.soak.run import Binned
    from benchproof.trials.regression import Fit, Model

    FloatArray = NDArray[np.float64]

TRIED: Final = 24
"""Time constants a fit is started from."""

STRETCHES: Final = 24
"""Stretches over which residuals are averaged to see whether they wave."""

WAVES: Final = 0.01
"""Means of residuals that chance would give this rarely wave."""

TWO_NODES: Final = 0.01
"""A second node counts if chance would give so large a gain this rarely."""

AHEAD: Final = 20
"""Stretches before the load that the delay is counted from: a fit scales each parameter by its start."""

FELT: Final = 32
"""Losses as nodes of so many time constants feel them are kept while a fit moves its other coefficients."""

_PROBE: Final = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Thermal nodes fitted to a soak.

    Parameters
    ----------
    fit : Fit
        Coefficients R (K/W) and tau (s) of each node in turn, fast first; then the delay (s, from AHEAD stretches
        before the load).
    fitted : array, shape (n,)
        Rise of the winding over the air, K.
    wave : float
        Variance of the residuals' means over stretches, over what white residuals would give.
    waving : bool
        Whether chance does not explain that.
    swing : float
        Largest mean of residuals over a stretch, K.
    """

    fit: Fit
    fitted: FloatArray
    wave: float
    waving: bool
    swing: float

    @property
    def count(self) -> int:
        """Number of nodes."""
        return (self.fit.coefficients.size - 1) // 2

    @property
    def resistances(self) -> FloatArray:
        """K/W, fast node first."""
        return self.fit.coefficients[:-1:2]

    @property
    def times(self) -> FloatArray:
        """Time constants, s, fast node first."""
        return self.fit.coefficients[1::2]

    @property
    def slow(self) -> float:
        """Time constant of the slow node, s."""
        return float(self.times[-1])

    @property
    def covariance(self) -> FloatArray:
        """Covariance of the coefficients, widened where residuals hang together."""
        return np.asarray(self.fit.covariance * (self.wave if self.waving else 1.0), dtype=np.float64)


def filtered(loss: FloatArray, step: float, tau: float) -> FloatArray:
    """Return a loss as a node of a time constant feels it, W, shape (n,); it begins cold."""
    keep = np.exp(-step / tau)
    # Means over a stretch: half of what comes in during the stretch counts.
    inside = 1 - (1 - keep) * tau / step
    state = lfilter([1 - keep], [1, -keep], loss)
    before = np.concatenate([[0.0], state[:-1]])
    return np.asarray(before + (loss - before) * inside, dtype=np.float64)


def rise(coefficients: FloatArray, loss: FloatArray, step: float) -> FloatArray:
    """Return the rise of a winding over the air, K, shape (n,).

    Parameters
    ----------
    coefficients : array, shape (2 nodes + 1,)
        R (K/W) and tau (s) of each node in turn, then the delay as `Nodes.fit` has it.
    loss : array, shape (n,)
        Mean over each stretch, W.
    step : float
        Length of a stretch, s.
    """
    return _heated(loss, step)(np.asarray(coefficients, dtype=np.float64), loss)


def _heated(loss: FloatArray, step: float) -> Model:
    """Return :func:`rise` as a model to fit; what a node feels is kept while other coefficients move."""
    place = np.arange(loss.size, dtype=np.float64)
    felt = lru_cache(maxsize=FELT)(lambda tau: filtered(loss, step, tau))

    def model(coefficients: FloatArray, _: FloatArray) -> FloatArray:
        pairs = coefficients[:-1].reshape(-1, 2).tolist()
        total = reduce(np.add, (r * felt(abs(tau)) for r, tau in pairs))
        return np.asarray(np.interp(place - (coefficients[-1] / step - AHEAD), place, total), dtype=np.float64)

    return model


def fit_nodes(log: Binned, loss: FloatArray) -> Nodes:
    """Fit one node and two, and return two where the second earns its keep.

    Raises
    ------
    ValueError
        If the rows settle neither.
    """
    measured = log.channels["winding_temperature"] - log.channels["air_temperature"]
    one = _fit(log, loss, measured, 1)
    try:
        two = _fit(log, loss, measured, 2)
    except ValueError:
        return one
    good = bool(np.all(two.fit.coefficients[:-1] > 0)) and added_terms(one.fit, two.fit) < TWO_NODES
    return two if good else one


def _fit(log: Binned, loss: FloatArray, measured: FloatArray, nodes: int) -> Nodes:
    start = _start(log, loss, measured, nodes)
    fit = fit_curve(_heated(loss, log.step), start, log.time, measured)
    wave, waving, swing = _waves(fit.residuals)
    return Nodes(_fast_first(fit), measured - fit.residuals, wave, waving, swing)


def _fast_first(fit: Fit) -> Fit:
    order = [2, 3, 0, 1, 4]
    if fit.coefficients.size < len(order) or fit.coefficients[1] <= fit.coefficients[3]:
        return fit
    return type(fit)(fit.coefficients[order], fit.covariance[np.ix_(order, order)], fit.residuals, fit.df)


@single_threaded()
def _start(log: Binned, loss: FloatArray, measured: FloatArray, nodes: int) -> FloatArray:
    """Return the best of a grid of time constants; resistances follow linearly.

    A start needs few digits, so all of the grid is solved at once by its normal equations.
    """
    times = np.geomspace(2 * log.step, log.duration, TRIED)
    felt = np.stack([filtered(loss, log.step, float(tau)) for tau in times])
    chosen = np.array(list(itertools.combinations(range(TRIED), nodes)))
    products = (felt @ felt.T)[chosen[:, :, None], chosen[:, None, :]]
    right = (felt @ measured)[chosen]
    resistances = np.linalg.solve(products, right[..., None])[..., 0]
    gain = np.where((resistances > 0).all(axis=1), (resistances * right).sum(axis=1), -np.inf)
    best = int(np.argmax(gain))
    if not np.isfinite(gain[best]):
        message = "the winding does not warm as nodes do"
        raise ValueError(message)
    return np.append(np.column_stack([resistances[best], times[chosen[best]]]), AHEAD * log.step)


def _waves(residuals: FloatArray) -> tuple[float, bool, float]:
    """Return how much more means over stretches scatter than white residuals', whether by chance, and how far."""
    size = residuals.size // STRETCHES
    means = residuals[: size * STRETCHES].reshape(STRETCHES, size).mean(axis=1)
    ratio = float(np.mean(means**2)) * size / float(np.mean(residuals**2)) if np.any(residuals) else 0.0
    waving = bool(special.chdtrc(STRETCHES, STRETCHES * ratio) < WAVES)
    return ratio, waving, float(np.abs(means).max())


def sensitivities(
    log: Binned, nodes: Nodes, whole: FloatArray, shares: tuple[FloatArray, ...]
) -> tuple[FloatArray, ...]:
    """Return the logarithmic change of each coefficient with that of each share of the losses.

    Parameters
    ----------
    log : Binned
        The log.
    nodes : Nodes
        The fit.
    whole : array, shape (n,)
        All losses, W.
    shares : tuple of array, shape (n,)
        What may be larger, W.

    Returns
    -------
    tuple of array, shape (2 nodes + 1,)
        Change of ``ln(coefficient)`` with that of ``ln(share)``, by fitting anew to the fitted curve.
    """
    small = [_PROBE * float(whole.max()) / max(float(np.abs(share).max()), 1e-300) for share in shares]
    found = []
    for share, probe in zip(shares, small, strict=True):
        fit = fit_nearby(_heated(whole + probe * share, log.step), nodes.fit.coefficients, log.time, nodes.fitted)
        found.append(np.log(np.abs(fit.coefficients) / nodes.fit.coefficients) / probe)
    return tuple(found)
