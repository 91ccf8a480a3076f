"""What a vibration run must be to count, and what a reader must know of it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchproof.methods.balance.run import Orders

STEADY: Final = 0.01
"""A speed that wanders by more is not one speed, and runs further apart do not compare (common practice)."""

DRIFT: Final = math.radians(20)
"""Turn of the phase of order 1 that something loose or a resonance nearby makes (common practice)."""

LEAST_EFFECT: Final = 0.2
"""Share of the bare rotor's vibration that a trial mass should change (common practice)."""


def fault_of(runs: Sequence[Orders]) -> str:
    """Return why runs give no residual unbalance, as a code; nothing where they do."""
    speeds = np.array([run.turns.speed for run in runs])
    if any(run.clipped for run in runs):
        return "clipped"
    if any(run.amplitude.size < 2 for run in runs):
        return "sampled_too_slowly"
    if any(run.turns.wander > STEADY for run in runs) or np.ptp(speeds) > STEADY * speeds.mean():
        return "speed_unsteady"
    return ""


def remarks_of(runs: Sequence[Orders]) -> Iterator[Remark]:
    """Yield what a reader must know of the runs of one test."""
    for run in runs:
        where = run.log.occasion.run
        if run.clipped:
            yield Remark(
                "clipped", where, "the acceleration stands at an end stop of the converter: lower the range's gain"
            )
        if run.turns.wander > STEADY:
            sentence = f"the speed wanders by {run.turns.wander:.1%}; hold it within 1 %"
            yield Remark("speed_unsteady", where, sentence)
        if run.drift > DRIFT:
            sentence = f"the phase once a turn moves by {math.degrees(run.drift):.0f} degrees during the log"
            yield Remark("phase_drift", where, sentence)
        yield from _aliased(run, where)
    yield from _apart(runs)
    yield from _second_order(runs[0])


def _aliased(run: Orders, where: str) -> Iterator[Remark]:
    if run.amplitude.size < 2:
        rate = 1 / float(np.median(np.diff(run.log.time)))
        sentence = (
            f"{rate:.0f} rows a second are too few for twice the turning frequency of "
            f"{run.turns.speed / 2 / np.pi:.0f} Hz: what is faster folds over it"
        )
        yield Remark("sampled_too_slowly", where, sentence)


def _apart(runs: Sequence[Orders]) -> Iterator[Remark]:
    bare = runs[0]
    where = bare.log.occasion.run
    speeds = np.array([run.turns.speed for run in runs])
    if np.ptp(speeds) > STEADY * speeds.mean():
        yield Remark("speeds_differ", where, f"the runs' speeds lie {np.ptp(speeds) / speeds.mean():.1%} apart")
    for run in runs[1:]:
        effect = abs(run.amplitude[0] - bare.amplitude[0]) / abs(bare.amplitude[0])
        if effect < LEAST_EFFECT:
            sentence = f"the trial mass changes the vibration by {effect:.0%} only; a larger one would tell more"
            yield Remark("trial_mass_small", run.log.occasion.run, sentence)


def _second_order(bare: Orders) -> Iterator[Remark]:
    if bare.amplitude.size > 1 and abs(bare.amplitude[1]) > abs(bare.amplitude[0]):
        sentence = "the stand shakes more twice a turn than once: a bent shaft or a misalignment, rather than unbalance"
        yield Remark("second_order", bare.log.occasion.run, sentence)


def between_tests(first: Orders, other: Orders) -> Iterator[Remark]:
    """Yield a remark where the same rotor answers with another phase from one test to the next."""
    turn = abs(float(np.angle(other.amplitude[0] / first.amplitude[0])))
    if turn > DRIFT:
        sentence = (
            f"the phase once a turn lies {math.degrees(turn):.0f} degrees off that of {first.log.occasion.run}: "
            "something moved between the tests"
        )
        yield Remark("phase_drift", other.log.occasion.run, sentence)
