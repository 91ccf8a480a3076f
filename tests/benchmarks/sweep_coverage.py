"""How often the 95 % interval of a thrust sweep's figures holds the truth, over simulated benches.

    PYTHONPATH=tests:analysis python -m benchmarks.sweep_coverage --benches 1000

Each bench has its own rig, whose instruments err as its file says, its own motor, two samples about that motor, and
two runs a sample. For a sample's figure the truth is that sample's, for the model's it is the model's mean.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import yaml

from benchproof.campaign.calibration_files import CalibrationTable
from benchproof.campaign.faults import validated
from benchproof.campaign.models.lab import OperatingPoints
from benchproof.campaign.models.rig import RigFile
from benchproof.campaign.yaml import Places
from benchproof.findings.samples import with_model
from benchproof.methods.sweep.figures import figures_of
from benchproof.methods.sweep.points import SweepRun
from benchproof.methods.sweep.propeller import READ_AT
from benchproof.methods.sweep.run import reduce_run
from benchproof.rig.air import moist_air_density
from benchproof.rig.build import build_instrument
from benchproof.rig.instrument import Occasion
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import combine
from benchproof.trials.threads import single_threaded
from simulator.campaigns import Bench as Truth
from simulator.campaigns import Spread, SweepPlan, air_readings, samples_of, thrust_sweep
from simulator.demo import DRIVE, PROPELLERS, SUPPLY, THRUST_LOADS, TORQUE_LOADS, motor
from simulator.demo_words import RIG
from simulator.instruments import Rig
from simulator.physics import Air
from simulator.streams import stream
from simulator.truth import truth

RESULT = Path(__file__).parent / "results" / "sweep_coverage.json"
DAY = date(2026, 3, 10)
PROPELLER = "oar-51x45"
TORQUE_LAYOUT = {
    "time": {"column": "t", "unit": "ms"},
    "throttle": {"column": "u", "unit": "%"},
    "thrust": {"column": "T", "unit": "gf", "instrument": "thrust_cell"},
    "torque": {"column": "Q", "unit": "N*m", "instrument": "torque_cell"},
    "voltage": {"column": "U", "unit": "V", "instrument": "supply_volts"},
    "current": {"column": "I", "unit": "A", "instrument": "supply_amps"},
    "speed": {"column": "n", "unit": "rpm", "instrument": "tachometer", "divide_by": "pole_pairs"},
}
POINTS = OperatingPoints.model_validate(
    {
        "electrical_power": ["50 W", "100 W", "200 W", "400 W"],
        "thrust": ["5 N", "8 N"],
        "speed": ["10000 rpm", "20000 rpm"],
        "throttle": ["50 %", "100 %"],
    }
)


@dataclass(frozen=True, slots=True)
class Case:
    """One figure of one bench beside its truth, in SI."""

    name: str
    at: str
    of: str
    value: float
    uncertainty: float
    low: float
    high: float
    true: float


def figures_of_bench(seed: int, trials: int, coverage: float = 0.95) -> list[Case]:
    """Simulate one bench, reduce its runs, and return every figure beside its truth."""
    rng = np.random.default_rng([seed, 77])
    bench = _bench(seed, rng)
    engine = Trials(20260101, trials)
    air = Air(float(rng.uniform(8, 30)), float(rng.uniform(94000, 103000)), float(rng.uniform(0.2, 0.7)))
    plan = SweepPlan(
        levels=tuple(np.round(np.linspace(0.1, 1.0, int(rng.integers(13, 22))), 3).tolist()),
        dwell=float(rng.uniform(2.5, 4.0)),
        down=bool(rng.uniform() < 0.8),
    )
    with single_threaded():
        runs = [
            reduce_run(_run(bench, sample, f"{sample}-{repeat}", air, plan, engine), engine)
            for sample in bench.samples
            for repeat in (1, 2)
        ]
        stub = SimpleNamespace(lab=SimpleNamespace(operating_points=POINTS), trials=engine)
        found, _ = figures_of(runs, stub, "thrust_sweep/1.0")
        cases = [
            _case(bench, figure, air, coverage)
            for figure in with_model(found, f"bench-{seed}", engine)
            if figure.quantity is not None
        ]
        return [case for case in cases if case is not None]


def _bench(seed: int, rng: np.random.Generator) -> Truth:
    rig = Rig.drawn(yaml.safe_load(RIG), stream(seed, "coverage"))
    model = motor(rng.uniform(1600, 2000), rng.uniform(1.5e5, 2.4e5), rng.uniform(0.7, 1.2), 33.0, 15.5)
    spread = Spread() if rng.uniform() < 0.5 else Spread(kv=0.012, resistance=0.02, drag=0.1, mass=0.006)
    samples = samples_of(model, spread, ("A", "B"), rng)
    propeller = replace(PROPELLERS[PROPELLER], thrust_coefficient=rng.uniform(0.13, 0.17))
    return Truth(rig, model, samples, {PROPELLER: propeller}, DRIVE, SUPPLY, f"bench-{seed}")


def _run(bench: Truth, sample: str, log: str, air: Air, plan: SweepPlan, trials: Trials) -> SweepRun:
    happened = bench.occasion(DAY.isoformat(), log)
    recording = thrust_sweep(bench, sample, happened, propeller=PROPELLER, air=air, layout=TORQUE_LAYOUT, plan=plan)
    model = validated(RigFile, bench.rig.description | _plain_dates(bench.rig.description), Places("rig", {}))
    occasion = Occasion(bench.rig.name, bench.campaign, log, DAY)

    def instrument(name: str):
        return build_instrument(model, name, DAY, lambda path: _table(bench, name, path))

    channels = {name: recording.channels[name] for name in ("thrust", "torque", "voltage", "current", "speed")}
    read = air_readings(bench, air, happened)
    readings = [
        instrument(name).reading([value], occasion, name, trials).quantity
        for name, value in (
            ("thermometer", read.temperature + 273.15),
            ("barometer", read.pressure),
            ("hygrometer", read.humidity),
        )
    ]
    return SweepRun(
        sample=sample,
        propeller=PROPELLER,
        diameter=bench.propellers[PROPELLER].diameter,
        reseat=0.004,
        time=recording.channels["time"],
        throttle=recording.channels["throttle"],
        channels=channels,
        instruments={key: instrument(TORQUE_LAYOUT[key]["instrument"]) for key in channels},
        occasion=occasion,
        density=combine(moist_air_density, *readings),
        reference_density=float(moist_air_density(288.15, 101325.0, 0.0)),
        pole_pairs=7,
    )


def _plain_dates(description: dict) -> dict:
    """YAML read without our rules gives dates; the models want the words of the file."""
    return json.loads(json.dumps(description, default=str))


def _table(bench: Truth, name: str, path: str) -> CalibrationTable:
    cell = bench.rig.instrument(name)
    entry = next(each for each in cell.calibrations if each["file"] == path)
    loads, noise = (THRUST_LOADS, 1.5e-3) if name == "thrust_cell" else (TORQUE_LOADS, 1.2e-4)
    rows = cell.calibration_rows(entry, loads, noise=noise, hysteresis=1e-4 * cell.full_scale)
    applied, indicated, direction = zip(*rows, strict=True)
    return CalibrationTable(np.array(applied), np.array(indicated), tuple(direction))


def _case(bench: Truth, figure, air: Air, coverage: float) -> Case | None:
    """Return a figure beside its truth; None where the true bench, in the reference air, does not get there."""
    axis, text = next(iter(figure.at.items()))
    place = next(point.si for point in getattr(POINTS, axis) if point.text == text)
    try:
        true = truth(bench, figure.name, axis, place, figure.sample, propeller=PROPELLER, ambient=air.temperature)
    except ValueError:  # beyond full throttle
        return None
    low, high = figure.quantity.interval(coverage)
    of = "model" if figure.sample is None else "sample"
    q = figure.quantity
    return Case(figure.name, f"{axis} {text}", of, q.value, q.standard_uncertainty, low, high, true)


def summary(cases: list[Case]) -> dict[str, dict[str, float]]:
    """Return coverage, bias and median width by figure, operating point and kind of entry."""
    groups: dict[str, list[Case]] = {}
    for case in cases:
        groups.setdefault(f"{case.of}: {case.name} at {case.at}", []).append(case)
    return {key: _group(group) for key, group in sorted(groups.items())}


def _group(group: list[Case]) -> dict[str, float]:
    inside = np.mean([case.low <= case.true <= case.high for case in group])
    bias = np.mean([case.value / case.true - 1 for case in group])
    pull = np.std([(case.value - case.true) / case.uncertainty for case in group])
    width = np.median([(case.high - case.low) / 2 / case.value for case in group])
    return {
        "entries": len(group),
        "coverage": round(float(inside), 4),
        "bias_percent": round(100 * float(bias), 3),
        "half_width_percent": round(100 * float(width), 3),
        "scatter_over_uncertainty": round(float(pull), 3),
    }


def _one(job: tuple[int, int]) -> list[Case]:
    return figures_of_bench(*job)


def main() -> None:
    """Run the benchmark and write its result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=1000)
    parser.add_argument("--trials", type=int, default=5000)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--out", type=Path, default=RESULT)
    chosen = parser.parse_args()
    begun = time.monotonic()
    with ProcessPoolExecutor(2) as pool:
        jobs = [(seed, chosen.trials) for seed in range(chosen.first, chosen.first + chosen.benches)]
        cases = [case for found in pool.map(_one, jobs, chunksize=4) for case in found]
    table = summary(cases)
    record = {"benches": chosen.benches, "trials": chosen.trials, "axes": list(READ_AT), "figures": table}
    chosen.out.write_text(json.dumps(record, indent=1) + "\n")
    for key, row in table.items():
        sys.stdout.write(
            f"{row['coverage']:.3f} {row['bias_percent']:+.2f} % {row['half_width_percent']:.2f} %  {key}\n"
        )
    sys.stdout.write(f"{time.monotonic() - begun:.0f} s\n")


if __name__ == "__main__":
    main()
