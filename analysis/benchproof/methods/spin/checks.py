"""Plausibility of spin-ups: what the motion, the marks and the energies say of a run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.spin.discs import stored_energy
from benchproof.methods.spin.marks import count_turns, mark_rows
from benchproof.nomenclature import RPM

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from benchproof.methods.spin.motion import Motion
    from benchproof.methods.spin.spun import Spun, SpunRun

    FloatArray = NDArray[np.float64]

LARGEST_DROP: Final = 0.03
"""A speed that falls by this share of the top during a spin-up has lost step with its drive."""

LATE: Final = 0.2
"""A run that begins above this share of its top speed may miss its peak torque."""

SLIP: Final = 0.002
"""Marks and electrical speed may differ by this much, relative."""

ROWS_A_TURN: Final = 4
"""A sampled mark is counted while a turn lasts at least this many rows."""

ENERGY_AGREES: Final = 0.01
"""Overall efficiency from energies, and the mean of the curve, may differ by this much."""

FLAT: Final = 0.02
"""Torque or current within this counts as flat."""

LEAST_STRETCH: Final = 0.1
"""A flat stretch counts as a limit from this share of the speeds on."""

COPPER: Final = 385.0
"""Specific heat of copper, J/(kg K), handbook value [from memory]."""

SAG: Final = 0.05
"""A supply that gives way by this share is remarked on."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A stretch of speeds in which the drive or the supply, not the motor, sets the torque.

    Parameters
    ----------
    low, high : float
        rad/s.
    """

    low: float
    high: float


def motion_problem(motion: Motion) -> tuple[str, tuple[Remark, ...]]:
    """Return the code of a reason why a run gives no figure, or nothing, and remarks."""
    where, top = motion.run.occasion.run, float(motion.nodes.speed.max())
    drop = float(np.max(np.maximum.accumulate(motion.nodes.speed) - motion.nodes.speed))
    if drop > LARGEST_DROP * top:
        sentence = (
            f"the speed falls by {drop / RPM:.0f} rpm during the spin-up: the drive lost step, or the flywheel "
            "slipped; the run's figures are withheld"
        )
        return "negative_acceleration", (Remark("negative_acceleration", where, sentence),)
    return slip_problem(motion)


def slip_problem(motion: Motion) -> tuple[str, tuple[Remark, ...]]:
    """Compare the turns that a mark counts with those of the electrical speed, where both were logged."""
    run = motion.run
    if not {"speed", "once_per_turn"} <= run.channels.keys():
        return "", ()
    marks = _resolved_marks(motion)
    if marks.size < 4:
        return "", ()
    turned = count_turns(run.time, marks).angle[-1]
    between = slice(marks[0], marks[-1] + 1)
    time = run.time[between]
    # The speed lies behind by its lag, so that its integral is read where its stamps say the marks passed.
    speed = np.interp(time, run.time - run.lags.get("speed", 0.0), run.channels["speed"])
    ratio = float(turned / np.trapezoid(speed, time))
    # Marks of a sampled log are known to a row at either end.
    known_to = 2 * motion.signal.spacing / float(time[-1] - time[0]) if motion.signal.derivative == 1 else 0.0
    if abs(ratio - 1) <= SLIP + known_to:
        return "", ()
    sentence = (
        f"the mark on the shaft turns {ratio:.4f} times as fast as the electrical speed says; look at pole_pairs "
        "(a ratio such as 7/6 is a wrong count), at the mark, and at a flywheel that slips. The run's figures are "
        "withheld"
    )
    return "pole_pair_slip", (Remark("pole_pair_slip", run.occasion.run, sentence),)


def _resolved_marks(motion: Motion) -> NDArray[np.intp]:
    """Return the rows of marks inside the run; of a sampled log, while a turn lasts four rows or more."""
    run = motion.run
    inside = (run.time >= motion.start) & (run.time <= motion.stop)
    channel = run.channels["once_per_turn"]
    if not (channel[inside] > 0.5).all():
        inside &= run.channels["speed"] * motion.signal.spacing <= 2 * np.pi / ROWS_A_TURN
    rows = np.flatnonzero(inside)
    return rows[mark_rows(channel[rows])] if rows.size else rows


def started_late(motion: Motion) -> Remark | None:
    """Return a remark on a run that begins well above standstill."""
    first, top = float(motion.nodes.speed[0]), float(motion.nodes.speed.max())
    if first <= LATE * top:
        return None
    sentence = f"the run begins at {first / top:.0%} of its top speed, so its peak torque is withheld"
    return Remark("late_start", motion.run.occasion.run, sentence)


def energy_problem(group: Spun, run: SpunRun) -> tuple[str, tuple[Remark, ...]]:
    """Compare the energy the shaft took up with what was drawn, and with the curve's own mean efficiency."""
    of, ok = run.motion.run, group.usable
    power = run.motion.power
    if power is None or ok.sum() < 4:
        return "", ()
    speeds, moments = group.speeds[ok], run.moments[ok]
    inside = (power.time > moments[0]) & (power.time < moments[-1])
    stamps = np.concatenate([[moments[0]], power.time[inside], [moments[-1]]])
    drawn = float(np.trapezoid(np.interp(stamps, power.time, power.values), stamps))
    kinetic = float(stored_energy(group.inertia.value, speeds[-1]) - stored_energy(group.inertia.value, speeds[0]))
    if kinetic >= drawn:
        sentence = (
            f"the flywheel gained {kinetic:.0f} J while {drawn:.0f} J were drawn, which cannot be; look at the "
            "inertia, at units and pole pairs, and at voltage and current. The run's figures are withheld"
        )
        return "energy_gain", (Remark("energy_gain", of.occasion.run, sentence),)
    wind = run.windage.value[ok] * speeds
    overall = (kinetic + float(np.trapezoid(wind, moments))) / drawn
    shaft = group.torque(run)[ok] * speeds
    mean = float(np.trapezoid(shaft, moments)) / drawn
    if abs(overall / mean - 1) <= ENERGY_AGREES:
        return "", ()
    sentence = (
        f"the energy the flywheel took up gives an efficiency of {overall:.3f}, the mean of the curve {mean:.3f}; "
        "the windows smooth too much, or a channel lies behind more than the rig file says"
    )
    return "", (Remark("energy_mismatch", of.occasion.run, sentence),)


def limit_of(group: Spun) -> Limit | None:
    """Return the longest stretch of speeds over which the torque, or the supply current, is flat; None without one."""
    ok = group.usable
    speeds, torque = group.speeds[ok], group.mean_torque()[ok]
    if speeds.size < 4:
        return None
    stretches = [_flat(torque)]
    if all(run.current.size for run in group.runs):
        stretches.append(_flat(np.mean([run.current[ok] for run in group.runs], axis=0)))
    first, last = max(stretches, key=lambda s: float(speeds[s[1]] - speeds[s[0]]))
    if speeds[last] - speeds[first] < LEAST_STRETCH * (speeds[-1] - speeds[0]):
        return None
    return Limit(float(speeds[first]), float(speeds[last]))


def _flat(values: FloatArray) -> tuple[int, int]:
    """Return the first and last place of the longest stretch within FLAT of its mean."""
    best = (0, 0)
    for first in range(values.size):
        rest = values[first:]
        spread = np.maximum.accumulate(rest) - np.minimum.accumulate(rest)
        mean = np.cumsum(rest) / np.arange(1, rest.size + 1)
        reach = int(np.flatnonzero(spread <= FLAT * np.abs(mean))[-1])
        if reach > best[1] - best[0]:
            best = (first, first + reach)
    return best


def remarks_of(group: Spun) -> Iterator[Remark]:
    """Yield what a reader must know of a group's runs."""
    limit = limit_of(group)
    if limit is not None:
        sentence = (
            f"from {limit.low / RPM:.0f} to {limit.high / RPM:.0f} rpm torque or current is flat within {FLAT:.0%}: "
            "there the drive's or the supply's limit sets the torque, and it ranks no motor"
        )
        yield Remark("limited", f"sample {group.sample} on {group.flywheel}", sentence)
    for run in group.runs:
        yield from _run_remarks(group, run)
    heats = [heat for heat in (copper_heat(group, run) for run in group.runs) if heat is not None]
    if heats:
        warmer = max(heats) / (5e-3 * COPPER)
        sentence = (
            f"the winding takes up about {max(heats):.0f} J during a run, which warms 5 g of copper by {warmer:.0f} K; "
            "its resistance is higher at the end than at the beginning"
        )
        yield Remark("winding_warms", f"sample {group.sample} on {group.flywheel}", sentence)


def _run_remarks(group: Spun, run: SpunRun) -> Iterator[Remark]:
    of, top = run.motion.run, float(run.motion.nodes.speed.max())
    where = of.occasion.run
    if top > of.disc.rated_speed:
        sentence = (
            f"the run reached {top / RPM:.0f} rpm, above the rated speed of flywheel {of.disc.name}, "
            f"{of.disc.rated_speed / RPM:.0f} rpm. A disc that bursts goes through guards; do not repeat this"
        )
        yield Remark("above_rated_speed", where, sentence)
    if not of.air_measured:
        sentence = "the run does not state its air; the flywheel's windage counts with usual air and a width for that"
        yield Remark("air_not_stated", where, sentence)
    ok = group.usable
    if run.voltage.size and ok.any():
        volts = run.voltage[ok]
        sag = 1 - float(volts.min() / volts.max())
        if sag > SAG:
            sentence = f"the supply gives way by {sag:.1%} during the run; torque at speed belongs to that supply"
            yield Remark("supply_sag", where, sentence)


def copper_heat(group: Spun, run: SpunRun) -> float | None:
    """Return about how much heat the winding takes up during a run, J; None where its resistance was not measured.

    The winding's current is the supply's at full duty only. Below it goes with the torque, so it is the torque over
    torque per ampere where the supply current is largest.
    """
    of, ok = run.motion.run, group.usable
    if of.resistance is None or not run.current.size or ok.sum() < 4:
        return None
    amperes, torque, moments = run.current[ok], group.torque(run)[ok], run.moments[ok]
    strongest = int(amperes.argmax())
    winding = torque * amperes[strongest] / torque[strongest]
    return float(np.trapezoid(winding**2, moments) * of.resistance)
