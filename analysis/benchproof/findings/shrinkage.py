"""The joint distribution of several models' true values, drawn together against the winner's bias.

The best of several measured values is best partly by luck. If models of one class scatter about a common mean, a value
far from it is less likely to be true than measured (random effects). The stronger the errors against the models' own
scatter, the more the values are drawn together. Errors that all share drop out, for the common mean takes them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

SCATTER_PRIOR: Final = 0.05
"""Scale of the half-Cauchy prior of the models' relative scatter: motors of one class differ by per cents [J]."""

_GRID: Final = 160
_CENTRAL: Final = 0.6827
"""Probability within one standard deviation of a normal distribution."""


@single_threaded()
def shrunk(values: FloatArray, deviates: FloatArray, identity: tuple[str, ...], trials: Trials) -> FloatArray:
    """Return trials of the true values under random effects.

    Parameters
    ----------
    values : array, shape (k,)
        Logarithms of the measured values, k at least 2.
    deviates : array, shape (k, count)
        Trials of the logarithms less the values: what may be wrong with each, jointly.
    identity : tuple of str
        Names the draws.
    trials : Trials
        The laboratory's trials.

    Returns
    -------
    array, shape (k, count)

    Notes
    -----
    y = mu + e, mu_i ~ N(m, tau^2), flat m, half-Cauchy tau. Tau is integrated over its marginal posterior
    (Gelman et al., Bayesian Data Analysis, 5.4 [from memory]). Given tau, a trial is the posterior mean of the values
    perturbed by the trial's errors and by a draw of the prior, plus that draw: a sample of the normal posterior that
    keeps the errors' own shapes and correlations.
    """
    k = values.size
    covariance = _contrast_covariance(deviates)
    taus, weights = _tau_posterior(values, covariance)
    cumulative = np.cumsum(weights)
    place = _uniform(trials, (*identity, "tau"))
    index = np.minimum(np.searchsorted(cumulative / cumulative[-1], place), taus.size - 1)
    prior = np.stack([trials.draw(Source((*identity, "model", str(i)), "models", NORMAL)) for i in range(k)])
    true = np.empty_like(deviates)
    for j in np.unique(index):
        chosen = index == j
        moved = taus[j] * prior[:, chosen]
        inverse = np.linalg.inv(covariance + taus[j] ** 2 * np.eye(k))
        left = values[:, None] + deviates[:, chosen] - moved
        row = inverse.sum(axis=0)
        middle = (row @ left) / row.sum()
        true[:, chosen] = middle + moved + taus[j] ** 2 * (inverse @ (left - middle))
    return true


def _contrast_covariance(deviates: FloatArray) -> FloatArray:
    """Return the covariance of what is not common to all, by each one's central spread, shape (k, k).

    A heavy tail belongs in the trials and not in a covariance: each row is scaled by half the width of its central
    68 % interval, and correlations are those of the rows cut at three such widths.
    """
    apart = deviates - deviates.mean(axis=0)
    low, high = np.quantile(apart, [(1 - _CENTRAL) / 2, (1 + _CENTRAL) / 2], axis=1)
    size = np.maximum((high - low) / 2, 1e-12)
    correlated = np.corrcoef(np.clip(apart / size[:, None], -3, 3))
    spread = np.asarray(correlated * np.outer(size, size), dtype=np.float64)
    # Contrasts sum to zero; the common part, which the flat mean takes anyway, fills that direction.
    return np.asarray(spread + np.mean(size**2), dtype=np.float64)


def _tau_posterior(values: FloatArray, covariance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a grid of tau and its posterior weights."""
    k = values.size
    least = 0.05 * float(np.sqrt(np.diag(covariance).min()))
    taus = np.geomspace(max(least, 1e-7), 2.0, _GRID)
    logs = np.empty(_GRID)
    for j, tau in enumerate(taus):
        inverse = np.linalg.inv(covariance + tau**2 * np.eye(k))
        row = inverse.sum(axis=0)
        left = values - (row @ values) / row.sum()
        _, determinant = np.linalg.slogdet(inverse)
        fit = 0.5 * determinant - 0.5 * np.log(row.sum()) - 0.5 * left @ inverse @ left
        logs[j] = fit - np.log1p((tau / SCATTER_PRIOR) ** 2) + np.log(tau)
    weights = np.exp(logs - logs.max())
    return taus, weights / weights.sum()


def _uniform(trials: Trials, identity: tuple[str, ...]) -> FloatArray:
    """Return stratified draws between 0 and 1."""
    draws = trials.draw(Source(identity, "scatter of models", NORMAL))
    order = np.argsort(np.argsort(draws, kind="stable"), kind="stable")
    return np.asarray((order + 0.5) / draws.size, dtype=np.float64)
