"""Figures of a campaign's spin-ups at the lab's speeds, and the peak torque."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.stats import chi2

from benchproof.errors import Remark
from benchproof.methods.records import Figure
from benchproof.methods.sanity import judged
from benchproof.trials.distributions import student
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.bench import Bench
    from benchproof.methods.spin.motion import Motion
    from benchproof.methods.spin.spun import Spun

    FloatArray = NDArray[np.float64]

AT_SPEED: Final = ("torque", "shaft_power", "motor_efficiency")
"""Figures read at the lab's speeds."""

DISAGREE: Final = 0.99
"""Runs that scatter more than this share of chance would are remarked on."""

CLEAR: Final = 3.0
"""The peak is looked for where noise and window bring at most this many times their median over the curve, or as much
as the inertia brings everywhere."""

FEWEST_FOR_SCATTER: Final = 3
"""From this many runs on, scatter beyond their noise is a source of its own."""


@dataclass(frozen=True, slots=True)
class Group:
    """A sample's runs on one flywheel, reduced, or why they are not.

    Parameters
    ----------
    sample, flywheel : str
        Whose.
    where : Mapping of str to str
        ``flywheel``, where the sample ran on more than one; else empty.
    spun : Spun or None
        None where the runs give no figure.
    withheld : str
        Code of the reason for that.
    late : bool
        Whether a run began too late to hold its peak torque.
    motions : tuple of Motion
        The logs, made ready.
    """

    sample: str
    flywheel: str
    where: Mapping[str, str]
    spun: Spun | None
    withheld: str
    late: bool
    motions: tuple[Motion, ...]

    @property
    def electrical(self) -> bool:
        """Whether voltage and current were logged in all runs."""
        return all(motion.power is not None for motion in self.motions)


def figures_of(groups: Sequence[Group], bench: Bench, method: str) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
    """Return every figure of the groups, and remarks on them.

    Parameters
    ----------
    groups : sequence of Group
        All that count.
    bench : Bench
        For the lab's speeds.
    method : str
        ``key/version``.
    """
    figures: list[Figure] = []
    remarks: list[Remark] = []
    for group in groups:
        for written in bench.lab.operating_points.speed:
            at = {"speed": written.text, **group.where}
            names = AT_SPEED if group.electrical else AT_SPEED[:2]
            figures += [_at_speed(name, at, written.si, group, method) for name in names]
        figures.append(_peak(group, method))
        if group.spun is not None:
            remarks += _disagreement(group.spun, group)
    kept, unusual = judged(figures)
    return kept, (*remarks, *unusual)


def _at_speed(name: str, at: Mapping[str, str], speed: float, group: Group, method: str) -> Figure:
    figure = Figure(name, at, group.sample, None, method)
    if group.spun is None:
        return figure.withheld(group.withheld)
    low, high = group.spun.range
    if not low <= speed <= high:
        return figure.flagged("not_reached")
    quantity = read(group.spun, name, speed)
    return figure.withheld("too_noisy") if quantity is None else replace(figure, quantity=quantity)


def read(spun: Spun, name: str, speed: float) -> Quantity | None:
    """Return a figure at one of the speeds the group was reduced at; None where no window has little noise enough."""
    place = int(np.abs(spun.speeds - speed).argmin())
    if not spun.usable[place]:
        return None
    found = Quantity(float(spun.mean(name)[place]), spun.by_trial.at(name, place), spun.by_trial.parts(name, place))
    extra = float(scatter_beyond_noise(spun)[place])
    if not extra:
        return found
    runs = len(spun.runs)
    identity = (spun.runs[0].motion.run.occasion.campaign, "runs", spun.sample, spun.flywheel, f"{speed:.6f}")
    source = Source(identity, "scatter from run to run", student(runs - 1))
    return combine(np.multiply, found, Quantity.of(1.0, extra / runs**0.5, source, spun.trials))


def scatter_beyond_noise(spun: Spun) -> FloatArray:
    """Return how far runs scatter beyond their own noise, relative, as a standard deviation, at each of the speeds.

    It is 0 within chance, and with too few runs to say.
    """
    runs = spun.runs
    if len(runs) < FEWEST_FOR_SCATTER:
        return np.zeros(spun.speeds.size)
    torque = np.array([spun.torque(run) for run in runs])
    noise = np.mean([run.relative_noise**2 for run in runs], axis=0)
    beyond = np.maximum(torque.var(axis=0, ddof=1) / torque.mean(axis=0) ** 2 - noise, 0.0)
    return np.where(_excessive(spun), np.sqrt(beyond), 0.0)


def _excessive(spun: Spun) -> NDArray[np.bool_]:
    """Return at which of the speeds the runs scatter more than chance would."""
    torque = np.array([spun.torque(run) for run in spun.runs])
    mean = torque.mean(axis=0)
    noise = np.array([np.maximum(run.relative_noise, 1e-9) for run in spun.runs]) * mean
    square = (((torque - mean) / noise) ** 2).sum(axis=0)
    return np.asarray(spun.usable & (square > float(chi2.ppf(DISAGREE, len(spun.runs) - 1))))


def _disagreement(spun: Spun, group: Group) -> list[Remark]:
    """Remark on runs that differ by more than their noise over most of the curve."""
    if len(spun.runs) < 2 or not spun.usable.any():
        return []
    share = float(_excessive(spun)[spun.usable].mean())
    if share < 0.5:
        return []
    sentence = (
        f"runs of sample {group.sample} on {group.flywheel} differ by more than their noise over {share:.0%} of the "
        "speeds; was the winding as cool, and the supply the same, at the beginning of each?"
    )
    return [Remark("runs_disagree", f"sample {group.sample}", sentence)]


def _peak(group: Group, method: str) -> Figure:
    figure = Figure("peak_torque", dict(group.where), group.sample, None, method)
    if group.spun is None:
        return figure.withheld(group.withheld)
    if group.late:
        return figure.withheld("late_start")
    if not group.spun.usable.any():
        return figure.withheld("too_noisy")
    return replace(figure, quantity=peak_of(group.spun))


def clear_places(spun: Spun) -> NDArray[np.intp]:
    """Return the speeds at which the torque is known well enough to look for its maximum there.

    Near the run's ends windows are narrow and noisy; the largest of many noisy values would lie there by chance.
    """
    choice = spun.choice
    doubt = np.sqrt(choice.variance + choice.bias**2) / np.abs(choice.value)
    usual = float(np.median(doubt[spun.usable]))
    everywhere = spun.inertia.standard_uncertainty / spun.inertia.value
    return np.flatnonzero(spun.usable & (doubt <= max(CLEAR * usual, everywhere)))


def peak_of(spun: Spun) -> Quantity:
    """Return the maximum of the smoothed torque, corrected for its upward bias.

    The maximum of a noisy curve lies too high on average. How much, the trials say: in each, noise of the known size is
    added to the curve once more, and its maximum rises by about as much again (parametric bootstrap).
    """
    places = clear_places(spun)
    values = spun.mean_torque()[places]
    highest = int(values.argmax())
    peaks = spun.by_trial.highest(places)
    rise = float(peaks.mean()) - float(values[highest])
    parts = spun.by_trial.parts("torque", int(places[highest]))
    return Quantity(float(values[highest]) - rise, peaks - 2 * rise, parts)
