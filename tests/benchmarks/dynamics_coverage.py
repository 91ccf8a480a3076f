"""How often the 95 % interval of response, heating and balance holds the truth, over simulated benches.

    PYTHONPATH=tests:analysis python -m benchmarks.dynamics_coverage --benches 1000

Each bench has its own rig, its own motor and drive, and two samples about that motor. Each sample's winding is measured,
it runs without load, its throttle steps to and fro, it soaks in heat for a little more than three to six slow time constants,
and it is shaken with three trial masses. Typed readings and logs go through the campaign's methods as a lab's would.
Switching loss and saturation, which no test measures, are drawn from the range that the method states for them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import radians
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from benchmarks.constants_coverage import DAY, no_load_of, open_campaign, resistance_of
from benchmarks.coverage import PROPELLER, Case, case_of, counts, drawn_bench, run
from benchproof.campaign.logs import Log
from benchproof.findings.samples import with_model
from benchproof.methods import registry
from benchproof.methods.soak.loss import SATURATION, SWITCHING
from benchproof.trials.threads import single_threaded
from simulator.shaking import ShakePlan, TrialMass, vibration
from simulator.steps import StepPlan, throttle_step
from simulator.thermal import SoakPlan, heat_soak
from simulator.truth import true_constant, true_heat

if TYPE_CHECKING:
    from benchproof.methods.records import Figure
    from simulator.campaigns import Bench as Truth
    from simulator.loggers import Recording
    from simulator.physics import Motor

RESULT = Path(__file__).parent / "results" / "dynamics_coverage.json"
FAMILY = ("throttle_step", "heat_soak", "vibration")
LIMIT = 100.0
ZERO = 273.15
HEAT = ("thermal_resistance", "thermal_time_constant", "continuous_current")


@dataclass(frozen=True, slots=True)
class Plan:
    """How a lab tests every sample of a campaign: the log of its steps, the soak, and the air of the soak, degC."""

    steps: StepPlan
    soak: SoakPlan
    ambient: float

    @classmethod
    def drawn(cls, bench: Truth, rng: np.random.Generator) -> Plan:
        """Return one lab's way of doing it."""
        soak = SoakPlan(
            power=float(rng.uniform(90, 200)), duration=float(rng.uniform(3.1, 6) * bench.model.soak[3]), interval=1.0
        )
        steps = StepPlan(
            interval=float(rng.choice([0.001, 0.002, 0.005, 0.01])),
            repeats=int(rng.integers(4, 9)),
            speed_noise=float(rng.uniform(1, 6)),
        )
        return cls(steps, soak, float(rng.uniform(15, 30)))


def figures_of_bench(seed: int, trials: int, coverage: float = 0.95, family: tuple[str, ...] = FAMILY) -> list[Case]:
    """Simulate one bench, reduce its campaign, and return every figure beside its truth."""
    rng = np.random.default_rng([seed, 79])
    bench = _drawn(seed, rng)
    plan = Plan.drawn(bench, rng)
    logs: dict[str, Recording] = {}
    tests = [test for sample in bench.samples for test in _tests(bench, sample, rng, logs, plan, family)]
    opened = replace(open_campaign(bench, tests, trials), read_log=lambda test: _log(logs[test.log]))
    found: list[Figure] = []
    with single_threaded():
        for key in family:
            method = registry()[key]
            found += method.reduce([method.gather(test, opened) for test in opened.tests(key)], opened).figures
        figures = with_model(found, bench.campaign, opened.trials)
    return [case_of(figure, _true(bench, figure, plan), coverage) for figure in figures if counts(figure)]


def _drawn(seed: int, rng: np.random.Generator) -> Truth:
    """Return a bench whose motor responds, heats and shakes in its own way, and samples that differ a little in it."""
    bench = drawn_bench(seed, rng)
    model = replace(
        bench.model,
        saturation=SATURATION[0] + SATURATION[1] * rng.uniform(-1, 1),
        soak=tuple(rng.uniform((0.8, 8, 1.5, 90), (1.6, 20, 3.0, 200)).tolist()),
        response=tuple(rng.uniform(0.02, 0.08, 2).tolist()),
        unbalance=bench.model.unbalance * rng.uniform(0.5, 2),
    )
    drive = replace(
        bench.drive,
        switching=SWITCHING[0] + SWITCHING[1] * rng.uniform(-1, 1),
        dead_time=float(rng.uniform(3e-3, 15e-3)),
    )
    samples = {name: _sample(sample, model, rng) for name, sample in bench.samples.items()}
    return replace(bench, model=model, drive=drive, samples=samples)


def _sample(sample: Motor, model: Motor, rng: np.random.Generator) -> Motor:
    r1, t1, r2, t2 = np.array(model.soak) * (1 + 0.01 * rng.standard_normal(4))
    up, down = np.array(model.response) * (1 + 0.01 * rng.standard_normal(2))
    return replace(
        sample,
        saturation=model.saturation,
        soak=(float(r1), float(t1), float(r2), float(t2)),
        response=(float(up), float(down)),
        unbalance=model.unbalance * (1 + 0.15 * rng.standard_normal()),
    )


def _tests(
    bench: Truth,
    sample: str,
    rng: np.random.Generator,
    logs: dict[str, Recording],
    plan: Plan,
    family: tuple[str, ...],
) -> list[dict[str, Any]]:
    """Return the tests of a sample as a lab writes them down; their logs go into ``logs``."""
    tests: list[dict[str, Any]] = []
    if "throttle_step" in family:
        tests.append(_steps(bench, sample, logs, plan.steps))
    if "heat_soak" in family:
        volts = np.linspace(float(rng.uniform(4, 6)), 18.5, int(rng.integers(7, 11)))
        tests += [resistance_of(bench, sample, "r"), no_load_of(bench, sample, "n", volts)]
        tests.append(_soak(bench, sample, logs, plan))
    if "vibration" in family:
        tests.append(_vibration(bench, sample, rng, logs))
    return tests


def _steps(bench: Truth, sample: str, logs: dict[str, Recording], plan: StepPlan) -> dict[str, Any]:
    name = f"raw/{sample}-steps.csv"
    layout = bench.rig.description["logs"]["throttle_step"]
    logs[name] = throttle_step(bench, sample, bench.occasion(DAY, name), propeller=PROPELLER, layout=layout, plan=plan)
    step = {"from": "30 %", "to": "70 %", "propeller": PROPELLER}
    return {"test": "throttle_step", "sample": sample, "log": name, **step}


def _soak(bench: Truth, sample: str, logs: dict[str, Recording], plan: Plan) -> dict[str, Any]:
    name = f"raw/{sample}-soak.csv"
    layout = bench.rig.description["logs"]["heat_soak"]
    logs[name] = heat_soak(
        bench,
        sample,
        bench.occasion(DAY, name),
        propeller=PROPELLER,
        layout=layout,
        plan=plan.soak,
        ambient=plan.ambient,
    )
    held = {"airflow": "propwash", "limit": f"{LIMIT:.0f} degC", "propeller": PROPELLER}
    return {"test": "heat_soak", "sample": sample, "log": name, **held}


def _vibration(bench: Truth, sample: str, rng: np.random.Generator, logs: dict[str, Recording]) -> dict[str, Any]:
    """Shake a sample bare and with one mass at three angles; mass, radius and place are not quite what is written."""
    # Speeds that keep no time with the rows; marks of a locked pair are told apart in a test of their own.
    plan = ShakePlan(
        speed=20000 * np.pi / 30 * (1 + float(rng.uniform(-0.008, 0.008))),
        duration=1.0,
        noise=float(rng.uniform(0.05, 1.0)),
    )
    weighed, radius = float(rng.uniform(5e-6, 30e-6)), float(rng.uniform(8e-3, 14e-3))
    off = 0.02 * weighed * rng.standard_normal()
    caliper = bench.rig.that_measures("length")
    read = float(caliper.indicate(radius, bench.occasion(DAY, f"raw/{sample}-vib-0.csv"), rng))
    written = {"value": f"{1e6 * weighed:.4f} mg", "standard": "2 %"}
    entries = []
    for k, angle in enumerate((None, 0, 120, 240)):
        name = f"raw/{sample}-vib-{k}.csv"
        trial = None
        if angle is not None:
            place = radians(angle + 0.5 * rng.standard_normal())
            trial = TrialMass(weighed + off, radius * (1 + 0.005 * rng.standard_normal()), place)
            entries.append({"mass": written, "radius": f"{1e3 * read:.4f} mm", "angle": f"{angle} deg", "log": name})
        logs[name] = vibration(bench, sample, bench.occasion(DAY, name), trial=trial, plan=plan)
    return {"test": "vibration", "sample": sample, "log": f"raw/{sample}-vib-0.csv", "trial_masses": entries}


def _log(recording: Recording) -> Log:
    """Return a recording as the tool reads it: temperatures in kelvin."""
    channels = {
        name: values + ZERO if name.endswith("_temperature") else values for name, values in recording.channels.items()
    }
    return Log(channels, recording.channels["time"].size, ())


def _true(bench: Truth, figure: Figure, plan: Plan) -> float:
    if figure.name in HEAT:
        return true_heat(
            bench, figure.name, figure.sample, propeller=PROPELLER, plan=plan.soak, ambient=plan.ambient, limit=LIMIT
        )
    return true_constant(bench, figure.name, figure.at, figure.sample)


if __name__ == "__main__":
    run(figures_of_bench, RESULT, __doc__)
