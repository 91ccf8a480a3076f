"""The errors that the points of a sweep share, as combinations of a few draws.

Gain, offset, mounting and the like move every point of a root together, so the errors of forty points in twenty
thousand trials have the rank of a dozen sources. Kept as such, what is read off a curve costs a dozen multiplications
a trial.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

NEGLIGIBLE: Final = 1e-12
"""A direction with less than this share of the variance is left out: a millionth of the uncertainty."""

SAMPLED: Final = 1000
"""Trials that tell which directions there are; the draws along them are those of all trials."""


@dataclass(frozen=True, slots=True)
class SharedErrors:
    """Errors of points as loadings times draws.

    Parameters
    ----------
    loadings : Mapping of str to FloatArray
        For each root, shape (n, r).
    draws : FloatArray
        Shape (r, trials).
    """

    loadings: Mapping[str, FloatArray]
    draws: FloatArray

    @classmethod
    @single_threaded()
    def of(cls, errors: Mapping[str, FloatArray]) -> SharedErrors:
        """Return the errors of several roots, each of shape (n, trials), as combinations of shared draws.

        Directions are the principal components of the errors themselves, not about their mean.
        """
        some = np.vstack([each[:, :: max(each.shape[1] // SAMPLED, 1)] for each in errors.values()])
        variances, directions = np.linalg.eigh(some @ some.T)
        kept = directions[:, variances > NEGLIGIBLE * variances[-1]]
        ends = np.cumsum([each.shape[0] for each in errors.values()])[:-1]
        loadings = dict(zip(errors, np.split(kept, ends), strict=True))
        along = [loadings[root].T @ each for root, each in errors.items()]
        return cls(loadings, np.sum(along, axis=0))
