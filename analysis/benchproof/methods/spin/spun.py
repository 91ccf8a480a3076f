"""A sample's runs on one flywheel, reduced together: torque, shaft power and efficiency at any of a set of speeds.

Where voltage and current were logged, the acceleration inside a window is taken to have the shape of the winding
current, as power and speed give it; its size there comes from the motion alone. What is fitted is acceleration over
current, nearly a constant, which goes smoothly through the end of the current limit where the acceleration itself has a
knee. Size and calibration of power cancel from the torque. Without electrical channels the shape is flat, and the fit
is the plain local polynomial.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from benchproof.methods.spin.coasting import speed_gain
from benchproof.trials.distributions import NORMAL, RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, merge_parts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.methods.spin.local import Choice
    from benchproof.methods.spin.motion import Motion
    from benchproof.methods.spin.windage import Windage
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class SpunRun:
    """One run of a group at the group's speeds.

    Parameters
    ----------
    motion : Motion
        The log.
    moments : FloatArray
        When each speed was reached, s.
    ratio : FloatArray
        Acceleration over the shape (over 1 without power) at the chosen windows.
    drive : FloatArray
        The shape at each moment, winding current over its limit (1 without power).
    power : FloatArray
        Electrical power at each moment, W; empty without it.
    elasticity : FloatArray
        By how many per cent the shape moves with one per cent of power; 0 without power.
    ratio_noise, power_noise : FloatArray
        Factors of the relative noise of ratio and power, shapes (speeds, m).
    voltage, current : FloatArray
        At each moment, V and A; empty without them.
    windage : Windage
        Of the flywheel.
    """

    motion: Motion
    moments: FloatArray
    ratio: FloatArray
    drive: FloatArray
    power: FloatArray
    elasticity: FloatArray
    ratio_noise: FloatArray
    power_noise: FloatArray
    voltage: FloatArray
    current: FloatArray
    windage: Windage

    @property
    def acceleration(self) -> FloatArray:
        """Acceleration at the group's speeds, rad/s2."""
        return self.ratio * self.drive

    @property
    def relative_noise(self) -> FloatArray:
        """Relative standard deviation of the acceleration's noise, shape (speeds,)."""
        square = (self.ratio_noise**2).sum(axis=1) + self.elasticity**2 * (self.power_noise**2).sum(axis=1)
        return np.asarray(np.sqrt(square), dtype=np.float64)


@dataclass(frozen=True)
class Spun:
    """A sample's runs on one flywheel.

    Parameters
    ----------
    runs : tuple of SpunRun
        Its runs.
    speeds : FloatArray
        rad/s, increasing, shape (n,).
    widths, power_widths : FloatArray
        Half-widths to choose from, s.
    choice : Choice
        Windows of the ratio.
    power_choice : Choice or None
        Windows of the power; None without it.
    trials : Trials
        The laboratory's trials.
    drawn : dict
        Noise already drawn, by its identity.
    """

    runs: tuple[SpunRun, ...]
    speeds: FloatArray
    widths: FloatArray
    power_widths: FloatArray
    choice: Choice
    power_choice: Choice | None
    trials: Trials
    drawn: dict[tuple[str, ...], FloatArray] = field(default_factory=dict)

    @property
    def sample(self) -> str:
        """The sample."""
        return self.runs[0].motion.run.sample

    @property
    def flywheel(self) -> str:
        """The flywheel."""
        return self.runs[0].motion.run.disc.name

    @cached_property
    def usable(self) -> NDArray[np.bool_]:
        """Which speeds have a window, shape (n,)."""
        ok = self.choice.rung >= 0
        return ok if self.power_choice is None else ok & (self.power_choice.rung >= 0)

    @property
    def range(self) -> tuple[float, float]:
        """Return the speeds between which the torque is known, rad/s."""
        inside = self.speeds[self.usable]
        return (float(inside[0]), float(inside[-1])) if inside.size else (np.inf, -np.inf)

    def inertia(self, run: SpunRun) -> Quantity:
        """Return the inertia that turns; without a known rotor, the flywheel's alone."""
        disc, rotor = run.motion.run.disc.inertia, run.motion.run.rotor
        if rotor is None:
            return disc
        return Quantity(disc.value + rotor.value, disc.trials + rotor.trials, merge_parts([disc.parts, rotor.parts]))

    def torque(self, run: SpunRun) -> FloatArray:
        """Return the steady-state-equivalent shaft torque of one run, N m, shape (n,)."""
        return self.inertia(run).value * run.acceleration + run.windage.value

    def mean_torque(self) -> FloatArray:
        """Return the mean torque of the runs, N m, shape (n,)."""
        return np.asarray(np.mean([self.torque(run) for run in self.runs], axis=0), dtype=np.float64)

    def along(self, name: str, places: NDArray[np.intp]) -> tuple[FloatArray, FloatArray, list[tuple[Part, ...]]]:
        """Return a figure at some of the group's speeds: the mean of the runs.

        Parameters
        ----------
        name : str
            ``torque``, ``shaft_power`` or ``motor_efficiency``.
        places : NDArray of int
            Which of the speeds.

        Returns
        -------
        tuple
            Values, shape (m,), SI; trials, shape (m, trials); each place's sources.
        """
        values, by_trial = np.zeros(places.size), np.zeros((places.size, self.trials.count))
        parts: list[list[tuple[Part, ...]]] = [[] for _ in places]
        for run in self.runs:
            one, trials, sources = self._of_run(run, name, places)
            values += one / len(self.runs)
            by_trial += trials / len(self.runs)
            for k, each in enumerate(sources):
                parts[k].append(each)
        return values, by_trial, [merge_parts(groups) for groups in parts]

    def _of_run(
        self, run: SpunRun, name: str, places: NDArray[np.intp]
    ) -> tuple[FloatArray, FloatArray, list[tuple[Part, ...]]]:
        torque, by_trial, common, scatter = self._torque_trials(run, name, places)
        factor, divisor = self.speeds[places], np.ones(places.size)
        common = (*common, *self._electrical_parts(run, name))
        if name == "torque":
            factor = np.ones(places.size)
        elif name == "motor_efficiency":
            divisor = run.power[places]
            by_trial = by_trial / self._power_error(run, places)
        scaled = factor / divisor
        return torque * scaled, by_trial * scaled[:, None], [(*common, part) for part in scatter]

    def _torque_trials(
        self, run: SpunRun, name: str, places: NDArray[np.intp]
    ) -> tuple[FloatArray, FloatArray, tuple[Part, ...], list[Part]]:
        """Return a run's torque by trial; for the efficiency without the error of power, which cancels from it."""
        inertia = self.inertia(run)
        noise, scatter = self._noise(run, name, places)
        bias, window = self._bias(name, places)
        gain, tachometer = self._gain(run)
        value = self.torque(run)
        accelerated = run.acceleration[places, None] * (1 + noise + bias)
        known = np.flatnonzero(self.usable)
        along = np.gradient(value[known], self.speeds[known]) if known.size > 1 else np.zeros(known.size)
        slope = np.interp(places, known, along) * self.speeds[places]
        by_trial = inertia.trials * gain * accelerated + run.windage.trials[places]
        by_trial = by_trial - slope[:, None] * (gain - 1)
        return value[places], by_trial, merge_parts([inertia.parts, run.windage.parts, window, tachometer]), scatter

    def _gain(self, run: SpunRun) -> tuple[FloatArray, tuple[Part, ...]]:
        of = run.motion.run
        instrument = of.instruments.get("speed")
        if instrument is None or run.motion.signal.derivative == 2:
            return np.ones(1), ()
        middle = float(np.mean(self.speeds))
        return speed_gain(instrument, middle, of.occasion, self.trials), instrument.parts(of.occasion, self.trials)

    def _noise(self, run: SpunRun, name: str, places: NDArray[np.intp]) -> tuple[FloatArray, list[Part]]:
        """Return a run's relative noise by trial, shape (places, trials), and one source a place."""
        occasion = run.motion.run.occasion
        identity = (occasion.campaign, occasion.run, "noise")
        total = np.zeros((places.size, self.trials.count))
        square = np.zeros(places.size)
        for what, factor, counts in (
            ("motion", run.ratio_noise, np.ones(self.speeds.size)),
            ("power", run.power_noise, _of_power(run, name)),
        ):
            if factor.shape[1]:
                total += counts[places, None] * self._noise_draws(run, what, factor)[places]
                square += counts[places] ** 2 * (factor[places] ** 2).sum(axis=1)
        size = np.sqrt(square)
        label = f"noise of the log, {occasion.run}"
        kind = "efficiency" if name == "motor_efficiency" else "torque"
        parts = [
            Part(
                Source((*identity, kind, f"{self.speeds[p]:.6f}"), label, NORMAL),
                total[k] / size[k] if size[k] else total[k],
            )
            for k, p in enumerate(places)
        ]
        return total, parts

    def _noise_draws(self, run: SpunRun, what: str, factor: FloatArray) -> FloatArray:
        """Return the noise of a run at all speeds by trial, shape (speeds, trials), drawn once."""
        occasion = run.motion.run.occasion
        identity = (occasion.campaign, occasion.run, "noise", what)
        if identity not in self.drawn:
            self.drawn[identity] = factor @ self.trials.scatter(identity, factor.shape[1], None)
        return self.drawn[identity]

    def _bias(self, name: str, places: NDArray[np.intp]) -> tuple[FloatArray, tuple[Part, ...]]:
        """Return what the windows' width may do, relative, by trial, and its sources; alike for all runs."""
        occasion = self.runs[0].motion.run.occasion
        identity = (occasion.campaign, "window", self.sample, self.flywheel)
        parts = []
        total = np.zeros((places.size, self.trials.count))
        choices = [("motion", self.choice, np.ones(self.speeds.size))]
        if self.power_choice is not None:
            choices.append(("power", self.power_choice, _of_power(self.runs[0], name)))
        for what, choice, counts in choices:
            source = Source((*identity, what), f"width of the window, {what}", RECTANGULAR)
            part = Part(source, self.trials.draw(source))
            parts.append(part)
            total = total + (counts * choice.bias / np.abs(choice.value))[places, None] * part.draws
        return total, tuple(parts)

    def _electrical_parts(self, run: SpunRun, name: str) -> tuple[Part, ...]:
        if name != "motor_efficiency":
            return ()
        of = run.motion.run
        return merge_parts(of.instruments[c].parts(of.occasion, self.trials) for c in ("voltage", "current"))

    def _power_error(self, run: SpunRun, places: NDArray[np.intp]) -> FloatArray:
        """Return true over indicated electrical power by trial, shape (places, trials)."""
        of = run.motion.run
        volts, amperes = run.voltage[places], run.current[places]
        true = of.instruments["voltage"].true_trials(volts, of.occasion, self.trials)
        true = true * of.instruments["current"].true_trials(amperes, of.occasion, self.trials)
        best = of.instruments["voltage"].corrected(volts) * of.instruments["current"].corrected(amperes)
        return np.asarray(true / best[:, None], dtype=np.float64)


def _of_power(run: SpunRun, name: str) -> FloatArray:
    """Return by how many per cent a figure moves with one per cent of power at a moment, shape (speeds,)."""
    return run.elasticity - 1.0 if name == "motor_efficiency" else run.elasticity
