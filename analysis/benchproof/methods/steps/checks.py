"""What a step must be to count, and what a reader must know of it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.steps.fit import StepFit
    from benchproof.methods.steps.run import Step, StepRun

    FloatArray = NDArray[np.float64]

SMALL: Final = 8.0
"""A change of speed under this many standard deviations of a row is lost in the noise."""

LARGEST_OVERSHOOT: Final = 0.10
"""Beyond it the response is of second order (common practice)."""

LOST_SPEED: Final = 0.20
"""A fall of the speed by more than this share, with a current spike, is a lost commutation (practitioner's rule)."""

SPIKE: Final = 1.5
"""Current over its own steady level that counts as a spike."""

PLATEAU: Final = 0.97
"""Current this near to its highest, as a share, is on a plateau."""

PLATEAU_SHARE: Final = 0.5
"""Share of the response that a plateau of current must last to be a limit."""

HELD: Final = 1.5
"""Rows over which a speed that changes is repeated, from which its telemetry is slower than the log."""

_FEWEST: Final = 4


def fault_of(run: StepRun, step: Step) -> str:
    """Return why a step cannot be fitted, as a code; nothing where it can."""
    if not step.square:
        return "command_not_square"
    return "desync" if lost_commutation(run, step) else ""


def fault_of_fit(fit: StepFit) -> str:
    """Return why a fitted step does not count, as a code; nothing where it does."""
    if abs(fit.change) < SMALL * fit.noise:
        return "step_too_small"
    return "overshoot" if fit.overshoot > LARGEST_OVERSHOOT else ""


def lost_commutation(run: StepRun, step: Step) -> bool:
    """Say whether the speed falls by a fifth while the current spikes, at any time in a step."""
    if "current" not in run.others:
        return False
    speed, current = run.speed[step.rows], run.others["current"][step.rows]
    ends = [
        float(np.median(part)) for part in (speed[: step.after - step.rows.start], speed[-max(speed.size // 3, 1) :])
    ]
    usual = max(float(np.median(current)), float(np.median(current[-max(current.size // 3, 1) :])))
    fallen = speed < (1 - LOST_SPEED) * min(ends)
    return bool(np.any(fallen & (current > SPIKE * usual)))


def limited(run: StepRun, fit: StepFit) -> bool:
    """Say whether the current stood on a plateau while the speed rose: the drive or the supply set the pace."""
    if "current" not in run.others or fit.change <= 0:
        return False
    begin = fit.step.command + fit.dead_time
    rows = (run.time >= begin) & (run.time <= begin + 2 * fit.time_constant)
    current = run.others["current"][rows]
    if current.size < _FEWEST:
        return False
    return bool(np.mean(current >= PLATEAU * current.max()) >= PLATEAU_SHARE)


def held_rows(run: StepRun, fit: StepFit) -> float:
    """Return over how many rows a reading is repeated while the speed changes; 1 for a fresh one each row."""
    begin = fit.step.command + fit.dead_time
    rows = (run.time >= begin) & (run.time <= begin + 1.5 * fit.time_constant)
    speed = run.speed[rows]
    if speed.size < _FEWEST:
        return 1.0
    return (speed.size - 1) / max(int(np.count_nonzero(np.diff(speed))), 1)


def damping(overshoot: float) -> float:
    """Return the damping ratio of a second-order response by its overshoot.

    ``-ln(o) / sqrt(pi^2 + ln^2(o))``, textbook knowledge [from memory].
    """
    logarithm = math.log(overshoot)
    return -logarithm / math.hypot(math.pi, logarithm)


def remarks_of(run: StepRun, left_out: Sequence[tuple[Step, str]], fits: Sequence[StepFit]) -> Iterator[Remark]:
    """Yield what a reader must know of the steps of one log."""
    where = run.occasion.run
    for code in dict.fromkeys(code for _, code in left_out):
        at = ", ".join(f"{step.command:.2f} s" for step, each in left_out if each == code)
        yield Remark(code, where, f"steps at {at} are left out: {_WHY[code]}")
    bound = [fit for fit in fits if limited(run, fit)]
    if bound:
        sentence = (
            f"the current stands on a plateau during {len(bound)} of {len(fits)} steps: a limit of drive or supply "
            "sets the pace, and the time constant is that of the limit"
        )
        yield Remark("current_limited", where, sentence)
    held = float(np.median([held_rows(run, fit) for fit in fits])) if fits else 1.0
    if held > HELD:
        sentence = (
            f"the speed stands still over {held:.1f} rows at a time while it changes: the telemetry is slower than the "
            f"log, and up to {1e3 * held * run.frame:.1f} ms of the dead time may be its own"
        )
        yield Remark("speed_held", where, sentence)
    swinging = [fit.overshoot for fit in fits if fit.overshoot > LARGEST_OVERSHOOT / 2]
    if swinging:
        largest = max(swinging)
        sentence = f"the speed goes {largest:.0%} beyond where it ends (damping ratio {damping(largest):.2f})"
        yield Remark("overshoot_seen", where, sentence)


_WHY: Final = {
    "command_not_square": "the command takes more than one row from level to level",
    "desync": "the speed falls by more than a fifth while the current spikes, so the drive lost the rotor's position",
    "step_too_small": "the change of speed is lost in the scatter of the rows",
    "overshoot": "the speed goes more than 10 % beyond where it ends, which a first-order response never does",
    "not_fitted": "no dead time and time constant fit the rows",
}
