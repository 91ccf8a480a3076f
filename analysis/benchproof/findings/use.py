"""Fit for a use: an airframe's hover power, flight time, thrust over weight and heat with a motor, with intervals.

The motors' own mass counts: a heavier motor has to lift itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from benchproof.findings.wording import figure_words, spread_words
from benchproof.methods.records import Column, Table
from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from benchproof.campaign.models.airframe import Airframe
    from benchproof.findings.entrants import Entrant, Settle

    ReadAt = Callable[[Entrant, str, float], Quantity | str]
    """Reads a model's figure at a thrust (N): the quantity, or why there is none."""

FREE_FALL: Final = 9.80665
"""Standard acceleration of free fall, m/s2; exact by convention."""

NEAR_ENOUGH: Final = 0.03
"""A figure is referred to the pack's voltage where the bench's lay within this of it."""

THRUST_EXPONENT: Final = 1.85
POWER_EXPONENT: Final = 2.75
"""Powers of the supply voltage at full throttle: thrust 1.8 to 1.9 and power 2.75 [simulated motor and propeller]."""

ENOUGH: Final = 0.95

Verdict = Literal["suits", "does not suit", "not shown"]


@dataclass(frozen=True, slots=True)
class Fit:
    """A motor on an airframe.

    Parameters
    ----------
    campaign, label : str
        The campaign and the model's name.
    verdict : str
        suits, does not suit, not shown.
    reason : str
        Why, in words.
    hover_power, flight_time, thrust_to_weight, heat_margin : Quantity or None
        W for the whole airframe, s, ratio, ratio of the current the motor bears to the one it gets.
    """

    campaign: str
    label: str
    verdict: Verdict
    reason: str
    hover_power: Quantity | None = None
    flight_time: Quantity | None = None
    thrust_to_weight: Quantity | None = None
    heat_margin: Quantity | None = None


@dataclass(frozen=True, slots=True)
class _Motor:
    """What is known of one motor: model figures, SI, and a reader along the thrust."""

    mass: Quantity
    full: Mapping[str, Quantity]
    continuous: Quantity | None
    read: Callable[[str, float], Quantity | str]


def fits(airframe: Airframe, entrants: Sequence[Entrant], settle: Settle, read: ReadAt) -> tuple[Fit, ...]:
    """Return how each motor suits an airframe.

    Parameters
    ----------
    airframe : Airframe
        The airframe.
    entrants : sequence of Entrant
        The motors.
    settle : callable
        Gives a model's quantity.
    read : callable
        Reads a model's figure at a thrust.
    """
    return tuple(_fit(airframe, entrant, settle, read) for entrant in entrants)


def _fit(airframe: Airframe, entrant: Entrant, settle: Settle, read: ReadAt) -> Fit:
    mass = _model(entrant, "mass", {}, settle)
    if mass is None:
        return Fit(entrant.name, entrant.label, "not shown", "the motor was not weighed")
    found = ((name, _model(entrant, name, {"throttle": "100 %"}, settle)) for name in _AT_FULL)
    full = {name: quantity for name, quantity in found if quantity is not None}
    continuous = _model(entrant, "continuous_current", {}, settle)
    motor = _Motor(mass, full, continuous, lambda name, thrust: read(entrant, name, thrust))
    return _judged(airframe, motor, Fit(entrant.name, entrant.label, "not shown", ""))


_AT_FULL: Final = ("thrust", "electrical_power", "current")


def _model(entrant: Entrant, name: str, at: Mapping[str, str], settle: Settle) -> Quantity | None:
    figure = next(iter(entrant.of(name, at)), None)
    return settle(entrant, figure) if figure is not None else None


def _judged(airframe: Airframe, motor: _Motor, blank: Fit) -> Fit:
    share = combine(lambda m: (airframe.mass.si / airframe.motors + m) * FREE_FALL, motor.mass)
    hover = _at_thrust(motor, "electrical_power", share)
    if isinstance(hover, str):
        return Fit(blank.campaign, blank.label, "not shown", f"hover needs {share.value:.2f} N a motor, {hover}")
    whole = combine(lambda p: airframe.motors * p, hover)
    full = _at_full_throttle(airframe, motor)
    if isinstance(full, str):
        return Fit(blank.campaign, blank.label, "not shown", full, hover_power=whole)
    thrust, power = full
    time = combine(lambda h, f: _flight_time(airframe, h, f), hover, power)
    lift = combine(np.divide, thrust, share)
    heat = _heat_margin(airframe, motor, share)
    verdict, reason = _verdict(airframe, time, lift, heat)
    return Fit(blank.campaign, blank.label, verdict, reason, whole, time, lift, heat)


def _flight_time(airframe: Airframe, hover: float, full: float) -> float:
    mean = airframe.hover_share.si * hover + airframe.full_throttle_share.si * full
    return airframe.usable.si * airframe.pack_energy.si / (airframe.motors * mean)


def _at_thrust(motor: _Motor, name: str, thrust: Quantity) -> Quantity | str:
    """Return a figure at a thrust that is itself uncertain: read at its value, moved along the curve's own slope."""
    at, step = thrust.value, 1.02
    middle, above = motor.read(name, at), motor.read(name, at * step)
    if isinstance(middle, str) or isinstance(above, str):
        return middle if isinstance(middle, str) else str(above)
    slope = float(np.log(above.value / middle.value) / np.log(step))
    return combine(lambda p, t: p * (t / at) ** slope, middle, thrust)


def _at_full_throttle(airframe: Airframe, motor: _Motor) -> tuple[Quantity, Quantity] | str:
    """Return thrust and power of one motor at full throttle on the pack, or why there is none."""
    if set(_AT_FULL) - set(motor.full):
        return "the lab quotes no figures at 100 % throttle, or they were not reached"
    thrust, power, current = (motor.full[name] for name in _AT_FULL)
    bench, pack = power.value / current.value, airframe.pack_voltage.si
    if abs(bench / pack - 1) > NEAR_ENOUGH:
        return (
            f"full throttle was run at {bench:.1f} V; the pack gives {airframe.pack_voltage.text}, too far to refer to"
        )
    return (
        combine(lambda t: t * (pack / bench) ** THRUST_EXPONENT, thrust),
        combine(lambda p: p * (pack / bench) ** POWER_EXPONENT, power),
    )


def _heat_margin(airframe: Airframe, motor: _Motor, share: Quantity) -> Quantity | None:
    """Return the current the motor bears over the root mean square of the one it gets; None where it is not known."""
    hover = _at_thrust(motor, "current", share)
    if motor.continuous is None or isinstance(hover, str):
        return None
    shares = (airframe.hover_share.si, airframe.full_throttle_share.si)
    return combine(
        lambda c, h, f: c / np.sqrt(shares[0] * h**2 + shares[1] * f**2), motor.continuous, hover, motor.full["current"]
    )


def _verdict(airframe: Airframe, time: Quantity, lift: Quantity, heat: Quantity | None) -> tuple[Verdict, str]:
    tests = list(_needs(airframe, time, lift, heat))
    failed = [words for words, chance in tests if chance <= 1 - ENOUGH]
    open_ = [words for words, chance in tests if 1 - ENOUGH < chance < ENOUGH]
    if failed:
        return "does not suit", f"misses {', '.join(failed)}"
    if open_:
        return "not shown", f"not sure of {', '.join(open_)}"
    met = ", ".join(words for words, _ in tests)
    return "suits", f"meets {met}"


def _needs(airframe: Airframe, time: Quantity, lift: Quantity, heat: Quantity | None) -> Iterator[tuple[str, float]]:
    """Yield what the airframe must reach, in words, with its probability."""
    needs = airframe.needs
    least = needs.thrust_to_weight or 1.0
    yield f"thrust to weight of {least:g}", float(np.mean(lift.trials >= least))
    if needs.flight_time is not None:
        yield f"flight time of {needs.flight_time.text}", float(np.mean(time.trials >= needs.flight_time.si))
    if heat is not None:
        yield "the current it can bear", float(np.mean(heat.trials >= 1))


def use_table(name: str, airframe: Airframe, found: Sequence[Fit], coverage: float) -> Table:
    """Return an airframe's table: verdict first."""
    flown = f"{airframe.hover_share.text} hover, {airframe.full_throttle_share.text} full throttle"
    heat = any(fit.heat_margin is not None for fit in found)
    columns = [
        Column("Motor", align="left"),
        Column("Verdict", align="left"),
        Column("Why", align="left"),
        Column("Hover power"),
        Column("Flight time"),
        Column("Thrust to weight"),
        *([Column("Heat margin")] if heat else []),
    ]
    return Table(
        name=f"use-{name}",
        title=f"For the airframe {name}",
        caption=(
            f"{airframe.motors} motors on {airframe.mass.text} without them, {airframe.pack_energy.text} at "
            f"{airframe.pack_voltage.text}, {airframe.usable.text} of it used; flown {flown}. At rest, without wind, "
            "and on the propeller of the bench. "
            + ("" if heat else "No continuous current was measured, so nothing is said of heat.")
        ),
        columns=tuple(columns),
        rows=tuple(_row(fit, coverage, heat=heat) for fit in found),
    )


def _row(fit: Fit, coverage: float, *, heat: bool) -> tuple[str, ...]:
    power = figure_words(fit.hover_power, "electrical_power", coverage) if fit.hover_power else "not known"
    time = spread_words(fit.flight_time, "min", 60.0, coverage) if fit.flight_time else "not known"
    lift = spread_words(fit.thrust_to_weight, "", 1.0, coverage) if fit.thrust_to_weight else "not known"
    margin = spread_words(fit.heat_margin, "", 1.0, coverage) if fit.heat_margin else "not known"
    return (fit.label, fit.verdict, fit.reason, power, time, lift, *((margin,) if heat else ()))
