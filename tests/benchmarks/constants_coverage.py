"""How often the 95 % interval of a motor's constants holds the truth, over simulated benches.

    PYTHONPATH=tests:analysis python -m benchmarks.constants_coverage --benches 1000

Each bench has its own rig, whose instruments err as its file says, its own motor, and two samples about that motor: each
weighed, its winding measured, driven from outside and run without load twice. Readings are written into a campaign as a
lab would write them, and the methods reduce that campaign.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from benchmarks.coverage import Case, calibration_table, case_of, counts, drawn_bench, rig_file, run
from benchproof.campaign.faults import validated
from benchproof.campaign.models.campaign import Campaign
from benchproof.campaign.models.lab import Lab
from benchproof.campaign.yaml import Places
from benchproof.findings.samples import with_model
from benchproof.methods import registry
from benchproof.methods.bench import Bench
from benchproof.trials.engine import Trials
from benchproof.trials.threads import single_threaded
from simulator.physics import RPM
from simulator.readings import back_emf, no_load, winding_resistance
from simulator.truth import true_constant

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from benchproof.methods.records import Figure, Reduction
    from simulator.campaigns import Bench as Truth
    from simulator.readings import Points

RESULT = Path(__file__).parent / "results" / "constants_coverage.json"
DAY = "2026-03-10"
LAB = {
    "lab": {"name": "Coverage", "currency": "EUR", "disclosure": "Invented.", "invented": True},
    "operating_points": {"speed": ["10000 rpm", "20000 rpm"], "voltage": ["10 V"]},
    "seed": 20260101,
}
REPEATS = (1, 2)
FAMILY = ("winding_resistance", "back_emf", "no_load")


def figures_of_bench(seed: int, trials: int, coverage: float = 0.95) -> list[Case]:
    """Simulate one bench, reduce its campaign, and return every figure beside its truth."""
    rng = np.random.default_rng([seed, 78])
    bench = drawn_bench(seed, rng)
    winding = float(rng.uniform(22, 45))
    volts = [np.linspace(rng.uniform(3.5, 6), rng.uniform(13, 20), int(rng.integers(6, 11))) for _ in REPEATS]
    opened = open_campaign(bench, tests_of(bench, rng, volts, winding), trials)
    with single_threaded():
        figures = figures_of(opened)
    return [case_of(figure, _true(bench, figure, volts, winding), coverage) for figure in figures if counts(figure)]


def figures_of(opened: Bench) -> tuple[Figure, ...]:
    """Return the figures of an opened campaign: each sample's, and the model's."""
    found = [figure for key in FAMILY if opened.tests(key) for figure in reduced(opened, key).figures]
    return with_model(found, opened.campaign.campaign, opened.trials)


def reduced(opened: Bench, key: str) -> Reduction:
    """Return what a method makes of an opened campaign."""
    method = registry()[key]
    return method.reduce([method.gather(test, opened) for test in opened.tests(key)], opened)


def _true(bench: Truth, figure: Figure, volts: Sequence[np.ndarray], winding: float) -> float:
    """Return the truth; of what the two runs without load give, its mean."""
    runs = [true_constant(bench, figure.name, figure.at, figure.sample, winding, each.tolist()) for each in volts]
    return float(np.mean(runs))


def open_campaign(
    bench: Truth, tests: list[dict[str, Any]], trials: int, points: Mapping[str, list[str]] | None = None, **more: Any
) -> Bench:
    """Return a campaign of the bench, opened for analysis.

    Parameters
    ----------
    bench : Bench
        The simulated bench.
    tests : list of dict
        As a campaign file has them.
    trials : int
        Number of trials.
    points : mapping, optional
        The lab's operating points.
    **more
        Keys of the campaign file to change; None leaves one out.
    """
    written = {
        "kind": "motor",
        "campaign": bench.campaign,
        "title": "Coverage",
        "dates": {"received": "2026-03-01", "tested": DAY},
        "rig": bench.rig.name,
        "drive": "drive-1",
        "specimen": {
            "maker": "Invented",
            "model": "Drawn",
            "source": "bought",
            "pole_pairs": 7,
            "connection": "wye",
            "samples": [{"id": sample} for sample in bench.samples],
        },
        "tests": tests,
    } | more
    written = {key: value for key, value in written.items() if value is not None}
    return Bench(
        lab=validated(Lab, LAB | ({"operating_points": points} if points else {}), Places("lab", {})),
        rig=rig_file(bench),
        campaign=validated(Campaign, written, Places("campaign", {})),
        trials=Trials(LAB["seed"], trials),
        read_log=lambda test: None,
        read_table=lambda path: calibration_table(bench, path),
    )


def tests_of(
    bench: Truth, rng: np.random.Generator, volts: Sequence[np.ndarray], winding: float
) -> list[dict[str, Any]]:
    """Return the tests of every sample as a lab writes them down."""
    return [test for sample in bench.samples for test in _tests_of_sample(bench, sample, rng, volts, winding)]


def _tests_of_sample(
    bench: Truth, sample: str, rng: np.random.Generator, volts: Sequence[np.ndarray], winding: float
) -> list[dict[str, Any]]:
    leads = float(rng.choice([0.0, 0.0, 1.5e-3]))
    tests = [weighing_of(bench, sample)]
    for repeat, supply in zip(REPEATS, volts, strict=True):
        speeds = np.linspace(rng.uniform(800, 2000), rng.uniform(5000, 9000), int(rng.integers(4, 9))) * RPM
        tests += [
            resistance_of(bench, sample, f"r{repeat}", temperature=float(rng.uniform(18, 26)), leads=leads),
            back_emf_of(bench, sample, f"e{repeat}", speeds, str(rng.choice(["peak", "rms", "rectified_mean"]))),
            no_load_of(bench, sample, f"n{repeat}", supply, winding),
        ]
    return tests


def weighing_of(bench: Truth, sample: str) -> dict[str, Any]:
    """Return a weighing of the whole motor."""
    occasion = bench.occasion(DAY, f"w-{sample}")
    stream = bench.rig.stream("weighing", occasion.run)
    shown = bench.rig.that_measures("mass").indicate(np.full(3, bench.motor(sample).mass), occasion, stream)
    readings = [f"{1e3 * mass:.6f} g" for mass in shown]
    return {"test": "weighing", "sample": sample, "part": "motor", "readings": readings}


def resistance_of(
    bench: Truth, sample: str, run: str, *, temperature: float = 22.0, leads: float = 0.0
) -> dict[str, Any]:
    """Return the readings of the three pairs; leads that are not zero are read on the same meter."""
    occasion = bench.occasion(DAY, f"{run}-{sample}")
    read = winding_resistance(bench, sample, occasion, temperature=temperature, leads=leads)
    test = {
        "test": "winding_resistance",
        "sample": sample,
        "pairs": {pair: f"{1e3 * getattr(read, pair):.6f} mohm" for pair in ("ab", "bc", "ca")},
        "winding_temperature": f"{read.winding_temperature:.4f} degC",
    }
    if leads:
        stream = bench.rig.stream("leads", occasion.run)
        shown = float(bench.rig.that_measures("resistance").indicate(leads, occasion, stream))
        test["leads"] = f"{1e3 * shown:.6f} mohm"
    return test


def back_emf_of(
    bench: Truth, sample: str, run: str, speeds: np.ndarray, waveform: str = "peak", **more: Any
) -> dict[str, Any]:
    """Return a run driven from outside."""
    points = back_emf(bench, sample, bench.occasion(DAY, f"{run}-{sample}"), speeds=speeds, waveform=waveform, **more)
    return {"test": "back_emf", "sample": sample, "waveform": waveform, "points": _points(points, "speed", "voltage")}


def no_load_of(
    bench: Truth, sample: str, run: str, volts: np.ndarray, temperature: float = 25.0, **more: Any
) -> dict[str, Any]:
    """Return a run without load."""
    occasion = bench.occasion(DAY, f"{run}-{sample}")
    points = no_load(bench, sample, occasion, volts=volts, temperature=temperature, **more)
    return {
        "test": "no_load",
        "sample": sample,
        "winding_temperature": f"{points.winding_temperature:.4f} degC",
        "points": _points(points, "voltage", "current", "speed"),
    }


def _points(points: Points, *fields: str) -> list[dict[str, str]]:
    written = {
        "speed": [f"{w / RPM:.4f} rpm" for w in points.speed],
        "voltage": [f"{v:.6f} V" for v in points.voltage],
        "current": [f"{i:.6f} A" for i in points.current],
    }
    return [dict(zip(fields, row, strict=True)) for row in zip(*(written[f] for f in fields), strict=True)]


if __name__ == "__main__":
    run(figures_of_bench, RESULT, __doc__)
