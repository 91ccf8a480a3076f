"""Quantities: a value, its trials, and the sources it hangs on.

Trials are what a figure might have been, had its error sources fallen otherwise (JCGM 101). Quantities from
the same :class:`~benchproof.trials.engine.Trials` stay paired trial by trial, so sums, ratios and comparisons
keep every correlation without a covariance matrix.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, reduce
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.trials.distributions import NORMAL, Shape, tabulated_degrees
from benchproof.trials.engine import Source
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from numpy.typing import NDArray

    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

REMAINDER: Final = "non-linear remainder"
"""Label of the share of variance that no source explains linearly."""


Function = Callable[..., Any]
"""Takes floats to a float and, elementwise, arrays to an array; numpy's own functions among them."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A source that a quantity hangs on, with its standardised draws, shape (count,)."""

    source: Source
    draws: FloatArray


@dataclass(frozen=True, slots=True)
class Share:
    """One row of a budget.

    Parameters
    ----------
    label : str
        Words for the source.
    identity : tuple of str
        The source; empty for the non-linear remainder.
    standard_uncertainty : float
        What the source alone contributes, in the quantity's unit.
    share : float
        Its share of the variance, from 0 to 1.
    """

    label: str
    identity: tuple[str, ...]
    standard_uncertainty: float
    share: float


@dataclass(frozen=True, eq=False)
class Quantity:
    """A quantity with its trials.

    Parameters
    ----------
    value : float
        Best estimate: the function of the best estimates, SI.
    trials : array, shape (count,)
        Read-only; SI.
    parts : tuple of Part
        The sources it hangs on, each once.
    """

    value: float
    trials: FloatArray
    parts: tuple[Part, ...] = ()

    def __post_init__(self) -> None:
        if self.trials.flags.writeable:
            own = self.trials.view()
            own.setflags(write=False)
            object.__setattr__(self, "trials", own)

    @classmethod
    def exact(cls, value: float, count: int) -> Quantity:
        """Return a quantity without uncertainty."""
        return cls(value, np.broadcast_to(np.float64(value), (count,)))

    @classmethod
    def of(cls, value: float, standard: float, source: Source, trials: Trials) -> Quantity:
        """Return ``value`` with one source of error of the given standard uncertainty (absolute)."""
        draws = trials.draw(source)
        return cls(value, value + standard * draws, (Part(source, draws),))

    @cached_property
    def _intervals(self) -> dict[float, tuple[float, float]]:
        return {}

    @cached_property
    def _explained(self) -> _Explained:
        return _explain(self.trials, self.parts)

    @property
    def standard_uncertainty(self) -> float:
        """Standard uncertainty: ``sqrt(sum c_j^2 + s_r^2)``.

        The sensitivities ``c_j`` are those of a linear regression of the trials on the sources' draws, and
        ``s_r`` is what the regression leaves (non-linearity). For a linear model this is the law of
        propagation of uncertainty (JCGM 100, equation 10) without the sampling noise of the trials. A source
        known from few readings counts with its ``s / sqrt(n)``: trials are weighted by normal over Student
        density, so that a heavy tail, which belongs in the interval, never sets a standard uncertainty. It
        exists down to 1 degree of freedom.
        """
        return self._explained.standard_uncertainty

    @property
    def degrees_of_freedom(self) -> float | None:
        """Effective degrees of freedom after Welch and Satterthwaite; None when infinite.

        ``u^4 / sum(u_i^4 / nu_i)`` (JCGM 100, G.4). Components of one fit share one residual standard
        deviation and are one ``u_i``. Not valid for correlated inputs.
        """
        groups: dict[tuple[str, ...], tuple[float, float]] = {}
        for part, c in zip(self.parts, self._explained.sensitivities, strict=True):
            shape = part.source.shape
            if shape.df is not None:
                key = part.source.identity[:-1] if shape.kind == "joint" else part.source.identity
                variance, _ = groups.get(key, (0.0, 0.0))
                groups[key] = (variance + c * c, shape.df)
        total = self.standard_uncertainty**2
        slack = math.fsum((variance / total) ** 2 / df for variance, df in groups.values()) if total else 0.0
        return 1 / slack if slack else None

    def share_of(self, identities: Collection[tuple[str, ...]]) -> float:
        """Return the standard uncertainty that some sources bring, by their identities."""
        pairs = zip(self.parts, self._explained.sensitivities, strict=True)
        return math.sqrt(math.fsum(float(c) ** 2 for part, c in pairs if part.source.identity in identities))

    def without(self, identities: Collection[tuple[str, ...]]) -> Quantity:
        """Return the quantity as if some sources had no error, to first order."""
        trials, one = np.array(self.trials), np.empty_like(self.trials)
        kept: list[Part] = []
        for part, c in zip(self.parts, self._explained.sensitivities, strict=True):
            if part.source.identity in identities:
                trials -= np.multiply(part.draws, c, out=one)
            else:
                kept.append(part)
        return Quantity(self.value, trials, tuple(kept))

    def interval(self, coverage: float) -> tuple[float, float]:
        """Return the probabilistically symmetric coverage interval (JCGM 101, 7.7)."""
        if coverage not in self._intervals:
            low, high = coverage_interval(self.trials, coverage)
            self._intervals[coverage] = float(low), float(high)
        return self._intervals[coverage]

    def budget(self) -> tuple[Share, ...]:
        """Return every source's share of the variance, largest first; the shares sum to 1.

        A remainder row is added where more than a millionth of the variance is explained by no source
        linearly. Empty for an exact quantity.
        """
        explained = self._explained
        total = explained.standard_uncertainty**2
        if not total:
            return ()
        rows = [
            (part.source.label, part.source.identity, abs(float(c)))
            for part, c in zip(self.parts, explained.sensitivities, strict=True)
        ]
        if explained.residual_variance > 1e-6 * total:
            rows.append((REMAINDER, (), math.sqrt(explained.residual_variance)))
        whole = math.fsum(u * u for _, _, u in rows)
        shares = [Share(label, identity, u, u * u / whole) for label, identity, u in rows]
        return tuple(sorted(shares, key=lambda row: (-row.share, row.identity)))


EVERY: Final = slice(None)
"""All trials."""

SENSING: Final = slice(1000)
"""Trials that tell the sensitivities of a linear model, which any of them do exactly."""

DRAWN: Final = slice(5000)
"""Trials that the band of a curve is drawn from: each end wanders by 4 % of the standard uncertainty, which no eye
sees. Stated figures rest on all of them."""

LINEAR: Final = 1e-3
"""A model that leaves more of its variance is not linear enough for that; this much moves them by 7e-4 of u."""


def combine(function: Function, *quantities: Quantity) -> Quantity:
    """Return ``function(*quantities)``: of the values for the value, trial by trial for the trials.

    Raises
    ------
    ValueError
        If the quantities have different numbers of trials, or none is given.
    """
    if len({quantity.trials.shape for quantity in quantities}) != 1:
        message = "quantities of different numbers of trials cannot be combined"
        raise ValueError(message)
    value = float(function(*(np.float64(quantity.value) for quantity in quantities)))
    trials = np.asarray(function(*(quantity.trials for quantity in quantities)), dtype=np.float64)
    return Quantity(value, trials, merge_parts(quantity.parts for quantity in quantities))


def mean(*quantities: Quantity) -> Quantity:
    """Return the arithmetic mean of quantities."""
    return combine(lambda *q: reduce(np.add, q) / len(q), *quantities)


def merge_parts(groups: Iterable[tuple[Part, ...]]) -> tuple[Part, ...]:
    """Return the parts of several quantities, each source once, in order of first appearance."""
    merged: dict[tuple[str, ...], Part] = {}
    for parts in groups:
        for part in parts:
            merged.setdefault(part.source.identity, part)
    return tuple(merged.values())


def joint_parts(trials: Trials, identity: tuple[str, ...], label: str, dim: int, df: float | None) -> tuple[Part, ...]:
    """Return the parts of ``dim`` estimates that share one residual standard deviation, standardised.

    Component ``k`` has the identity ``(*identity, str(k))``; its draws are row ``k`` of
    :meth:`~benchproof.trials.engine.Trials.scatter`.
    """
    shape = NORMAL if df is None else Shape("joint", df)
    rows = trials.scatter(identity, dim, df)
    return tuple(Part(Source((*identity, str(k)), label, shape), row) for k, row in enumerate(rows))


def coverage_interval(trials: FloatArray, coverage: float) -> tuple[FloatArray, FloatArray]:
    """Return both ends of the symmetric coverage interval over the last axis (JCGM 101, 7.7).

    Symmetric in probability: equally much lies below the low end and above the high one.

    Parameters
    ----------
    trials : array, shape (..., count)
    coverage : float
        Coverage probability, between 0 and 1.

    Returns
    -------
    low, high : array, shape (...)
    """
    count = trials.shape[-1]
    inside = math.floor(coverage * count + 0.5)
    first = max((count - inside + 1) // 2, 1) - 1
    last = min(first + inside, count - 1)
    if trials.ndim == 1 and count >= 4 * _GLANCE:
        return _ends(trials, first, last)
    ordered = np.sort(trials, axis=-1)  # vectorised, and faster than to look for two places only
    return ordered[..., first], ordered[..., last]


_GLANCE: Final = 1000
"""So many trials tell roughly where both ends of an interval lie."""


def _ends(trials: FloatArray, first: int, last: int) -> tuple[FloatArray, FloatArray]:
    """Return two order statistics out of the few trials that lie beyond where a glance says they lie."""
    glance = np.sort(trials[:_GLANCE])
    share, margin = _GLANCE / trials.size, _GLANCE // 40
    below = trials[trials <= glance[min(int(first * share) + margin, _GLANCE - 1)]]
    above = trials[trials >= glance[max(int(last * share) - margin, 0)]]
    from_above = trials.size - last
    if below.size <= first or above.size < from_above:  # the first trials are unlike the others
        ordered = np.sort(trials)
        return ordered[first], ordered[last]
    return np.sort(below)[first], np.sort(above)[-from_above]


def correlation(a: Quantity, b: Quantity) -> float:
    """Return the correlation of two quantities of the same trials; 0 if one of them is exact.

    The covariance is that of the sources they share and of their non-linear remainders, in the sense of
    :attr:`Quantity.standard_uncertainty`.
    """
    other = dict(zip((part.source.identity for part in b.parts), b._explained.sensitivities, strict=True))
    shared = math.fsum(
        float(c * other.get(part.source.identity, 0.0))
        for part, c in zip(a.parts, a._explained.sensitivities, strict=True)
    )
    weights = _weights(merge_parts((a.parts, b.parts)), EVERY, a.trials.size)
    left = float(np.average(_remainder(a) * _remainder(b), weights=weights))
    scale = a.standard_uncertainty * b.standard_uncertainty
    return float(np.clip((shared + left) / scale, -1, 1)) if scale else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Explained:
    """A regression of trials on the draws of their sources."""

    sensitivities: FloatArray
    residual_variance: float
    standard_uncertainty: float


def _explain(trials: FloatArray, parts: tuple[Part, ...]) -> _Explained:
    """Return the weighted least-squares regression of trials on their sources' draws: of some where those tell all."""
    found = _explained_by(trials, parts, SENSING)
    if found.residual_variance > LINEAR * found.standard_uncertainty**2:
        return _explained_by(trials, parts, EVERY)
    return found


@single_threaded()
def _explained_by(trials: FloatArray, parts: tuple[Part, ...], rows: slice) -> _Explained:
    """Return the regression of some trials."""
    values = trials[rows]
    weights = _weights(parts, rows, values.size)
    apart = values - values[0]  # an exact quantity stays exact
    centre = apart - weights @ apart
    size = float(np.max(np.abs(centre), initial=0.0))
    if not size:
        return _Explained(np.zeros(len(parts)), 0.0, 0.0)
    scaled, c = centre / size, np.zeros(0)
    if parts:
        draws = np.stack([part.draws[rows] for part in parts])
        c = _regress(scaled, draws, weights)
        scaled -= c @ draws
        scaled -= weights @ scaled
    left = float(weights @ (scaled * scaled))
    u = math.sqrt(math.fsum(c * c) + left)
    return _Explained(c * size, left * size * size, u * size)


@single_threaded()
def _remainder(quantity: Quantity) -> FloatArray:
    """Return what the regression leaves of a quantity's trials, about its mean, shape (count,)."""
    left = quantity.trials - quantity.trials[0]
    if quantity.parts:
        left = left - quantity._explained.sensitivities @ np.stack([part.draws for part in quantity.parts])
    return np.asarray(left - _weights(quantity.parts, EVERY, left.size) @ left, dtype=np.float64)


def _regress(values: FloatArray, draws: FloatArray, weights: FloatArray) -> FloatArray:
    """Return the weighted least-squares coefficients of the draws, shape (parts,); weights sum to 1."""
    weighted = draws * weights
    means = weighted.sum(axis=1)
    gram = weighted @ draws.T - np.outer(means, means)
    norms = np.sqrt(np.diag(gram))
    along = weighted @ values - means * (weights @ values)
    solution = np.linalg.lstsq(gram / np.outer(norms, norms), along / norms, rcond=None)[0]
    return np.asarray(solution / norms, dtype=np.float64)


def _weights(parts: tuple[Part, ...], rows: slice, count: int) -> FloatArray:
    """Return the density of normal over Student draws in some trials, shape (count,); it sums to 1."""
    groups: dict[tuple[str, ...], list[Part]] = {}
    for part in parts:
        shape = part.source.shape
        if shape.df is not None:
            key = part.source.identity[:-1] if shape.kind == "joint" else part.source.identity
            groups.setdefault(key, []).append(part)
    exponent = np.zeros(count)
    for group in groups.values():
        nu = tabulated_degrees(group[0].source.shape.degrees_drawn or 1.0)
        square = reduce(np.add, (part.draws[rows] ** 2 for part in group))
        exponent += 0.5 * ((nu + len(group)) * np.log1p(square / nu) - square)
    density = np.exp(exponent - exponent.max())
    return np.asarray(density / density.sum(), dtype=np.float64)
