"""From sweeps and constants to loss budgets: what is measured, what is known, and what is not.

Two things a sweep does not tell are taken from elsewhere, or count with the width of ignorance. How warm the winding
was: from the temperature the campaign states for the highest throttle, else from a rise of 0 to 1.5 K per watt of loss
(practitioner's judgement: steps last seconds, and small motors end at 2 to 8 K/W after minutes). How far the torque
constant falls under load: from the step at full throttle, where the supply's current is the winding's, else 0 to 5 % at
the largest current (practitioner's judgement).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.findings.losses import (
    Loaded,
    LossBudget,
    Machine,
    heating_from,
    loss_budget,
    saturation_of,
    winding_current,
)
from benchproof.methods.sweep.curves import EDGE, SweepCurves
from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, merge_parts

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from benchproof.methods.sweep.run import ReducedRun
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

GRID: Final = 24
"""Places along the power axis at which a budget is drawn."""

MOST_HEATING: Final = 1.5
"""Largest rise of the winding in a step, K per watt of its losses (practitioner's judgement)."""

MOST_SATURATION: Final = 0.05
"""Largest fall of the torque constant at the largest current (practitioner's judgement)."""

BEYOND: Final = 1.25
"""Drag is followed beyond the speeds it was measured at by this factor, and no further."""

FEWEST_DRAGS: Final = 2
"""Speeds at which the drag must be known: one says nothing of how it grows."""

FULL: Final = 0.0
"""Logarithm of full throttle."""


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What other tests say of a sample.

    Parameters
    ----------
    resistance : Quantity
        Phase to phase at 20 degC, ohm.
    kt : Quantity
        N m/A.
    drag : tuple of (float, Quantity)
        Speeds (rad/s) and drag torques there (N m).
    ambient : Quantity
        Temperature of the air, degC.
    on_resistance : float
        Of one switch of the drive, ohm; 0 where not stated.
    hottest : Quantity or None
        Temperature of the winding at the highest throttle, degC. It counts where that step settled in a run.
    """

    resistance: Quantity
    kt: Quantity
    drag: tuple[tuple[float, Quantity], ...]
    ambient: Quantity
    on_resistance: float = 0.0
    hottest: Quantity | None = None


def sweep_budget(
    sample: str, runs: Sequence[ReducedRun], known: Known, points: Sequence[float], trials: Trials
) -> LossBudget | None:
    """Return the loss budget of a sample's sweeps along electrical power, as tested.

    Parameters
    ----------
    sample : str
        The sample.
    runs : sequence of ReducedRun
        Its sweeps; those without torque or speed do not count.
    known : Known
        What other tests say.
    points : sequence of float
        Electrical powers to be among the places, W.
    trials : Trials
        The laboratory's trials.

    Returns
    -------
    LossBudget or None
        None where no sweep gives torque against power, or none of it within reach of the drag's speeds.
    """
    curves = [curve for run in runs if (curve := _usable(run, trials)) is not None]
    if not curves or len(known.drag) < FEWEST_DRAGS:
        return None
    states = _within(_states(curves, _places(curves, points), trials), known)
    if not states.parts:
        return None
    hottest, highest = known.hottest, _highest(curves, runs, trials)
    if hottest is None or highest is None:
        return loss_budget(sample, states, _machine(sample, curves, states, replace(known, hottest=None), trials))
    machine = _machine(sample, curves, states, known, trials)
    drag = drag_at(known.drag, highest.speed)[0]
    heating = heating_from(row_of(hottest), machine, highest.torque[0], drag, highest.speed[0])
    parts = merge_parts((machine.parts, hottest.parts, highest.parts[0]))
    return loss_budget(sample, states, replace(machine, heating=heating, parts=parts))


def _highest(curves: Sequence[SweepCurves], runs: Sequence[ReducedRun], trials: Trials) -> Loaded | None:
    """Return the state at the highest throttle, which a stated temperature of the winding belongs to.

    Of the runs in which that step settled; None where it settled in none: the next lower one is tens of watts below.
    """
    steps = [plateau.throttle for run in runs for plateau in run.segments.plateaus]
    steps += [throttle for run in runs for _, throttle in run.segments.unsettled]
    there = [curve for curve in curves if curve.points.throttle.max() >= max(steps) * (1 - EDGE)]
    if not there:
        return None
    return _states(there, np.array([min(curve.range("electrical_power")[1] for curve in there)]), trials)


def _usable(run: ReducedRun, trials: Trials) -> SweepCurves | None:
    """Return a run's curves as tested, where it has torque and speed against power."""
    if run.withheld or not {"torque", "speed"} <= run.points.roots.keys():
        return None
    # As tested, because energy is balanced in the air of the day; a law of reference air would only add its own error.
    curves = SweepCurves(replace(run.points, reference_density=None), trials)
    try:
        curves.fit("torque", "electrical_power")
    except ValueError:  # too few plateaus for a curve
        return None
    return curves


def _places(curves: Sequence[SweepCurves], points: Sequence[float]) -> FloatArray:
    """Return logarithms of electrical power: a grid over what all runs reached, and the wanted points inside it."""
    low = max(curve.range("electrical_power")[0] for curve in curves)
    high = min(curve.range("electrical_power")[1] for curve in curves)
    wanted = [float(np.log(point)) for point in points]
    return np.unique([*np.linspace(low, high, GRID), *(place for place in wanted if low <= place <= high)])


def _states(curves: Sequence[SweepCurves], places: FloatArray, trials: Trials) -> Loaded:
    power = np.broadcast_to(np.exp(places)[:, None], (places.size, 1 + trials.count))
    torque, torque_parts = _mean(curves, "torque", "electrical_power", places)
    speed, speed_parts = _mean(curves, "speed", "electrical_power", places)
    return Loaded(power, torque, speed, (merge_parts((torque_parts, speed_parts)),) * places.size)


def _mean(
    curves: Sequence[SweepCurves], name: str, axis: str, places: FloatArray
) -> tuple[FloatArray, tuple[Part, ...]]:
    """Return the mean of the runs' curves, shape (k, 1 + trials), and its sources."""
    read = [curve.along(name, axis, places) for curve in curves]
    total = sum(np.concatenate([values[:, None], by_trial], axis=1) for values, by_trial, _ in read)
    return np.asarray(total / len(read)), merge_parts(parts for _, _, parts in read)


def _within(states: Loaded, known: Known) -> Loaded:
    """Return the states at speeds within reach of those the drag was measured at."""
    keep = [reached_speed(float(speed), known) for speed in states.speed[:, 0]]
    parts = tuple(own for own, kept in zip(states.parts, keep, strict=True) if kept)
    return Loaded(states.electrical_power[keep], states.torque[keep], states.speed[keep], parts)


def reached_speed(speed: float, known: Known) -> bool:
    """Say whether a speed (rad/s) is within reach of those the drag was measured at."""
    speeds = [at for at, _ in known.drag]
    return min(speeds) / BEYOND <= speed <= max(speeds) * BEYOND


def row_of(quantity: Quantity) -> FloatArray:
    """Return the best estimate of a quantity and its trials, shape (1 + trials,)."""
    return np.concatenate([[quantity.value], quantity.trials])


def _machine(sample: str, curves: Sequence[SweepCurves], states: Loaded, known: Known, trials: Trials) -> Machine:
    campaign = curves[0].points.identity[0]
    kt = row_of(known.kt)
    drag = drag_at(known.drag, states.speed)
    saturation, extra = _saturation(curves, known, kt, trials)
    if saturation is None:
        largest = float(np.max(winding_current(states.torque[:, 0] + drag[:, 0], kt[:1], np.zeros(1))))
        identity = (campaign, sample, "torque constant under load")
        share, part = unknown(MOST_SATURATION, identity, "fall of the torque constant under load", trials)
        saturation, extra = share / largest, (part,)
    groups = [known.resistance.parts, known.kt.parts, known.ambient.parts, *(one.parts for _, one in known.drag), extra]
    heating, part = unknown(MOST_HEATING, (campaign, sample, "winding heating"), "warmth of the winding", trials)
    warmth = (part,) if known.hottest is None else ()
    return Machine(
        resistance=row_of(known.resistance),
        kt=kt,
        saturation=saturation,
        drag=drag,
        ambient=row_of(known.ambient),
        heating=heating,
        on_resistance=known.on_resistance,
        parts=merge_parts([*groups, warmth]),
    )


def unknown(most: float, identity: tuple[str, ...], label: str, trials: Trials) -> tuple[FloatArray, Part]:
    """Return something that lies between 0 and ``most``, and nobody knows where, shape (1 + trials,)."""
    source = Source(identity, label, RECTANGULAR)
    draws = trials.draw(source)
    middle = most / 2
    return np.concatenate([[middle], middle + middle / 3**0.5 * draws]), Part(source, draws)


def _saturation(
    curves: Sequence[SweepCurves], known: Known, kt: FloatArray, trials: Trials
) -> tuple[FloatArray | None, tuple[Part, ...]]:
    """Return the fall of the torque constant per ampere from the steps at full throttle; None without such a step.

    Torque per ampere is read as one figure: what moves the load from step to step moves torque and current alike, and
    would count twice if both scattered apart.
    """
    full = [curve for curve in curves if curve.problem("throttle", FULL) == ""]
    place = np.array([FULL])
    try:
        read = [_mean(full, name, "throttle", place) for name in ("speed", "current")] if full else []
        read += [_mean([_per_ampere(curve, trials) for curve in full], "torque", "throttle", place)] if full else []
    except ValueError:  # too few plateaus along the throttle
        return None, ()
    if not read:
        return None, ()
    speed, current, torque_per_ampere = (values for values, _ in read)
    if not reached_speed(float(speed[0, 0]), known):
        return None, ()
    saturation = saturation_of(torque_per_ampere * current + drag_at(known.drag, speed), current, kt)[0]
    return saturation, merge_parts(parts for _, parts in read)


def _per_ampere(curves: SweepCurves, trials: Trials) -> SweepCurves:
    """Return a run's curves with the torque per ampere of supply current in the place of the torque."""
    points = curves.points

    def divided(rows: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        return {**rows, "torque": rows["torque"] - rows["current"]}  # logarithms and relative noise

    campaign, run = points.identity
    ratio = replace(
        points,
        identity=(campaign, "torque per ampere", run),
        roots=divided(points.roots),
        errors=replace(points.errors, loadings=divided(points.errors.loadings)),
        noise=divided(points.noise),
    )
    return SweepCurves(ratio, trials)


def drag_at(known: Sequence[tuple[float, Quantity]], speed: FloatArray) -> FloatArray:
    """Return the drag torque at some speeds, N m, shape (k, 1 + trials), from figures at a few speeds.

    A parabola (line, constant) through three or more (two, one) figures, trial by trial; at and below the lowest speed
    that was measured it runs on as it is.

    Parameters
    ----------
    known : sequence of (float, Quantity)
        Speeds (rad/s) and drag torques there, at least one.
    speed : array, shape (k, 1 + trials)
        rad/s.
    """
    at = np.array([place for place, _ in known])
    scale = float(at.max())
    values = np.stack([np.concatenate([[one.value], one.trials]) for _, one in known])
    degree = min(len(known) - 1, 2)
    weights = np.linalg.pinv(np.vander(at / scale, degree + 1, increasing=True))
    coefficients = [
        sum(weight * row for weight, row in zip(row_weights, values, strict=True)) for row_weights in weights
    ]
    total = np.zeros_like(speed)
    for coefficient in reversed(coefficients):
        total = total * (speed / scale) + coefficient
    return np.maximum(total, 0.0)
