"""How often the 95 % interval of a thrust sweep's figures holds the truth, over simulated benches.

    PYTHONPATH=tests:analysis python -m benchmarks.sweep_coverage --benches 1000

Each bench has its own rig, whose instruments err as its file says, its own motor, two samples about that motor, and
two runs a sample. For a sample's figure the truth is that sample's, for the model's it is the model's mean.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from benchmarks.coverage import PROPELLER, Case, calibration_table, case_of, drawn_bench, rig_file, run
from benchproof.campaign.models.lab import OperatingPoints
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
from simulator.campaigns import SweepPlan, air_readings, thrust_sweep
from simulator.physics import Air
from simulator.truth import truth

RESULT = Path(__file__).parent / "results" / "sweep_coverage.json"
DAY = date(2026, 3, 10)
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


def figures_of_bench(seed: int, trials: int, coverage: float = 0.95) -> list[Case]:
    """Simulate one bench, reduce its runs, and return every figure beside its truth."""
    rng = np.random.default_rng([seed, 77])
    bench = drawn_bench(seed, rng)
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


def _run(bench: Truth, sample: str, log: str, air: Air, plan: SweepPlan, trials: Trials) -> SweepRun:
    happened = bench.occasion(DAY.isoformat(), log)
    recording = thrust_sweep(bench, sample, happened, propeller=PROPELLER, air=air, layout=TORQUE_LAYOUT, plan=plan)
    model = rig_file(bench)
    occasion = Occasion(bench.rig.name, bench.campaign, log, DAY)

    def instrument(name: str):
        return build_instrument(model, name, DAY, lambda path: calibration_table(bench, path))

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


def _case(bench: Truth, figure, air: Air, coverage: float) -> Case | None:
    """Return a figure beside its truth; None where the true bench, in the reference air, does not get there."""
    axis, text = next(iter(figure.at.items()))
    place = next(point.si for point in getattr(POINTS, axis) if point.text == text)
    try:
        true = truth(bench, figure.name, axis, place, figure.sample, propeller=PROPELLER, ambient=air.temperature)
    except ValueError:  # beyond full throttle
        return None
    return case_of(figure, true, coverage)


if __name__ == "__main__":
    run(figures_of_bench, RESULT, __doc__, axes=list(READ_AT))
