"""A sample's runs on one flywheel, reduced together: torque, shaft power and efficiency at any of a set of speeds.

Where voltage and current were logged, the acceleration inside a window is taken to have the shape of the winding
current, as power and speed give it; its size there comes from the motion alone. What is fitted is acceleration over
current, nearly a constant, which goes smoothly through the end of the current limit where the acceleration itself has a
knee. Size and calibration of power cancel from the torque. Without electrical channels the shape is flat, and the fit
is the plain local polynomial.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from benchproof.methods.spin.by_trial import ByTrial
from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.methods.spin.choice import Choice
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
    motion_noise : FloatArray
        Covariance of the relative noise that the motion's own rows bring, shape (speeds, speeds).
    speed_noise : FloatArray
        Standard deviation of the speed at each moment, rad/s.
    ratio_slope, power_slope : FloatArray
        Relative change of ratio and power with speed, s/rad; of power 0 without it.
    power_rows, shape_rows : FloatArray
        What the noise of each reading of power does to power, and to the shape inside the windows, relative, as
        standard deviation, shape (speeds, readings); none without power.
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
    motion_noise: FloatArray
    speed_noise: FloatArray
    ratio_slope: FloatArray
    power_slope: FloatArray
    power_rows: FloatArray
    shape_rows: FloatArray
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
        square = self.motion_noise.diagonal() + (self.of_power(self.elasticity) ** 2).sum(axis=1)
        return np.asarray(np.sqrt(square + self.misplaced(self.elasticity) ** 2), dtype=np.float64)

    def misplaced(self, per_cent: FloatArray) -> FloatArray:
        """Return what one standard deviation of the speed does to a figure, relative, shape (speeds,).

        The noise of the speed shifts the moment at which it is read. Ratio and power are those of that moment: where a
        figure hardly moves with power, as the efficiency does, it hardly moves with the moment either.

        Parameters
        ----------
        per_cent : FloatArray
            By how many per cent the figure moves with one per cent of power at the moment, shape (speeds,).
        """
        return np.asarray(self.speed_noise * (self.ratio_slope + per_cent * self.power_slope), dtype=np.float64)

    def of_power(self, per_cent: FloatArray) -> FloatArray:
        """Return what each reading of power does to a figure that moves with it at a moment, shape (speeds, readings).

        The same readings make the shape inside the window, which a figure is divided by: some of their noise cancels.

        Parameters
        ----------
        per_cent : FloatArray
            By how many per cent the figure moves with one per cent of power at the moment, shape (speeds,).
        """
        return np.asarray(per_cent[:, None] * self.power_rows - self.shape_rows, dtype=np.float64)


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
    """

    runs: tuple[SpunRun, ...]
    speeds: FloatArray
    widths: FloatArray
    power_widths: FloatArray
    choice: Choice
    power_choice: Choice | None
    trials: Trials

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

    @cached_property
    def inertia(self) -> Quantity:
        """Return the inertia that turns; without a known rotor, the flywheel's alone."""
        disc, rotor = self.runs[0].motion.run.disc.inertia, self.runs[0].motion.run.rotor
        return disc if rotor is None else combine(np.add, disc, rotor)

    def torque(self, run: SpunRun) -> FloatArray:
        """Return the steady-state-equivalent shaft torque of one run, N m, shape (n,)."""
        return self.inertia.value * run.acceleration + run.windage.value

    def mean_torque(self) -> FloatArray:
        """Return the mean torque of the runs, N m, shape (n,)."""
        return np.asarray(np.mean([self.torque(run) for run in self.runs], axis=0), dtype=np.float64)

    def mean(self, name: str) -> FloatArray:
        """Return a figure at the group's speeds, the mean of the runs, SI, shape (n,), nan where there is no window.

        Parameters
        ----------
        name : str
            ``torque``, ``shaft_power`` or ``motor_efficiency``.
        """
        if name == "torque":
            return self.mean_torque()
        if name == "shaft_power":
            return self.mean_torque() * self.speeds
        ratios = [self.torque(run) * self.speeds / run.power for run in self.runs]
        return np.asarray(np.mean(ratios, axis=0), dtype=np.float64)

    @cached_property
    def by_trial(self) -> ByTrial:
        """Return the same figures trial by trial."""
        return ByTrial(self)
