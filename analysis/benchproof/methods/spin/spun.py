"""A sample's runs on one flywheel, reduced together: torque, shaft power and efficiency at any of a set of speeds.

Where voltage and current were logged, the acceleration is taken to follow the shape of electrical power over (w +
w_s) inside a window, and only its size there comes from the motion: what is fitted is acceleration over power over (w
+ w_s), which is the efficiency but for the inertia, and goes smoothly through the end of the current limit, where the
acceleration itself has a knee. Size and calibration of power cancel from the torque. Without electrical channels the
shape is flat, and the fit is the plain local polynomial.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.spin.coasting import deceleration_of, speed_gain
from benchproof.methods.spin.local import half_widths
from benchproof.methods.spin.windage import by_difference, by_formula
from benchproof.methods.spin.windows import chosen_together, windows_of
from benchproof.trials.distributions import NORMAL, RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, merge_parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from benchproof.methods.spin.local import Choice
    from benchproof.methods.spin.motion import Motion
    from benchproof.methods.spin.windage import Windage
    from benchproof.methods.spin.windows import Windows
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

GRID: Final = 56
"""Speeds at which curves are worked out, beside the lab's own."""

LOWEST: Final = 0.04
"""Curves begin at this share of the top speed."""


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
        Acceleration over electrical power over (w + w_s) (over 1 without power) at the chosen windows.
    drive : FloatArray
        Electrical power over (w + w_s) at each moment, N m (1 without power).
    ratio_noise, drive_noise : FloatArray
        Factors of their relative noise, shapes (speeds, m).
    voltage, current : FloatArray
        At each moment, V and A; empty without them.
    windage : Windage
        Of the flywheel.
    """

    motion: Motion
    moments: FloatArray
    ratio: FloatArray
    drive: FloatArray
    ratio_noise: FloatArray
    drive_noise: FloatArray
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
        square = (self.ratio_noise**2).sum(axis=1) + (self.drive_noise**2).sum(axis=1)
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
            divisor = run.drive[places] * (self.speeds[places] + run.motion.offset)
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
        slope = np.interp(places, known, np.gradient(value[known], self.speeds[known])) * self.speeds[places]
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
        factors = [("motion", run.ratio_noise)]
        if name != "motor_efficiency":
            factors.append(("power", run.drive_noise))
        total = np.zeros((places.size, self.trials.count))
        square = np.zeros(places.size)
        for what, factor in factors:
            if factor.shape[1]:
                total += self._noise_draws(run, what, factor)[places]
                square += (factor[places] ** 2).sum(axis=1)
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
        choices = [("motion", self.choice)]
        if self.power_choice is not None and name != "motor_efficiency":
            choices.append(("power", self.power_choice))
        for what, choice in choices:
            source = Source((*identity, what), f"width of the window, {what}", RECTANGULAR)
            part = Part(source, self.trials.draw(source))
            parts.append(part)
            total = total + (choice.bias / np.abs(choice.value))[places, None] * part.draws
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


def spun(motions: Sequence[Motion], wanted: Sequence[float], trials: Trials) -> Spun:
    """Reduce a sample's runs on one flywheel together.

    Parameters
    ----------
    motions : sequence of Motion
        Its runs, at least one.
    wanted : sequence of float
        Speeds the lab asks for, rad/s.
    trials : Trials
        The laboratory's trials.
    """
    speeds = _speeds(motions, wanted)
    moments = [motion.moments(speeds) for motion in motions]
    mean = np.mean(moments, axis=0)
    longest = min(motion.stop - motion.start for motion in motions) / 2
    spacing = max(motion.signal.spacing for motion in motions)
    power_windows, power_choice, power_widths = _power_windows(motions, moments, longest / 2)
    widths = half_widths(spacing, longest, motions[0].signal.degree)
    windows = [
        windows_of(motion, motion.signal, at, widths, _power_noise(power))
        for motion, at, power in zip(motions, moments, power_windows, strict=True)
    ]
    choice = chosen_together(windows, mean, widths)
    runs = [
        _spun_run(motion, speeds, moments[k], (windows[k], choice), (power_windows[k], power_choice), trials)
        for k, motion in enumerate(motions)
    ]
    return Spun(tuple(runs), speeds, widths, power_widths, choice, power_choice, trials)


def _power_windows(
    motions: Sequence[Motion], moments: Sequence[FloatArray], longest: float
) -> tuple[list[Windows | None], Choice | None, FloatArray]:
    """Return the local fits of electrical power, the windows taken, and their half-widths; None without power."""
    powers = [motion.power for motion in motions if motion.power is not None]
    if len(powers) < len(motions):
        return [None] * len(motions), None, np.zeros(0)
    widths = half_widths(max(power.spacing for power in powers), longest, powers[0].degree)
    windows = [
        windows_of(motion, power, at, widths, np.zeros(0))
        for motion, power, at in zip(motions, powers, moments, strict=True)
    ]
    return list(windows), chosen_together(windows, np.mean(moments, axis=0), widths), widths


def _power_noise(windows: Windows | None) -> FloatArray:
    """Return the relative standard deviation of one reading of power around each moment; empty without power."""
    if windows is None:
        return np.zeros(0)
    with np.errstate(invalid="ignore"):
        level = np.abs(windows.signal.values).max() if windows.signal.values.size else 1.0
        middle = np.array([next((fit.value for fit in row if fit is not None), level) for row in windows.fits])
    return np.asarray(np.sqrt(windows.noise) / np.maximum(np.abs(middle), 1e-3 * level))


def _speeds(motions: Sequence[Motion], wanted: Sequence[float]) -> FloatArray:
    """Return the speeds curves are worked out at: a grid over what all runs reached, and the lab's own inside it."""
    top = min(float(motion.node_speed.max()) for motion in motions)
    low = max(LOWEST * top, *(float(motion.node_speed[0]) for motion in motions))
    inside = [speed for speed in wanted if low < speed < top]
    return np.unique(np.concatenate([np.linspace(low, top, GRID), inside]))


def _spun_run(
    motion: Motion,
    speeds: FloatArray,
    moments: FloatArray,
    motion_windows: tuple[Windows, Choice],
    power_windows: tuple[Windows | None, Choice | None],
    trials: Trials,
) -> SpunRun:
    windows, choice = motion_windows
    power, power_choice = power_windows
    drive, drive_noise = np.ones(speeds.size), np.zeros((speeds.size, 0))
    volts = amperes = np.zeros(0)
    if power is not None and power_choice is not None:
        watts = power.taken(power_choice.rung)
        drive, drive_noise = watts / (speeds + motion.offset), power.factor(power_choice.rung)
        of = motion.run
        volts = np.interp(moments, of.time - of.lags.get("voltage", 0.0), of.channels["voltage"])
        # The current that belongs to the smoothed power.
        amperes = np.nan_to_num(watts) / of.instruments["voltage"].corrected(volts)
    return SpunRun(
        motion=motion,
        moments=moments,
        ratio=windows.taken(choice.rung),
        drive=drive,
        ratio_noise=windows.factor(choice.rung),
        drive_noise=drive_noise,
        voltage=volts,
        current=amperes,
        windage=_windage(motion, speeds, trials),
    )


def _windage(motion: Motion, speeds: FloatArray, trials: Trials) -> Windage:
    """Return the flywheel's windage: the more certain of formula and coast-downs."""
    run = motion.run
    formula = by_formula(run.disc, speeds, run.density, run.viscosity, trials)
    usable = [each for each in run.coasts if not each.shorted]
    carrying = [deceleration_of(each) for each in usable if each.flywheel == run.disc.name]
    bare = [deceleration_of(each) for each in usable if each.flywheel is None]
    if not carrying or not bare or run.rotor is None:
        return formula
    measured = by_difference(run.disc, run.rotor, carrying, bare, formula, speeds, trials)
    return measured if measured.spread < formula.spread else formula
