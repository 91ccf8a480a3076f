"""Small workspaces for tests: one rig, one motor campaign with a weighing and a thrust sweep."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

LAB = """\
lab: {name: Test Bench, currency: EUR, disclosure: "Invented, for tests.", invented: true}
operating_points:
  electrical_power: ["100 W"]
  thrust: ["5 N"]
  speed: ["10000 rpm"]
  throttle: ["50 %"]
seed: 1
trials: 2000
"""

RIG = """\
rig: bench
location: {latitude: "54.1 deg", elevation: "180 m"}
instruments:
  cell:
    measures: thrust
    full_scale: "30 N"
    calibrations:
      - {file: calibration/cell.csv, dated: 2026-01-10, expires: 2026-07-10, applied_unit: kg, indicated_unit: gf}
    errors: [{scale: "0.15 %"}, {offset: "0.02 N", per: run}, {resolution: "0.005 N"}]
  volts: {measures: voltage, errors: [{scale: "0.05 %"}, {offset: "5 mV"}]}
  amps: {measures: current, errors: [{scale: "0.4 %"}, {offset: "20 mA"}]}
  balance: {measures: mass, errors: [{resolution: "0.01 g"}, {repeatability: "0.006 g"}]}
  tacho: {measures: speed, errors: [{scale: "20 ppm"}]}
  thermometer: {measures: temperature, errors: [{offset: "0.5 degC"}]}
  barometer: {measures: pressure, errors: [{offset: "1 hPa"}]}
  hygrometer: {measures: humidity, errors: [{offset: "3 %"}]}
propellers:
  ref: {serial: P1, diameter: "129.5 mm", blades: 3, pitch: "114 mm", reseat: "0.4 %"}
drives:
  drive-1: {model: "Invented 45"}
logs:
  thrust_sweep:
    time: {column: t_ms, unit: ms}
    throttle: {column: throttle, unit: "%"}
    thrust: {column: thrust_gf, unit: gf, instrument: cell}
    voltage: {column: volts, unit: V, instrument: volts}
    current: {column: amps, unit: A, instrument: amps}
    speed: {column: rpm, unit: rpm, instrument: tacho}
"""

CALIBRATION = "applied,indicated,direction\n" + "".join(
    f"{load},{998 * load + 0.3 * (k % 3):.2f},{way}\n"
    for way, loads in (("up", (0, 0.5, 1, 1.5, 2, 2.5, 3)), ("down", (3, 2.5, 2, 1.5, 1, 0.5, 0)))
    for k, load in enumerate(loads)
)

CAMPAIGN = """\
kind: motor
campaign: {name}
title: "A test motor"
dates: {{received: 2026-02-24, tested: 2026-03-02}}
rig: bench
drive: drive-1
specimen:
  maker: Invented Works
  model: "2306"
  source: bought
  pole_pairs: 7
  samples: [{{id: A1}}]
tests:
  - {{test: weighing, sample: A1, part: motor, readings: ["32.41 g", "32.40 g", "32.42 g"]}}
  - {{test: thrust_sweep, sample: A1, log: raw/sweep.csv, propeller: ref, air: {{temperature: "20 degC", pressure: "1000 hPa", humidity: "40 %"}}}}
text: |
  Weighs {{{{ quote("mass") }}}} and makes {{{{ quote("thrust", electrical_power="100 W") }}}}.
"""


def sweep_log(seed: int = 1, *, levels: int = 12, rate: float = 50.0) -> str:
    """Return the text of a thrust sweep's log: up and down, two seconds a step, a little noise."""
    rng = np.random.default_rng(seed)
    up = np.linspace(0.15, 1.0, levels)
    steps = np.concatenate([[0.0], up, up[-2::-1], [0.0]])
    rows = ["t_ms,throttle,thrust_gf,volts,amps,rpm"]
    t = 0.0
    for level in steps:
        for _ in range(int(2.0 * rate)):
            speed = 30000 * level**0.85
            thrust = 1.52e-8 * speed**2 * 101.97 * (1 + 0.003 * rng.standard_normal()) + 12.0
            power = 6.5e-12 * speed**3 * 3.0 + 2e-4 * speed
            volts = 15.0 - 0.3 * level
            amps = power / volts * (1 + 0.003 * rng.standard_normal())
            turning = speed * (1 + 2e-4 * rng.standard_normal())
            rows.append(f"{t:.0f},{100 * level:.1f},{thrust:.2f},{volts:.3f},{amps:.3f},{turning:.1f}")
            t += 1000 / rate
    return "\n".join(rows) + "\n"


def write_workspace(root: Path, *names: str, log: str | None = None) -> Path:
    """Write a valid workspace with some campaigns, alike but for their names, and return its folder."""
    (root / "runs" / "rigs" / "bench" / "calibration").mkdir(parents=True)
    (root / "runs" / "lab.yaml").write_text(LAB)
    (root / "runs" / "rigs" / "bench" / "rig.yaml").write_text(RIG)
    (root / "runs" / "rigs" / "bench" / "calibration" / "cell.csv").write_text(CALIBRATION)
    for name in names or ("2026-03-a",):
        folder = root / "runs" / name / "raw"
        folder.mkdir(parents=True)
        (folder / "sweep.csv").write_text(log or sweep_log())
        (folder.parent / "campaign.yaml").write_text(CAMPAIGN.format(name=name))
    return root
