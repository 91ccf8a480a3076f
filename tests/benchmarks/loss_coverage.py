"""How often the 95 % interval of each term of a loss budget holds the truth, over simulated benches.

    PYTHONPATH=tests:analysis python -m benchmarks.loss_coverage --benches 1000

Sweeps are those of `benchmarks.sweep_coverage`. What other tests say of resistance, torque constant and drag is drawn
about the truth with the uncertainty such tests have. Every bench is reduced with the winding's temperature at the highest
throttle stated, and without it; the terms that hang on it have rows for both. Without it the winding's rise counts with
the width of ignorance; the true rise per watt is drawn from that width, and a row says which share of the variance belongs
to what nobody measured.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.coverage import PROPELLER, Case, drawn_bench, run
from benchmarks.sweep_coverage import _run
from benchproof.findings.counterfactual import Change, efficiency_change
from benchproof.findings.loss_inputs import MOST_HEATING, Known, sweep_budget
from benchproof.methods.sweep.run import reduce_run
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity
from benchproof.trials.threads import single_threaded
from simulator.campaigns import SweepPlan
from simulator.physics import Air, operate, operate_at
from simulator.truth import true_constant

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.findings.losses import LossBudget
    from simulator.campaigns import Bench as Truth
    from simulator.physics import Setup

RESULT = Path(__file__).parent / "results" / "loss_coverage.json"
POWERS = (50.0, 100.0, 200.0, 400.0)
SURE = {"resistance": 0.003, "kt": 0.003, "drag": 0.02}
"""Relative standard uncertainties of what other tests say."""

UNMEASURED = ("winding heating", "torque constant under load")
"""Sources that stand for what no test measured."""

LESS = Change("resistance -5 %", resistance=-0.05)
GAIN = "efficiency gained by 5 % less resistance"
WARM = ("copper", "accounted for", GAIN)
"""Terms that hang on the winding's temperature."""


def cases_of_bench(seed: int, trials: int, coverage: float = 0.95) -> list[Case]:
    """Simulate one bench, split its power, and return every term beside its truth, in W."""
    rng = np.random.default_rng([seed, 78])
    bench = warming(drawn_bench(seed, rng), float(rng.uniform(0, MOST_HEATING)))
    engine = Trials(20260101, trials)
    air = Air(float(rng.uniform(8, 30)), float(rng.uniform(94000, 103000)), float(rng.uniform(0.2, 0.7)))
    with single_threaded():
        runs = [reduce_run(_run(bench, "A", f"A-{k}", air, SweepPlan(), engine), engine) for k in (1, 2)]
        known = known_of(bench, "A", air, engine, rng)

        def all_cases(known: Known) -> list[Case]:
            budget = sweep_budget("A", runs, known, POWERS, engine)
            assert budget is not None
            return [case for power in POWERS for case in cases_at(bench, budget, power, air, coverage)]

        stated = _said(all_cases(known), "stated")
        unstated = _said(all_cases(replace(known, hottest=None)), "not stated")
    return [*stated, *(case for case in unstated if case.name in WARM)]


def _said(cases: list[Case], words: str) -> list[Case]:
    """Return the cases, those that hang on the winding's temperature with what was said of it."""
    return [
        replace(case, at=f"{case.at}, winding temperature {words}") if case.name in WARM else case for case in cases
    ]


def warming(bench: Truth, heating: float) -> Truth:
    """Return a bench whose windings rise by so much per watt of loss, K/W."""
    samples = {name: replace(motor, heating=heating) for name, motor in bench.samples.items()}
    return replace(bench, model=replace(bench.model, heating=heating), samples=samples)


def known_of(bench: Truth, sample: str, air: Air, trials: Trials, rng: np.random.Generator) -> Known:
    """Return what tests of the sample's constants would say, each wrong by a draw of its own."""

    def about(name: str, true: float, standard: float) -> Quantity:
        value = true + standard * rng.standard_normal()
        return Quantity.of(value, standard, Source(("bench", sample, name), name, NORMAL), trials)

    motor = bench.motor(sample)
    speeds = [n * np.pi / 30 for n in (8000.0, 15000.0, 22000.0, 29000.0)]
    kt = true_constant(bench, "kt", {}, sample)
    full = operate_at(bench.setup(sample, PROPELLER, air.density, air.temperature), "throttle", 1.0)
    return Known(
        resistance=about("resistance", motor.resistance, SURE["resistance"] * motor.resistance),
        kt=about("kt", kt, SURE["kt"] * kt),
        drag=tuple((w, about(f"drag {w:.0f}", float(motor.drag_torque(w)), SURE["drag"] * 5e-3)) for w in speeds),
        ambient=about("air", air.temperature, 0.3),
        on_resistance=bench.drive.on_resistance,
        hottest=about("winding", float(full.winding_temperature[0]), 2.0),
    )


def true_terms(bench: Truth, sample: str, power: float, air: Air) -> Mapping[str, float]:
    """Return the true terms, W, at an electrical power; the drive's switching is what remains."""
    setup = bench.setup(sample, PROPELLER, air.density, air.temperature)
    state, motor = operate_at(setup, "electrical_power", power), bench.motor(sample)
    terms = {
        "shaft_power": state.shaft_power,
        "copper": state.winding_current**2 * motor.resistance_at(state.winding_temperature),
        "drag": motor.drag_torque(state.speed) * state.speed,
        "drive": 2 * bench.drive.on_resistance * state.winding_current**2,
    }
    found = {name: float(value[0]) for name, value in terms.items()}
    return {**found, "residual": power - sum(found.values())}


def true_gain(bench: Truth, sample: str, power: float, air: Air, less: float) -> float:
    """Return how far the efficiency truly moves with less resistance: load, speed and the drive's switching held."""
    setup = bench.setup(sample, PROPELLER, air.density, air.temperature)
    now = operate_at(setup, "electrical_power", power)
    better = replace(setup, motor=replace(setup.motor, resistance=setup.motor.resistance * (1 - less)))
    saved = _copper(setup, now.speed) - _copper(better, now.speed)
    return float((now.shaft_power / (power - saved) - now.shaft_power / power)[0])


def _copper(setup: Setup, speed: np.ndarray) -> np.ndarray:
    state = operate(setup, speed)
    return state.winding_current**2 * setup.motor.resistance_at(state.winding_temperature)


def cases_at(bench: Truth, budget: LossBudget, power: float, air: Air, coverage: float) -> list[Case]:
    """Return every term at an electrical power beside its truth; none where the power is not reached, or not in truth."""
    place = int(np.argmin(np.abs(budget.states.electrical_power[:, 0] - power)))
    if abs(budget.states.electrical_power[place, 0] - power) > 1e-6:
        return []
    try:
        true = dict(true_terms(bench, "A", power, air))
    except ValueError:  # beyond full throttle
        return []
    rows = dict(budget.terms)
    # A residual is small and of either sign: its bias is told by what the other terms add up to.
    rows["accounted for"] = budget.states.electrical_power - rows.pop("residual")
    true["accounted for"] = power - true.pop("residual")
    rows[GAIN] = efficiency_change(budget, LESS)
    true[GAIN] = true_gain(bench, "A", power, air, -LESS.resistance)
    return [_case(name, power, budget.quantity(values, place), true[name], coverage) for name, values in rows.items()]


def _case(name: str, power: float, quantity: Quantity, true: float, coverage: float) -> Case:
    low, high = quantity.interval(coverage)
    u = quantity.standard_uncertainty
    unmeasured = {part.source.identity for part in quantity.parts if part.source.identity[-1] in UNMEASURED}
    share = quantity.share_of(unmeasured) ** 2 / u**2
    at = f"electrical_power {power:g} W"
    return Case(name, at, "sample", quantity.value, u, low, high, true, share)


def main() -> None:
    """Run the benchmark and write its result."""
    run(cases_of_bench, RESULT, __doc__ or "")


if __name__ == "__main__":
    main()
