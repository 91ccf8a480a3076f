"""Reducing a sample's runs on one flywheel together: speeds, windows, windage."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.spin.coasting import deceleration_of
from benchproof.methods.spin.local import half_widths
from benchproof.methods.spin.spun import Spun, SpunRun
from benchproof.methods.spin.windage import by_difference, by_formula
from benchproof.methods.spin.windows import chosen_together, windows_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from benchproof.methods.spin.choice import Choice
    from benchproof.methods.spin.motion import Motion
    from benchproof.methods.spin.windage import Windage
    from benchproof.methods.spin.windows import Windows
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

GRID: Final = 56
"""Speeds at which curves are worked out, beside the lab's own."""

FEWEST_FOR_SLOPE: Final = 3
"""Fewer speeds do not say how steep the acceleration is between them."""

LOWEST: Final = 0.04
"""Curves begin at this share of the top speed."""


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
        windows_of(motion, motion.signal, at, widths, _shape_noise(power, motion, speeds))
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


def _shape_noise(windows: Windows | None, motion: Motion, speeds: FloatArray) -> FloatArray:
    """Return the relative standard deviation that one reading of power gives the shape at each speed; empty without."""
    if windows is None:
        return np.zeros(0)
    highest = float(np.abs(windows.signal.values).max())
    known = np.isfinite(windows.values)
    narrowest = windows.values[np.arange(speeds.size), known.argmax(axis=1)]
    watts = np.where(known.any(axis=1), narrowest, highest)
    watts = np.maximum(np.abs(watts), 1e-3 * highest)
    return np.asarray(np.sqrt(windows.noise) / watts * motion.limit.elasticity(watts, speeds))


def _speeds(motions: Sequence[Motion], wanted: Sequence[float]) -> FloatArray:
    """Return the speeds curves are worked out at: a grid over what all runs reached, and the lab's own inside it."""
    top = min(float(motion.nodes.speed.max()) for motion in motions)
    low = max(LOWEST * top, *(float(motion.nodes.speed[0]) for motion in motions))
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
    drive, elasticity = np.ones(speeds.size), np.zeros(speeds.size)
    own, shape = windows.rows(choice.rung)
    power_rows = shape_rows = np.zeros((speeds.size, 0))
    watts = volts = amperes = np.zeros(0)
    if power is not None and power_choice is not None:
        watts = power.taken(power_choice.rung)
        drive, elasticity = motion.limit.share(watts, speeds), motion.limit.elasticity(watts, speeds)
        power_rows = power.rows(power_choice.rung)[0]
        shape_rows = _onto(power.signal.time, windows.signal.time, shape)
        of = motion.run
        volts = np.interp(moments, of.time - of.lags.get("voltage", 0.0), of.channels["voltage"])
        # The current that belongs to the smoothed power.
        amperes = np.nan_to_num(watts) / of.instruments["voltage"].corrected(volts)
    ratio = windows.taken(choice.rung)
    return SpunRun(
        motion=motion,
        moments=moments,
        ratio=ratio,
        drive=drive,
        power=watts,
        elasticity=elasticity,
        motion_noise=own @ own.T,
        speed_noise=np.interp(moments, motion.nodes.time, motion.nodes.noise),
        ratio_slope=_slope(ratio, speeds),
        power_slope=_slope(watts, speeds) if watts.size else np.zeros(speeds.size),
        power_rows=power_rows,
        shape_rows=shape_rows,
        voltage=volts,
        current=amperes,
        windage=_windage(motion, speeds, trials),
    )


def _onto(readings: FloatArray, stamps: FloatArray, rows: FloatArray) -> FloatArray:
    """Return rows over values interpolated at some stamps as rows over the readings they came from."""
    after = np.clip(np.searchsorted(readings, stamps), 1, readings.size - 1)
    share = np.clip((stamps - readings[after - 1]) / (readings[after] - readings[after - 1]), 0.0, 1.0)
    found = np.zeros((readings.size, rows.shape[0]))
    np.add.at(found, after - 1, (rows * (1 - share)).T)
    np.add.at(found, after, (rows * share).T)
    return found.T


def _slope(values: FloatArray, speeds: FloatArray) -> FloatArray:
    """Return the relative change of a curve with speed, s/rad, shape (speeds,); 0 where too few values are known.

    It is read on an even grid: between two speeds that lie close, a curve's noise would make any slope.
    """
    known = np.flatnonzero(np.isfinite(values))
    if known.size < FEWEST_FOR_SLOPE:
        return np.zeros(speeds.size)
    even = np.linspace(speeds[known[0]], speeds[known[-1]], GRID)
    curve = np.interp(even, speeds[known], values[known])
    return np.asarray(np.interp(speeds, even, np.gradient(curve, even) / curve), dtype=np.float64)


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
