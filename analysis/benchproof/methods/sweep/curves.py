"""One thrust sweep as smooth curves in logarithms, with every error source carried trial by trial.

Each plateau is a point in logarithms. An error of the axis moves a point sideways; to first order that is the same
as moving it down by the curve's slope, so one linear smoother serves all trials: rows times perturbed points. The
points' errors are combinations of a few draws (`sweep/shared.py`), and so is that of everything read off a curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import stdtrit

from benchproof.methods.plateaus import noise_of_mean
from benchproof.methods.smoother import COINCIDENT, Smooth, smooth
from benchproof.methods.sweep.air_reference import HELD_ON_AXIS, LAWS, exponent_part, throttle_law
from benchproof.methods.sweep.propeller import FIGURES
from benchproof.trials.distributions import RECTANGULAR, student
from benchproof.trials.engine import Source
from benchproof.trials.quantity import EVERY, Part, Quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.sweep.air_reference import Law
    from benchproof.methods.sweep.points import Points
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

EDGE: Final = 1e-3
"""A target this near (in the logarithm) to the outermost plateau is at it, not beyond it."""

WIDEST_GAP: Final = 2.0
"""Plateaus on both sides of a target may lie apart by this factor in power."""

LARGEST_HYSTERESIS: Final = 0.02
"""Branches further apart than this make two curves, and no single one is published."""

_FEWEST_OF_A_BRANCH: Final = 3


@dataclass(frozen=True, slots=True)
class Reading:
    """A figure read at one place: a quantity, or why there is none."""

    quantity: Quantity | None
    problem: str = ""


class SweepCurves:
    """Reads any figure of one run along any axis.

    Parameters
    ----------
    points : Points
        The plateaus.
    trials : Trials
        The laboratory's trials.
    """

    def __init__(self, points: Points, trials: Trials) -> None:
        self.points = points
        self.trials = trials
        self._fits: dict[tuple[str, str], Smooth] = {}
        self._shifts: dict[str, _Shift] = {}
        self._scatters: dict[tuple[str, str], Part] = {}

    def available(self, name: str) -> bool:
        """Say whether the run logged what a figure needs."""
        monomial = FIGURES[name]
        air = not monomial.density or self.points.density is not None
        return air and monomial.needs <= self.points.roots.keys()

    def axis_available(self, axis: str) -> bool:
        """Say whether the run can be read along an axis."""
        return axis == "throttle" or axis in self.points.roots

    def fit(self, name: str, axis: str) -> Smooth:
        """Return the smooth curve of a figure's logarithm along an axis' logarithm.

        Raises
        ------
        ValueError
            If there are too few plateaus.
        """
        key = (name, axis)
        if key not in self._fits:
            self._fits[key] = smooth(self._axis(axis), self._value(name, axis), self._noise(name), self._branch())
        return self._fits[key]

    def range(self, axis: str) -> tuple[float, float]:
        """Return the logarithms between which the axis was measured."""
        x = self._axis(axis)
        return float(x.min()), float(x.max())

    def problem(self, axis: str, at: float) -> str:
        """Return why a place cannot be read (``not_reached``, ``plateaus_far_apart``), or nothing."""
        x = self._axis(axis)
        if not x.min() - EDGE <= at <= x.max() + EDGE:
            return "not_reached"
        if np.abs(x - at).min() <= COINCIDENT:
            return ""
        power = self.points.roots["electrical_power"]
        below, above = power[x <= at], power[x >= at]
        left = below[np.argmax(x[x <= at])]
        right = above[np.argmin(x[x >= at])]
        return "" if abs(right - left) <= np.log(WIDEST_GAP) + EDGE else "plateaus_far_apart"

    def neighbours(self, axis: str, at: float) -> NDArray[np.intp]:
        """Return which steps lie next to a place (SI): the nearest on either side, or those at it."""
        apart = self._axis(axis) - float(np.log(at))
        sides = [np.where(side, np.abs(apart), np.inf) for side in (apart <= EDGE, apart >= -EDGE)]
        return np.array([int(np.argmin(side)) for side in sides if np.isfinite(side).any()], dtype=np.intp)

    def read(self, name: str, axis: str, at: Sequence[float]) -> tuple[Reading, ...]:
        """Return a figure at places of an axis (SI), one reading a place.

        Raises
        ------
        ValueError
            If there are too few plateaus for a curve.
        """
        places = np.log(at)
        problems = [self.problem(axis, float(place)) for place in places]
        if not all(problems) and self._hysteresis(name, axis) > LARGEST_HYSTERESIS:
            problems = [problem or "hysteresis" for problem in problems]
        found = {k: Reading(None, problem) for k, problem in enumerate(problems) if problem}
        able = [k for k in range(places.size) if k not in found]
        if able:
            values, trials, parts = self.along(name, axis, places[able])
            found |= {k: Reading(Quantity(float(values[i]), trials[i], parts)) for i, k in enumerate(able)}
        return tuple(found[k] for k in range(places.size))

    def along(
        self, name: str, axis: str, places: FloatArray, rows: slice = EVERY
    ) -> tuple[FloatArray, FloatArray, tuple[Part, ...]]:
        """Return a figure at several places (logarithms) of an axis, in all trials or some rows of them.

        Returns
        -------
        tuple
            Values, shape (m,), SI; trials, shape (m, trials); and the sources of all places.

        Notes
        -----
        What the steps' scatter leaves at a place is drawn once for the whole curve and counts at each place with
        its own size there, so trials are right place by place; two places of one curve are not to be combined.
        """
        fit = self.fit(name, axis)
        weights = fit.rows(places)
        logs = weights @ fit.y
        errors, parts = self._rig_errors(name, axis, weights, fit, rows)
        scatter = self._scatter(name, axis, fit)
        errors += fit.standard_error(places)[:, None] * scatter.draws[rows]
        branches = self._branch_error(name, axis, fit)
        if branches is not None:
            size, part = branches
            errors += size * part.draws[rows]
            parts = (*parts, part)
        errors += logs[:, None]
        return np.exp(logs), np.exp(errors, out=errors), (*parts, scatter)

    def _rig_errors(
        self, name: str, axis: str, at: FloatArray, fit: Smooth, rows: slice
    ) -> tuple[FloatArray, tuple[Part, ...]]:
        """Return what the sources of the rig, the air and the law add to the logarithm, shape (m, trials)."""
        points, monomial = self.points, FIGURES[name]
        weights = [(root, power, at) for root, power in monomial.powers.items()]
        if axis != "throttle":
            weights.append((axis, -1.0, at * fit.slope()))
        loadings = sum(power * (each @ points.errors.loadings[root]) for root, power, each in weights)
        total = np.asarray(loadings @ points.errors.draws[:, rows], dtype=np.float64)
        if self._log_ratio:
            shift = self._shift(axis)
            total += sum(power * shift.loadings(root, each) for root, power, each in weights) @ shift.draws[:, rows]
        if monomial.density and points.reference_density is None and points.density is not None:
            total += monomial.density * np.log(points.density.trials[rows] / points.density.value)
        density = points.density.parts if points.density is not None else ()
        return total, _once((*points.parts, *density, *self._shift_parts((root for root, _, _ in weights), axis)))

    def _scatter(self, name: str, axis: str, fit: Smooth) -> Part:
        """Return the source of the fit's own error, from the scatter of the steps about the curve."""
        if (name, axis) not in self._scatters:
            identity = (*self.points.identity, "scatter", axis, name)
            label = f"scatter of plateaus about the curve, {self.points.identity[-1]}"
            draws = self.trials.estimate(identity, fit.degrees_of_freedom)
            self._scatters[name, axis] = Part(Source(identity, label, student(fit.degrees_of_freedom)), draws)
        return self._scatters[name, axis]

    def _hysteresis(self, name: str, axis: str) -> float:
        """Return the branches' difference where it is larger than its own 95 % uncertainty, else 0."""
        fit = self.fit(name, axis)
        difference, error = fit.branch_difference
        limit = float(stdtrit(fit.degrees_of_freedom, 0.975)) * error
        return abs(difference) if abs(difference) > limit else 0.0

    def _branch_error(self, name: str, axis: str, fit: Smooth) -> tuple[float, Part] | None:
        """Return the error of taking the branches' mean, half their difference, rectangular; None without one."""
        size = self._hysteresis(name, axis)
        if not size:
            return None
        identity = (*self.points.identity, "branches", axis, name)
        source = Source(identity, f"difference of up and down branch, {self.points.identity[-1]}", RECTANGULAR)
        return size / (2 * 3**0.5), Part(source, self.trials.draw(source))

    def _axis(self, axis: str) -> FloatArray:
        if axis == "throttle":
            return np.log(self.points.throttle)
        return self.points.roots[axis] + self._exponent(axis, axis) * self._log_ratio

    def _value(self, name: str, axis: str) -> FloatArray:
        monomial, points = FIGURES[name], self.points
        total = np.full(points.throttle.size, monomial.log_constant(points.diameter))
        for root, power in monomial.powers.items():
            total = total + power * (points.roots[root] + self._exponent(root, axis) * self._log_ratio)
        if monomial.density:
            total = total + monomial.density * np.log(self._density)
        return np.asarray(total, dtype=np.float64)

    def _noise(self, name: str) -> FloatArray:
        blocks = sum(power * self.points.noise[root] for root, power in FIGURES[name].powers.items())
        return noise_of_mean(np.asarray(blocks))

    def _branch(self) -> FloatArray | None:
        rising = self.points.rising
        if min(rising.sum(), (~rising).sum()) < _FEWEST_OF_A_BRANCH:
            return None
        return np.where(rising, -0.5, 0.5)

    @property
    def _density(self) -> float:
        points = self.points
        if points.reference_density is not None:
            return points.reference_density
        return points.density.value if points.density is not None else float("nan")

    @cached_property
    def _log_ratio(self) -> float:
        """Logarithm of reference over tested density; 0 as tested."""
        points = self.points
        if points.reference_density is None or points.density is None:
            return 0.0
        return float(np.log(points.reference_density / points.density.value))

    @cached_property
    def _log_ratio_trials(self) -> FloatArray:
        points = self.points
        if points.reference_density is None or points.density is None:
            return np.zeros(1)
        return np.log(points.reference_density / points.density.trials)

    @cached_property
    def _throttle_law(self) -> Law:
        return throttle_law(self.points.throttle, self.points.roots)

    def _law(self, axis: str) -> Law:
        held = HELD_ON_AXIS[axis]
        return self._throttle_law if held == "throttle" else LAWS[held]

    def _exponent(self, root: str, axis: str) -> FloatArray:
        """Return a root's exponent at every plateau, shape (n,)."""
        return np.broadcast_to(self._law(axis).exponents[root].value, self.points.throttle.shape)

    def _shift(self, axis: str) -> _Shift:
        """Return the errors of the shift to reference air along an axis."""
        if axis not in self._shifts:
            self._shifts[axis] = _Shift.of(self._law(axis), self._log_ratio, self._log_ratio_trials, self.trials)
        return self._shifts[axis]

    def _shift_parts(self, roots: Iterable[str], axis: str) -> tuple[Part, ...]:
        """Return the sources of that error."""
        if not self._log_ratio:
            return ()
        found = (exponent_part(self._law(axis), root, self.trials) for root in roots)
        return tuple(part for part in found if part is not None)


@dataclass(frozen=True, slots=True)
class _Shift:
    """Errors of the shift to reference air: combinations of the air's own error and of the law's exponents.

    Parameters
    ----------
    law : Law
        What is held along the axis.
    known_by : tuple of str
        Names of the law's uncertainties, in the order of the draws after the first.
    draws : FloatArray
        Of the ratio of densities, then of each uncertainty times that ratio, shape (1 + len(known_by), trials).
    """

    law: Law
    known_by: tuple[str, ...]
    draws: FloatArray

    @classmethod
    def of(cls, law: Law, log_ratio: float, log_ratio_trials: FloatArray, trials: Trials) -> _Shift:
        parts = {each.known_by: exponent_part(law, root, trials) for root, each in law.exponents.items()}
        known = {name: part.draws * log_ratio_trials for name, part in parts.items() if part is not None}
        return cls(law, tuple(known), np.vstack([log_ratio_trials - log_ratio, *known.values()]))

    def loadings(self, root: str, rows: FloatArray) -> FloatArray:
        """Return how a root's rows, shape (m, n), hang on the draws, shape (m, len(draws))."""
        exponent = self.law.exponents[root]
        found = np.zeros((rows.shape[0], self.draws.shape[0]))
        found[:, 0] = (rows * exponent.value).sum(axis=1)
        if exponent.half_width.any():
            found[:, 1 + self.known_by.index(exponent.known_by)] = (rows * exponent.half_width).sum(axis=1) / 3**0.5
        return found


def _once(parts: Sequence[Part]) -> tuple[Part, ...]:
    return tuple({part.source.identity: part for part in parts}.values())
