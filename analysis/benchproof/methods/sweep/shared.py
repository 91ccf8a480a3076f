"""The errors that the points of a sweep share, as combinations of a few draws.

Gain, offset, mounting and the like move every point of a root together, so the errors of forty points in twenty
thousand trials have the rank of a dozen sources. Kept as such, what is read off a curve costs a dozen multiplications
a trial.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.linalg import qr

from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

NEGLIGIBLE: Final = 1e-12
"""A direction with less than this share of the variance is left out: a millionth of the uncertainty."""


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


@single_threaded()
def directions(errors: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Return the directions that the errors of several roots have, by root, shape (n, r).

    Parameters
    ----------
    errors : Mapping of str to FloatArray
        In some trials, enough to tell which directions there are: for each root, shape (n, trials).

    Returns
    -------
    dict
        Principal components of the errors themselves, not about their mean; together they are orthonormal.
    """
    some = np.vstack(list(errors.values()))
    variances, found = np.linalg.eigh(some @ some.T)
    kept = found[:, variances > NEGLIGIBLE * variances[-1]]
    ends = np.cumsum([each.shape[0] for each in errors.values()])[:-1]
    return dict(zip(errors, np.split(kept, ends), strict=True))


def telling(loadings: Mapping[str, FloatArray]) -> NDArray[np.intp]:
    """Return the points whose errors tell the draws along all directions: a few, however many points there are.

    They are the points of as many errors as there are directions, each of which has the most that the ones before it
    do not tell (QR decomposition with column pivoting).
    """
    stacked = np.vstack(list(loadings.values()))
    _, order = qr(stacked.T, mode="r", pivoting=True)
    points = stacked.shape[0] // len(loadings)
    return np.unique(order[: stacked.shape[1]] % points)


@single_threaded()
def solution(loadings: Mapping[str, FloatArray], points: NDArray[np.intp]) -> dict[str, FloatArray]:
    """Return what the errors of some points are multiplied with to give the draws, by root, shape (r, points)."""
    inverse = np.linalg.pinv(np.vstack([each[points] for each in loadings.values()]))
    return dict(zip(loadings, np.split(inverse, len(loadings), axis=1), strict=True))


@single_threaded()
def draws_of(errors: Mapping[str, FloatArray], inverse: Mapping[str, FloatArray]) -> FloatArray:
    """Return the draws that some points' errors, for each root (points, trials), tell; shape (r, trials)."""
    return np.asarray(np.sum([inverse[root] @ each for root, each in errors.items()], axis=0), dtype=np.float64)
