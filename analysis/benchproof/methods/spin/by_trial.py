"""What the figures of a sample's runs might have been: torque, shaft power and efficiency, trial by trial.

Worked out once for all of a group's speeds, as mean of the runs. What errs alike in all runs stays as it is in the
mean: inertia, windage, instruments, and what the windows' width does. The logs' noise is drawn for the mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.spin.coasting import speed_gain
from benchproof.trials.distributions import NORMAL, RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import DRAWN, EVERY, Part, coverage_interval, merge_parts
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.spin.motion import SpinRun
    from benchproof.methods.spin.spun import Spun, SpunRun
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

AT_ONCE: Final = 8
"""Places whose trials are worked out at once: so few stay in the processor's cache."""

_LEAST_EIGENVALUE: Final = 1e-4


@dataclass(frozen=True, slots=True)
class _Model:
    """What a figure is made of at the places: inertia times acceleration, and windage.

    Parameters
    ----------
    acceleration : FloatArray
        Torque's, rad/s2, or efficiency's, over power.
    widths : FloatArray
        What each source of the windows' width does to it, shape (places, sources).
    air : FloatArray
        What the draws of the runs' windage do, shape (places, draws).
    slope : FloatArray
        By how much the figure changes with the logarithm of speed.
    """

    acceleration: FloatArray
    widths: FloatArray
    air: FloatArray
    slope: FloatArray


class ByTrial:
    """Figures of a group by trial.

    Parameters
    ----------
    spun : Spun
        The runs.
    """

    def __init__(self, spun: Spun) -> None:
        self._spun = spun
        self._runs: tuple[SpunRun, ...] = spun.runs
        self._places = np.flatnonzero(spun.usable)
        self._bands: dict[tuple[str, float], tuple[FloatArray, FloatArray]] = {}
        self._known: dict[tuple[str, int], FloatArray] = {}
        self._standard: dict[tuple[str, int], FloatArray] = {}

    def at(self, name: str, place: int) -> FloatArray:
        """Return a figure at one of the group's speeds that have a window, shape (trials,)."""
        kind = _kind(name)
        if (kind, place) not in self._known:
            which = np.searchsorted(self._places, [place])
            length = float(np.linalg.norm(self._noise_rows(kind)[which]))
            noise = length * self._standardised(kind, place)[None]
            self._known[kind, place] = self._from_noise(kind, which, noise, EVERY)[0]
        row = self._known[kind, place]
        return row * self._spun.speeds[place] if name == "shaft_power" else row

    def highest(self, places: NDArray[np.intp]) -> FloatArray:
        """Return the highest torque of some places that have a window, shape (trials,)."""
        which = np.searchsorted(self._places, places)
        pieces = [self._drawn("torque", some, EVERY).max(axis=0) for some in _at_once(which)]
        return np.asarray(np.maximum.reduce(pieces))

    def band(self, name: str, coverage: float) -> tuple[FloatArray, FloatArray]:
        """Return both ends of a figure's coverage interval at all speeds that have a window."""
        key = (_kind(name), coverage)
        if key not in self._bands:
            pieces = [self._drawn(key[0], some, DRAWN) for some in _at_once(np.arange(self._places.size))]
            ends = [coverage_interval(drawn, coverage) for drawn in pieces]
            self._bands[key] = (np.hstack([low for low, _ in ends]), np.hstack([high for _, high in ends]))
        low, high = self._bands[key]
        factor = self._spun.speeds[self._places] if name == "shaft_power" else 1.0
        return low * factor, high * factor

    def parts(self, name: str, place: int) -> tuple[Part, ...]:
        """Return the sources of a figure at one of the group's speeds that have a window."""
        spun, of = self._spun, self._runs[0].motion.run
        kind = _kind(name)
        source = Source(
            (of.occasion.campaign, "noise", spun.sample, spun.flywheel, kind, f"{spun.speeds[place]:.6f}"),
            "noise of the logs",
            NORMAL,
        )
        lineage = [spun.inertia.parts, *(run.windage.parts for run in self._runs), self._windows]
        if self._runs[0].motion.signal.derivative == 1:
            lineage += [_parts(run.motion.run, ("speed",), self._spun) for run in self._runs]
        if name == "motor_efficiency":
            lineage += [_parts(run.motion.run, ("voltage", "current"), self._spun) for run in self._runs]
        return (*merge_parts(lineage), Part(source, self._standardised(kind, place)))

    def _standardised(self, kind: str, place: int) -> FloatArray:
        """Return the noise of a figure at one of the places over its standard deviation; torque's is power's too."""
        if (kind, place) not in self._standard:
            row = self._noise_rows(kind)[np.searchsorted(self._places, place)]
            standard = (row / (float(np.sqrt(row @ row)) or 1.0)).astype(np.float32)
            self._standard[kind, place] = (standard @ self._noise[1]).astype(np.float64)
        return self._standard[kind, place]

    @cached_property
    def _weights(self) -> list[FloatArray]:
        """Acceleration of each run over the number of runs, rad/s2, at the places."""
        return [run.acceleration[self._places] / len(self._runs) for run in self._runs]

    def _drawn(self, kind: str, which: NDArray[np.intp], rows: slice) -> FloatArray:
        """Return torque or efficiency at some of the places in some trials, shape (which, trials)."""
        noise = self._noise_rows(kind)[which].astype(np.float32) @ self._noise[1][:, rows]
        return self._from_noise(kind, which, noise.astype(np.float64), rows)

    @single_threaded()
    def _from_noise(self, kind: str, which: NDArray[np.intp], made: FloatArray, rows: slice) -> FloatArray:
        """Make of acceleration's noise inertia times acceleration plus windage, each with its errors, in place.

        Parameters
        ----------
        kind : str
            ``torque`` or ``efficiency``.
        which : NDArray of int
            Which of the places.
        made : FloatArray
            The noise of torque (over inertia) or efficiency (over inertia and speed), shape (which, trials); then the
            figure.
        rows : slice
            The trials it is of.
        """
        model = self._models[kind]
        gain = self._gain[rows] if self._gain.size > 1 else self._gain
        made += model.widths[which] @ self._window_draws[:, rows]
        made += model.acceleration[which, None]
        made *= self._spun.inertia.trials[rows] * gain
        made += model.air[which] @ self._air_draws[:, rows]
        if gain.size > 1:
            made -= model.slope[which, None] * (gain - 1)
        if kind == "efficiency":
            places = self._places[which]
            made *= self._spun.speeds[places, None]
            made /= self._power_error(self._alike(("voltage", "current")), places, self._spun.trials.some(rows))
        return made

    @cached_property
    def _models(self) -> dict[str, _Model]:
        """What torque and, with electrical power, efficiency are made of at the places."""
        even = [np.ones(self._places.size)] * len(self._runs)
        models = {"torque": self._model("torque", even)}
        if self._spun.power_choice is not None:
            models["efficiency"] = self._model("efficiency", [1 / run.power[self._places] for run in self._runs])
        return models

    def _model(self, kind: str, factors: Sequence[FloatArray]) -> _Model:
        """Return what a figure is made of, where what each run brings counts with a factor by place."""
        acceleration = np.sum([own * factor for own, factor in zip(self._weights, factors, strict=True)], axis=0)
        widths = np.column_stack([np.abs(acceleration) * width for width in self._widths(kind)])
        count = len(self._runs)
        air = np.hstack(
            [
                run.windage.rows[self._places] * (factor / count)[:, None]
                for run, factor in zip(self._runs, factors, strict=True)
            ]
        )
        slope = self._slope(self._spun.inertia.value * acceleration + air @ self._air_draws.mean(axis=1))
        return _Model(acceleration, widths, air, slope)

    @cached_property
    def _window_draws(self) -> FloatArray:
        return np.stack([part.draws for part in self._windows])

    @cached_property
    def _air_draws(self) -> FloatArray:
        return np.vstack([run.windage.draws for run in self._runs])

    def _slope(self, value: FloatArray) -> FloatArray:
        """Return by how much a figure changes with the logarithm of speed, shape (places,)."""
        speeds = self._spun.speeds[self._places]
        return np.gradient(value, speeds) * speeds if speeds.size > 1 else np.zeros(1)

    @cached_property
    def _gain(self) -> FloatArray:
        """True over indicated change of speed, shape (trials,); one where marks count the turns."""
        if self._runs[0].motion.signal.derivative == 2:
            return np.ones(1)
        middle = float(np.mean(self._spun.speeds))

        def gain(runs: Sequence[SpunRun]) -> FloatArray:
            run = runs[0].motion.run
            return speed_gain(run.instruments["speed"], middle, run.occasion, self._spun.trials)

        return self._over_runs(self._alike(("speed",)), gain)

    def _power_error(self, alike: Sequence[Sequence[SpunRun]], places: NDArray[np.intp], trials: Trials) -> FloatArray:
        """Return true over indicated electrical power at some places, shape (places, trials)."""

        def error(runs: Sequence[SpunRun]) -> FloatArray:
            run = runs[0].motion.run
            found: FloatArray = np.ones(1)
            for name in ("voltage", "current"):
                shown = np.mean([getattr(each, name)[places] for each in runs], axis=0)
                instrument = run.instruments[name]
                true = instrument.true_trials(shown, run.occasion, trials)
                true /= instrument.corrected(shown)[:, None]
                true *= found
                found = true
            return found

        return self._over_runs(alike, error)

    def _alike(self, channels: tuple[str, ...]) -> list[list[SpunRun]]:
        """Return the runs in groups in which the instruments of some channels err alike."""
        alike: dict[tuple[tuple[str, ...], ...], list[SpunRun]] = {}
        for run in self._runs:
            sources = tuple(part.source.identity for part in _parts(run.motion.run, channels, self._spun))
            alike.setdefault(sources, []).append(run)
        return list(alike.values())

    def _over_runs(
        self, alike: Sequence[Sequence[SpunRun]], error: Callable[[Sequence[SpunRun]], FloatArray]
    ) -> FloatArray:
        """Return the mean of an instrument's error over the runs, worked out once for runs in which it is the same."""
        total: FloatArray | None = None
        for runs in alike:
            found = error(runs)
            found *= len(runs) / len(self._runs)
            total = found if total is None else np.add(total, found, out=total)
        return np.asarray(total)

    @cached_property
    def _windows(self) -> tuple[Part, ...]:
        """The sources of what the windows' width does; alike for all runs."""
        spun = self._spun
        identity = (self._runs[0].motion.run.occasion.campaign, "window", spun.sample, spun.flywheel)
        names = ("motion",) if spun.power_choice is None else ("motion", "power")
        sources = [Source((*identity, name), f"width of the window, {name}", RECTANGULAR) for name in names]
        return tuple(Part(source, spun.trials.draw(source)) for source in sources)

    def _widths(self, kind: str) -> list[FloatArray]:
        """Return what each of these sources does to a figure, relative, at the places."""
        spun, at = self._spun, self._places
        widths = [spun.choice.bias[at] / np.abs(spun.choice.value[at])]
        if spun.power_choice is not None:
            power = spun.power_choice.bias[at] / np.abs(spun.power_choice.value[at])
            widths.append(power * np.mean([_of_power(run, kind)[at] for run in self._runs], axis=0))
        return widths

    def _noise_rows(self, kind: str) -> FloatArray:
        """Return the noise of torque (over inertia) or efficiency (over inertia and speed) in terms of its draws."""
        rows = self._noise[0]
        half = self._places.size
        return rows[half:] if kind == "efficiency" else rows[:half]

    @cached_property
    def _noise(self) -> tuple[FloatArray, NDArray[np.float32]]:
        """Noise of the runs' mean: rows for the torque, then for the efficiency, and draws, shape (m, trials).

        Both hang on the same noise of motion and power, so they are drawn from their common covariance; eigenvectors of
        the correlations that bring next to nothing are left, and every row keeps its variance.
        """
        at = self._places
        kinds = ("torque",) if self._spun.power_choice is None else ("torque", "efficiency")
        covariance = np.zeros((len(kinds) * at.size,) * 2)
        for run, weights in zip(self._runs, self._weights, strict=True):
            own = [weights if kind == "torque" else weights / run.power[at] for kind in kinds]
            sizes = np.concatenate(own)
            covariance += np.outer(sizes, sizes) * np.tile(run.motion_noise[np.ix_(at, at)], (len(kinds),) * 2)
            power = np.vstack([run.of_power(_of_power(run, kind))[at] for kind in kinds]) * sizes[:, None]
            misplaced = np.vstack([np.diag(run.misplaced(_of_power(run, kind))[at]) for kind in kinds]) * sizes[:, None]
            covariance += power @ power.T + misplaced @ misplaced.T
        size = np.sqrt(covariance.diagonal())
        unit = np.where(size > 0, size, 1.0)
        eigenvalues, vectors = np.linalg.eigh(covariance / np.outer(unit, unit))
        kept = eigenvalues > _LEAST_EIGENVALUE * eigenvalues[-1]
        rows = vectors[:, kept] * np.sqrt(eigenvalues[kept])
        length = np.sqrt((rows**2).sum(axis=1))
        rows *= (size / np.where(length > 0, length, 1.0))[:, None]
        campaign = self._runs[0].motion.run.occasion.campaign
        identity = (campaign, "noise", self._spun.sample, self._spun.flywheel)
        return rows, self._spun.trials.noise(identity, rows.shape[1])


def _kind(name: str) -> str:
    """Return what a figure's trials are kept as: shaft power is torque at a speed that is known."""
    return "efficiency" if name == "motor_efficiency" else "torque"


def _at_once(which: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Return places in pieces so small that their trials stay in the processor's cache."""
    return [which[first : first + AT_ONCE] for first in range(0, which.size, AT_ONCE)]


def _of_power(run: SpunRun, kind: str) -> FloatArray:
    """Return by how many per cent a figure moves with one per cent of power at a moment, shape (speeds,)."""
    return run.elasticity - 1.0 if kind == "efficiency" else run.elasticity


def _parts(run: SpinRun, channels: tuple[str, ...], spun: Spun) -> tuple[Part, ...]:
    return merge_parts(run.instruments[name].parts(run.occasion, spun.trials) for name in channels)
