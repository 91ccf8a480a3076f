"""What the coverage benchmarks share: benches drawn from a seed, figures beside their truth, the summary, the command.

A bench is a rig whose instruments err as its file says, a motor model, and two samples about that model. For a sample's
figure the truth is that sample's, for the model's it is the model's mean.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import yaml

from benchproof.campaign.calibration_files import CalibrationTable
from benchproof.campaign.faults import validated
from benchproof.campaign.models.rig import RigFile
from benchproof.campaign.yaml import Places
from benchproof.findings.samples import ONE_SAMPLE
from simulator.campaigns import Bench as Truth
from simulator.campaigns import Spread, samples_of
from simulator.demo import DRIVE, PROPELLERS, SUPPLY, THRUST_LOADS, TORQUE_LOADS, motor
from simulator.demo_words import RIG
from simulator.instruments import Rig
from simulator.streams import stream

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from benchproof.methods.records import Figure

PROPELLER = "oar-51x45"


@dataclass(frozen=True, slots=True)
class Case:
    """One figure of one bench beside its truth, in SI.

    ``bias_share`` is what a bias term, or a bound for what nobody measured, brings to the variance.
    """

    name: str
    at: str
    of: str
    value: float
    uncertainty: float
    low: float
    high: float
    true: float
    bias_share: float = math.nan


def counts(figure: Figure) -> bool:
    """Say whether a figure has a value that its truth is known of: one sample that got there speaks for itself alone."""
    return figure.quantity is not None and (figure.sample is not None or ONE_SAMPLE not in figure.flags)


def case_of(figure: Figure, true: float, coverage: float) -> Case:
    """Return a figure that has a value beside its truth."""
    quantity = figure.quantity
    assert quantity is not None
    low, high = quantity.interval(coverage)
    at = ", ".join(f"{axis} {text}" for axis, text in figure.at.items())
    of = "model" if figure.sample is None else "sample"
    return Case(figure.name, at, of, quantity.value, quantity.standard_uncertainty, low, high, true)


def drawn_bench(seed: int, rng: np.random.Generator) -> Truth:
    """Return a bench of the demo lab's kind: its rig's errors, a motor model and two samples drawn at random."""
    rig = Rig.drawn(yaml.safe_load(RIG), stream(seed, "coverage"))
    model = motor(rng.uniform(1600, 2000), rng.uniform(1.5e5, 2.4e5), rng.uniform(0.7, 1.2), 33.0, 15.5)
    spread = Spread() if rng.uniform() < 0.5 else Spread(kv=0.012, resistance=0.02, drag=0.1, mass=0.006)
    samples = samples_of(model, spread, ("A", "B"), rng)
    propeller = replace(PROPELLERS[PROPELLER], thrust_coefficient=rng.uniform(0.13, 0.17))
    return Truth(rig, model, samples, {PROPELLER: propeller}, DRIVE, SUPPLY, f"bench-{seed}")


def rig_file(bench: Truth) -> RigFile:
    """Return the rig's file as the tool reads it."""
    return validated(RigFile, _plain_dates(bench.rig.description), Places("rig", {}))


def _plain_dates(description: Mapping[str, Any]) -> dict[str, Any]:
    """YAML read without our rules gives dates; the models want the words of the file."""
    found: dict[str, Any] = json.loads(json.dumps(description, default=str))
    return found


def calibration_table(bench: Truth, path: str) -> CalibrationTable:
    """Return a calibration file of the bench's rig."""
    name, entry = next(
        (name, entry)
        for name, raw in bench.rig.description["instruments"].items()
        for entry in raw.get("calibrations", ())
        if entry["file"] == path
    )
    cell = bench.rig.instrument(name)
    loads, noise = (THRUST_LOADS, 1.5e-3) if name == "thrust_cell" else (TORQUE_LOADS, 1.2e-4)
    rows = cell.calibration_rows(entry, loads, noise=noise, hysteresis=1e-4 * cell.full_scale)
    applied, indicated, direction = zip(*rows, strict=True)
    return CalibrationTable(np.array(applied), np.array(indicated), tuple(direction))


def summary(cases: list[Case]) -> dict[str, dict[str, float]]:
    """Return coverage, bias and median width by figure, operating point and kind of entry."""
    groups: dict[str, list[Case]] = {}
    for case in cases:
        place = f" at {case.at}" if case.at else ""
        groups.setdefault(f"{case.of}: {case.name}{place}", []).append(case)
    return {key: _group(group) for key, group in sorted(groups.items())}


def _group(group: list[Case]) -> dict[str, float]:
    inside = np.mean([case.low <= case.true <= case.high for case in group])
    bias = np.mean([case.value / case.true - 1 for case in group])
    pull = np.std([(case.value - case.true) / case.uncertainty for case in group])
    width = np.median([(case.high - case.low) / 2 / case.value for case in group])
    found = {
        "entries": len(group),
        "coverage": round(float(inside), 4),
        "bias_percent": round(100 * float(bias), 3),
        "half_width_percent": round(100 * float(width), 3),
        "scatter_over_uncertainty": round(float(pull), 3),
    }
    shares = [case.bias_share for case in group if not math.isnan(case.bias_share)]
    return found | ({"bias_term_share": round(float(np.median(shares)), 3)} if shares else {})


def run(figures_of_bench: Callable[[int, int], list[Case]], result: Path, about: str, **facts: Any) -> None:
    """Run a benchmark from the command line and write its result.

    Parameters
    ----------
    figures_of_bench : callable
        Takes a bench's seed and a number of trials, gives its figures beside their truth; a function of a module.
    result : Path
        Where the result goes.
    about : str
        Help of the command.
    **facts
        What else the result says of the run.
    """
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--benches", type=int, default=1000)
    parser.add_argument("--trials", type=int, default=5000)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--out", type=Path, default=result)
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()
    begun = time.monotonic()
    with ProcessPoolExecutor(chosen.workers) as pool:
        seeds = range(chosen.first, chosen.first + chosen.benches)
        work = pool.map(partial(figures_of_bench, trials=chosen.trials), seeds, chunksize=4)
        cases = [case for found in work for case in found]
    table = summary(cases)
    record = {"benches": chosen.benches, "trials": chosen.trials, **facts, "figures": table}
    chosen.out.write_text(json.dumps(record, indent=1) + "\n")
    for key, row in table.items():
        sys.stdout.write(
            f"{row['coverage']:.3f} {row['bias_percent']:+.2f} % {row['half_width_percent']:.2f} %  {key}\n"
        )
    sys.stdout.write(f"{time.monotonic() - begun:.0f} s\n")
