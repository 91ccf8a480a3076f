"""Ranking models by a figure: how likely each is the best, how far its rank is known, and who cannot be told apart."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.findings.shrinkage import shrunk
from benchproof.trials.quantity import coverage_interval

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.trials.engine import Trials
    from benchproof.trials.quantity import Quantity

    FloatArray = NDArray[np.float64]

LESS_IS_BETTER: Final = frozenset(
    {
        "mass",
        "drag_torque",
        "electrical_power",
        "time_constant",
        "dead_time",
        "thermal_resistance",
        "residual_unbalance",
    }
)
"""Figures of merit of which less is better, all else being equal; of the others more is."""

MERITS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "mass": (),
        "thrust": ("electrical_power", "throttle"),
        "electrical_power": ("thrust",),
        "motor_efficiency": ("electrical_power", "thrust", "throttle", "speed"),
        "km": (),
        "km_per_mass": (),
        "peak_torque": (),
        "shaft_power": ("speed",),
        "drag_torque": ("speed",),
        "time_constant": ("step",),
        "dead_time": ("step",),
        "thermal_resistance": (),
        "continuous_current": (),
        "residual_unbalance": ("speed",),
    }
)
"""Figures with a better end, and the axes along which they are read for it.

Left out is what is different and not better (Kv, resistance, speed), what belongs to the propeller, and what says the
same again: thrust per power at equal power ranks as thrust does.
"""

LEAST: Final = 1e-6
"""A trial counts as at least this share of its figure."""

FAMILY: Final = 0.05
"""Probability that any of a family of comparisons is wrong."""


@dataclass(frozen=True, slots=True)
class Ranked:
    """One model in a ranking.

    Parameters
    ----------
    name : str
        The campaign.
    place : int
        By the shrunk value, 1 is best.
    best : float
        Probability of being the best.
    ranks : tuple of int
        Ends of the interval of its rank.
    shrunk : float
        Value drawn together, SI.
    tied : tuple of str
        Campaigns it cannot be told apart from, all pairs judged together.
    group : int
        Number of its group of ties, 1 is best; a group holds those its first cannot be told apart from.
    """

    name: str
    place: int
    best: float
    ranks: tuple[int, int]
    shrunk: float
    tied: tuple[str, ...]
    group: int


def has_a_better_end(name: str, at: Mapping[str, str]) -> bool:
    """Return whether a figure is one of merit where it was read."""
    axes = MERITS.get(name)
    keys = set(at) - {"propeller", "flywheel", "airflow"}
    return axes is not None and keys <= set(axes) and bool(keys) == bool(axes)


def rank(
    names: Sequence[str],
    quantities: Sequence[Quantity],
    identity: tuple[str, ...],
    trials: Trials,
    *,
    less_is_better: bool = False,
    coverage: float = 0.95,
) -> tuple[Ranked, ...]:
    """Return models in the order of a figure, best first.

    Parameters
    ----------
    names : sequence of str
        Campaigns, two or more.
    quantities : sequence of Quantity
        Their figures, all positive.
    identity : tuple of str
        Names the draws.
    trials : Trials
        The laboratory's trials.
    less_is_better : bool
        Which end is best.
    coverage : float
        Of the rank's interval.
    """
    values = np.log([q.value for q in quantities])
    # Two pieces that differ much leave a tail so heavy that it reaches below zero, where no motor's figure lies.
    shares = np.stack([np.maximum(q.trials / q.value, LEAST) for q in quantities])
    deviates = np.log(shares)
    true = shrunk(values, deviates, ("ranking", *identity), trials)
    worth = -true if less_is_better else true
    ranks = 1 + np.argsort(np.argsort(-worth, axis=0, kind="stable"), axis=0, kind="stable")
    best = (ranks == 1).mean(axis=1)
    low, high = coverage_interval(ranks.astype(np.float64), coverage)
    middle = np.median(true, axis=1)
    order = np.argsort(-middle if not less_is_better else middle, kind="stable")
    apart = told_apart(values, deviates)
    groups = _groups(order, apart)
    return tuple(
        Ranked(
            names[i],
            place,
            float(best[i]),
            (int(low[i]), int(high[i])),
            float(np.exp(middle[i])),
            tuple(names[j] for j in order if j != i and not apart[i, j]),
            groups[int(i)],
        )
        for place, i in enumerate(order, start=1)
    )


def told_apart(values: FloatArray, deviates: FloatArray, family: float = FAMILY) -> NDArray[np.bool_]:
    """Return which pairs differ, all pairs judged together, shape (k, k).

    The studentised maximum over all pairs, from the joint trials: Tukey and Kramer's method where errors are normal,
    equal and independent, and right as well where they are correlated or heavy-tailed.

    Parameters
    ----------
    values : array, shape (k,)
    deviates : array, shape (k, count)
        Trials less values.
    family : float
        Probability that any pair that is alike is called different.
    """
    pairs = list(combinations(range(values.size), 2))
    moved = np.stack([deviates[i] - deviates[j] for i, j in pairs])
    size = np.maximum(_central(moved), 1e-300)
    limit = float(np.quantile(np.abs(moved / size[:, None]).max(axis=0), 1 - family))
    differ = np.zeros((values.size, values.size), dtype=bool)
    for (i, j), own in zip(pairs, size, strict=True):
        differ[i, j] = differ[j, i] = abs(values[i] - values[j]) > limit * own
    return differ


def holm(p_values: Sequence[float], family: float = FAMILY) -> tuple[bool, ...]:
    """Return which of a list of tests hold together (Holm, Scandinavian Journal of Statistics 6 (1979) 65).

    Parameters
    ----------
    p_values : sequence of float
        One a test, in any order.
    family : float
        Probability that any true null hypothesis is rejected.
    """
    order = sorted(range(len(p_values)), key=lambda k: p_values[k])
    held = [False] * len(p_values)
    for step, k in enumerate(order):
        if p_values[k] > family / (len(p_values) - step):
            break
        held[k] = True
    return tuple(held)


def _central(rows: FloatArray) -> FloatArray:
    """Return half the width of the central 68 % of each row."""
    low, high = np.quantile(rows, [0.15865, 0.84135], axis=1)
    return np.asarray((high - low) / 2, dtype=np.float64)


def _groups(order: NDArray[np.intp], apart: NDArray[np.bool_]) -> dict[int, int]:
    """Return each one's group: a new one starts with the first that differs from the group's first."""
    groups: dict[int, int] = {}
    first = int(order[0])
    number = 1
    for i in map(int, order):
        if apart[first, i]:
            first, number = i, number + 1
        groups[i] = number
    return groups
