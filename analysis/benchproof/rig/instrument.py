"""An instrument: what it indicates, and what the true value may have been, trial by trial.

What an instrument gets wrong turns a true value into an indication: ``indicated = true (1 + scale) + offset + bow``,
read through the calibration's fit. Each trial undoes that with its own draws. Because a reading and its tare are
undone with the same draws, a constant offset cancels from their difference, as it does on the bench.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy import special

from benchproof.errors import MethodError, Remark
from benchproof.trials.distributions import NORMAL, RECTANGULAR, Shape, student
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, joint_parts
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from numpy.typing import NDArray

    from benchproof.rig.calibration import Calibration
    from benchproof.rig.loads import LoadError
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

Kind = Literal["scale", "offset", "linearity", "resolution", "repeatability"]
Per = Literal["calibration", "session", "run", "reading"]

FEWEST_READINGS: Final = 4
"""Without a stated repeatability, fewer readings say too little of their own scatter."""

CONTRADICTED: Final = 0.01
"""Readings whose scatter is this unlikely under the stated repeatability contradict it."""

_READING_KINDS: Final = ("resolution", "repeatability")

_DITHER: Final = 3**0.5
"""Readings average out a digital step if they scatter by half of it: 3**0.5 times its standard uncertainty."""


@dataclass(frozen=True, slots=True)
class ErrorStatement:
    """One thing an instrument gets wrong.

    Parameters
    ----------
    kind : str
        ``scale`` (relative), ``offset``, ``linearity`` (bow, zero at both ends), ``resolution``, ``repeatability``.
    standard : float
        Standard uncertainty; relative for a scale, SI else.
    shape : Shape
        Its distribution.
    per : str
        How often it is drawn anew.
    name : str
        Tells statements of one kind and scope apart.
    """

    kind: Kind
    standard: float
    shape: Shape
    per: Per
    name: str = ""


@dataclass(frozen=True, slots=True)
class Occasion:
    """Where and when readings were taken.

    Parameters
    ----------
    rig, campaign : str
        Their names.
    run : str
        The log or set of readings; never a place in a list.
    date : date
        The test day.
    told : str
        The run in words for a reader; as it is keyed where nothing is said.
    """

    rig: str
    campaign: str
    run: str
    date: date
    told: str = ""

    @property
    def where(self) -> str:
        """The run as a reader is told of it."""
        return self.told or self.run


@dataclass(frozen=True, slots=True)
class Reading:
    """What a set of typed readings comes to, and what must be said of it."""

    quantity: Quantity
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument under the calibration in force.

    Parameters
    ----------
    rig, name, measures : str
        The rig, the instrument's name on it, and what it measures.
    errors : tuple of ErrorStatement
        What it gets wrong, on top of the calibration's fit.
    calibration : Calibration or None
        None where it is used as it indicates.
    full_scale : float or None
        SI; linearity needs it.
    """

    rig: str
    name: str
    measures: str
    errors: tuple[ErrorStatement, ...] = ()
    calibration: Calibration | None = None
    full_scale: float | None = None

    def corrected(self, indicated: FloatArray) -> FloatArray:
        """Return the best estimates of the true values, SI, shape (n,)."""
        values = np.atleast_1d(np.asarray(indicated, dtype=np.float64))
        return values if self.calibration is None else self.calibration.fit(values)

    def outside(self, indicated: FloatArray) -> NDArray[np.bool_]:
        """Say which readings lie beyond the calibrated range, shape (n,)."""
        if self.calibration is None:
            return np.zeros(np.shape(indicated), dtype=bool)
        return self.calibration.outside(indicated)

    @single_threaded()
    def true_trials(self, indicated: FloatArray, occasion: Occasion, trials: Trials) -> FloatArray:
        """Return what the true values may have been, trial by trial.

        Parameters
        ----------
        indicated : array
            Indications, SI, shape (n,).
        occasion : Occasion
            Decides which draws apply.
        trials : Trials
            The laboratory's trials.

        Returns
        -------
        array, shape (n, count)
            SI. Errors drawn for every single reading are left out: they show in the scatter of fitted points.
        """
        values = np.atleast_1d(np.asarray(indicated, dtype=np.float64))
        best = self.corrected(values)
        gain, scale, offset = np.ones(trials.count), np.ones(trials.count), np.zeros(trials.count)
        for load, part in self._load_parts(trials):
            gain *= load.factor(part.draws)
        terms = [(best, np.ones(trials.count)), *self._calibration_terms(values, trials)]
        for error in self._lasting():
            draws = error.standard * trials.draw(self._source(error, occasion))
            if error.kind == "scale":
                scale += draws
            elif error.kind == "linearity":
                terms.append((-self._bow(best), draws / gain))
            else:
                offset += draws
        terms.append((-np.ones(values.size), offset / gain))
        # Readings by trials is large: one product and one factor go over it.
        true = np.column_stack([row for row, _ in terms]) @ np.stack([draws for _, draws in terms])
        true *= gain / scale
        return np.asarray(true, dtype=np.float64)

    def parts(self, occasion: Occasion, trials: Trials) -> tuple[Part, ...]:
        """Return the sources in :meth:`true_trials`."""
        sources = [self._source(error, occasion) for error in self._lasting()]
        own = tuple(Part(source, trials.draw(source)) for source in sources)
        loads = tuple(part for _, part in self._load_parts(trials))
        return (*self._fit_parts(trials), *self._hysteresis_parts(trials), *loads, *own)

    def reading(self, indicated: Sequence[float], occasion: Occasion, key: str, trials: Trials) -> Reading:
        """Return the mean of typed readings of one thing.

        Parameters
        ----------
        indicated : sequence of float
            SI, at least one.
        occasion : Occasion
            Which run.
        key : str
            Names the set of readings inside the run.
        trials : Trials
            The laboratory's trials.

        Returns
        -------
        Reading
            The stated repeatability counts, and readings that contradict it are remarked on; without one, four
            or more readings count with their own scatter (Student); a single reading has the stated errors alone.

        Raises
        ------
        MethodError
            Without a reading, or for two or three readings without a stated repeatability.
        """
        raw = np.asarray(indicated, dtype=np.float64)
        if not raw.size:
            raise MethodError(occasion.where, f"no reading of {self.name} for {key}; type at least one")
        values = self.corrected(raw)
        parts = list(self.parts(occasion, trials))
        total = self.true_trials(raw, occasion, trials).mean(axis=0)
        for source, standard in self._scatter(values, occasion, key):
            part = Part(source, trials.draw(source))
            parts.append(part)
            total = total + standard * part.draws
        quantity = Quantity(float(values.mean()), total, tuple(parts))
        return Reading(quantity, self._remarks(values, occasion, key))

    def _lasting(self) -> Iterator[ErrorStatement]:
        """Yield the errors that last longer than one reading."""
        return (error for error in self.errors if error.per != "reading")

    def _scatter(self, values: FloatArray, occasion: Occasion, key: str) -> Iterator[tuple[Source, float]]:
        """Yield what differs from reading to reading, as standard uncertainties of the mean."""
        if values.size == 1 or self._states("repeatability"):
            yield from self._stated_scatter(values, occasion, key)
            return
        own = self._own_scatter(values, occasion)
        steps = [error for error in self._of_a_reading() if error.kind == "resolution"]
        if own > max((step.standard for step in steps), default=0.0):
            identity = (*self._identity("scatter"), occasion.campaign, occasion.run, key)
            shape = student(values.size - 1)
            yield Source(identity, f"scatter of readings, {self.name}", shape), own / values.size**0.5
            return
        # Readings that hardly leave one step of the display share its error: it does not average out.
        yield from ((self._reading_source(step, occasion, key, step.shape), step.standard) for step in steps)

    def _stated_scatter(self, values: FloatArray, occasion: Occasion, key: str) -> Iterator[tuple[Source, float]]:
        """Yield the stated errors of a reading, averaged over the readings where they average out."""
        scatter = sum(e.standard**2 for e in self._of_a_reading() if e.kind == "repeatability") ** 0.5
        value = float(values.mean())
        for error in self._of_a_reading():
            averages = error.kind != "resolution" or scatter >= _DITHER * error.standard
            count = values.size if averages else 1
            shape = NORMAL if count > 1 else error.shape
            yield self._reading_source(error, occasion, key, shape), self._size(error, value) / count**0.5

    def _size(self, error: ErrorStatement, value: float) -> float:
        """Return the standard uncertainty of an error at a value, SI."""
        if error.kind == "scale":
            return error.standard * abs(value)
        if error.kind == "linearity":
            return error.standard * abs(float(self._bow(np.array([value]))[0]))
        return error.standard

    def _states(self, kind: Kind) -> bool:
        return any(error.kind == kind for error in self.errors)

    def _of_a_reading(self) -> tuple[ErrorStatement, ...]:
        return tuple(error for error in self.errors if error.per == "reading")

    def _own_scatter(self, values: FloatArray, occasion: Occasion) -> float:
        if values.size < FEWEST_READINGS:
            message = (
                f"{values.size} readings of {self.name} without a stated repeatability; add "
                f"`repeatability:` to the instrument's errors, or take at least {FEWEST_READINGS} readings"
            )
            raise MethodError(occasion.where, message)
        return float(values.std(ddof=1))

    def _remarks(self, values: FloatArray, occasion: Occasion, key: str) -> tuple[Remark, ...]:
        """Remark on repeated readings that scatter more than is stated (chi-square), or not at all."""
        if values.size == 1:
            return ()
        if not self._states("repeatability"):
            return self._alike(values, occasion, key)
        scatter = [error for error in self._of_a_reading() if error.kind in _READING_KINDS]
        stated = sum(error.standard**2 for error in scatter)
        if not stated or not any(error.kind == "repeatability" for error in scatter):
            return ()
        ratio = float(values.var(ddof=1)) / stated
        if special.chdtrc(values.size - 1, (values.size - 1) * ratio) >= CONTRADICTED:
            return ()
        much = f"scatter {ratio**0.5:.1f} times as much as the stated repeatability of {self.name}"
        sentence = f"readings of {_spoken(key)} {much}"
        return (Remark("repeatability_contradicted", occasion.where, sentence),)

    def _alike(self, values: FloatArray, occasion: Occasion, key: str) -> tuple[Remark, ...]:
        if np.ptp(values) or self._states("resolution"):
            return ()
        why = f"{self.name} states no resolution: their scatter counts nothing"
        sentence = f"readings of {_spoken(key)} are all alike and {why}"
        return (Remark("readings_alike", occasion.where, sentence),)

    def _bow(self, true: FloatArray) -> FloatArray:
        """Return the bow of a linearity error, 1 in the middle of the range and 0 at both ends, shape (n,)."""
        r = true / (self.full_scale or np.inf)
        return np.asarray(4 * r * (1 - r), dtype=np.float64)

    def _calibration_terms(self, indicated: FloatArray, trials: Trials) -> Iterator[tuple[FloatArray, FloatArray]]:
        """Yield what each draw of the calibration's errors brings to each reading, with the draw."""
        if self.calibration is None:
            return
        fit = self.calibration.fit
        root = np.linalg.cholesky(fit.fit.covariance + np.eye(fit.degree + 1) * 1e-300)
        rows = fit.basis(indicated) @ root
        yield from ((rows[:, k], part.draws) for k, part in enumerate(self._fit_parts(trials)))
        for part in self._hysteresis_parts(trials):
            yield self.calibration.hysteresis / (2 * 3**0.5) * self._loaded(indicated), part.draws

    def _loaded(self, indicated: FloatArray) -> FloatArray:
        """Return 1 where the instrument is loaded and 0 where it rests: at rest there is no branch to be on."""
        low, high = self.calibration.range if self.calibration is not None else (0.0, 1.0)
        rest = min(max(0.0, low), high)
        return np.clip(np.abs(indicated - rest) / (0.1 * (high - low)), 0.0, 1.0)

    def _fit_parts(self, trials: Trials) -> tuple[Part, ...]:
        if self.calibration is None:
            return ()
        fit = self.calibration.fit
        identity = (*self._identity("fit"), f"calibration:{self.calibration.key}")
        return joint_parts(trials, identity, f"calibration of {self.name}", fit.degree + 1, fit.fit.df)

    def _hysteresis_parts(self, trials: Trials) -> tuple[Part, ...]:
        if self.calibration is None or not self.calibration.hysteresis:
            return ()
        identity = (*self._identity("hysteresis"), f"calibration:{self.calibration.key}")
        source = Source(identity, f"hysteresis of {self.name}", RECTANGULAR)
        return (Part(source, trials.draw(source)),)

    def _load_parts(self, trials: Trials) -> list[tuple[LoadError, Part]]:
        """Return the errors that all loads of the calibration share, each with its source."""
        if self.calibration is None:
            return []
        found = []
        for error in self.calibration.load_errors:
            identity = (*self._identity("loads", error.name), f"calibration:{self.calibration.key}")
            source = Source(identity, f"{error.name} in the calibration of {self.name}", error.shape)
            found.append((error, Part(source, trials.draw(source))))
        return found

    def _source(self, error: ErrorStatement, occasion: Occasion) -> Source:
        identity = (*self._identity(error.kind, error.name), self._scope(error.per, occasion))
        return Source(identity, self._label(error), error.shape)

    def _reading_source(self, error: ErrorStatement, occasion: Occasion, key: str, shape: Shape) -> Source:
        identity = (*self._identity(error.kind, error.name), self._scope("run", occasion), f"reading:{key}")
        return Source(identity, self._label(error), shape)

    def _label(self, error: ErrorStatement) -> str:
        return f"{error.kind} of {self.name}" + (f" ({error.name})" if error.name else "")

    def _identity(self, kind: str, name: str = "") -> tuple[str, ...]:
        return (self.rig, self.name, f"{kind}:{name}" if name else kind)

    def _scope(self, per: Per, occasion: Occasion) -> str:
        if per == "calibration":
            return "rig" if self.calibration is None else f"calibration:{self.calibration.key}"
        if per == "session":
            return f"session:{occasion.date.isoformat()}"
        return f"run:{occasion.campaign}/{occasion.run}"


def _spoken(key: str) -> str:
    """Return the key of a set of readings in words: ``mass.bell`` is the mass of the bell."""
    return key.replace(".", " of the ").replace("_", " ")
