"""Write the demo lab: an invented bench, invented makers, simulated data.

    PYTHONPATH=tests:analysis python -m simulator.demo runs

The same seed gives the same files. Nothing here is measured, and every page made from it says so.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import yaml

from simulator.campaigns import Bench, Roughness, Spread, SweepPlan, air_readings, samples_of, thrust_sweep, weighing
from simulator.demo_pictures import picture
from simulator.demo_tests import DISCS, words_and_logs
from simulator.demo_words import CAMPAIGNS, LAB, RIG
from simulator.instruments import Rig
from simulator.loggers import Fault, Style
from simulator.physics import RPM, Air, Drive, Motor, Propeller, Supply
from simulator.streams import stream

if TYPE_CHECKING:
    from collections.abc import Mapping

SEED = 20260301
DRIVE = Drive()
SUPPLY = Supply(19.0, 8e-3)
PROPELLERS = {
    "oar-51x45": Propeller(),
    "oar-49x43": Propeller(diameter=0.1245, thrust_coefficient=0.149, power_coefficient=0.079, inertia=4.3e-6),
}
ROUGHNESS = Roughness(hum=8e-3)
THRUST_LOADS = (0.0, 0.2, 0.5, 0.8, 1.1, 1.4, 1.7, 2.0, 2.5, 3.0)
TORQUE_LOADS = (0.0, 0.04, 0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.4)


@dataclass(frozen=True, slots=True)
class Run:
    """One sweep of the demo: its sample, log, day, true air, and what goes wrong."""

    sample: str
    log: str
    date: str
    air: Air
    faults: tuple[Fault, ...] = ()
    slip: float | None = None
    plan: SweepPlan = field(default_factory=SweepPlan)


@dataclass(frozen=True, slots=True)
class Story:
    """One campaign of the demo: the model's true mean, its spread, its runs, its logger.

    ``draw`` names the draw of the samples, where the first one did not tell the story; ``words`` is its campaign file,
    where that is not among the first ones.
    """

    campaign: str
    model: Motor
    spread: Spread
    samples: tuple[str, ...]
    runs: tuple[Run, ...]
    style: Style
    weighed: str
    photos: Mapping[str, str]
    draw: tuple[str, ...] = ()
    words: str = ""


def motor(kv: float, copper: float, drag: float, mass: float, bell: float, **more: Any) -> Motor:
    """Return a motor by its trade figures.

    Parameters
    ----------
    kv : float
        Speed per volt without load, with the demo drive's timing [rpm/V].
    copper : float
        Resistance times Kv squared [ohm (rpm/V)**2].
    drag : float
        Share of the usual drag.
    mass, bell : float
        In grams.
    """
    per_peak = 3 / np.pi * float(np.cos(DRIVE.timing))
    return Motor(
        ke_peak=1 / (kv * RPM) / per_peak,
        resistance=copper / kv**2,
        drag=(1.5e-3 * drag, 1.6e-6 * drag, 0.2e-9 * drag),
        mass=mass * 1e-3,
        bell_mass=bell * 1e-3,
        **more,
    )


PLAIN = Style(steps={"erpm": 100})
TORQUE_STAND = Style(comments=("# stand: thrust and torque", "# rows: 50 Hz"), steps={"erpm": 100})
COMMA = Style(
    ";",
    ",",
    mark=True,
    comments=("# Logger 2, Ausgabe für Tabellen", "# Dezimalkomma"),
    steps={"el_Drehzahl": 100},
)

STORIES = (
    Story(
        "2026-03-tansy-2207",
        motor(1850, 1.75e5, 0.80, 33.6, 15.9),
        Spread(),
        ("T1", "T2"),
        (
            Run("T1", "t1-sweep-1", "2026-03-04", Air(20.6, 100430.0, 0.38)),
            Run("T1", "t1-sweep-2", "2026-03-04", Air(20.9, 100410.0, 0.38), (Fault("stamp", 47.31),)),
            Run("T2", "t2-sweep-1", "2026-03-04", Air(21.1, 100400.0, 0.37)),
            Run("T2", "t2-sweep-2", "2026-03-04", Air(21.3, 100390.0, 0.37)),
        ),
        PLAIN,
        "2026-03-03",
        {"t1-bell.png": "bell"},
    ),
    Story(
        "2026-03-burdock-2208",
        motor(1700, 1.50e5, 1.12, 37.7, 18.1, rotor_inertia=2.6e-6),
        Spread(),
        ("B1", "B2"),
        (
            Run("B1", "b1-sweep-1", "2026-03-18", Air(19.4, 99240.0, 0.44)),
            Run("B1", "b1-sweep-2", "2026-03-18", Air(19.8, 99260.0, 0.44), (Fault("gap", 71.02, 72.1),)),
            Run("B2", "b2-sweep-1", "2026-03-18", Air(20.1, 99270.0, 0.43)),
            Run("B2", "b2-sweep-2", "2026-03-18", Air(20.3, 99290.0, 0.43)),
            Run(
                "B2",
                "b2-sweep-3",
                "2026-03-18",
                Air(20.4, 99300.0, 0.43),
                slip=0.6,
                plan=SweepPlan(tuple(np.round(np.arange(0.1, 0.66, 0.05), 3).tolist()), down=False),
            ),
        ),
        TORQUE_STAND,
        "2026-03-17",
        {"b2-nut.png": "nut"},
    ),
    Story(
        "2026-04-teasel-2206",
        motor(1950, 2.30e5, 1.05, 31.2, 14.6, rotor_inertia=1.8e-6),
        Spread(kv=0.018, resistance=0.04, drag=0.25, mass=0.009),
        ("K1", "K2"),
        (
            Run("K1", "k1-sweep-1", "2026-04-08", Air(22.7, 101620.0, 0.33)),
            Run("K1", "k1-sweep-2", "2026-04-08", Air(23.0, 101600.0, 0.33)),
            Run("K2", "k2-sweep-1", "2026-04-09", Air(21.9, 101180.0, 0.36),
                (Fault("stuck", 74.3, 78.1, "voltage"),)),
            Run("K2", "k2-sweep-2", "2026-04-09", Air(22.2, 101150.0, 0.36)),
        ),
        COMMA,
        "2026-04-07",
        {"k2-stator.png": "stator"},
        ("a",),
    ),
    Story(
        "2026-05-bistort-2207",
        motor(1905, 2.00e5, 0.92, 32.4, 15.2),
        Spread(kv=0.004, resistance=0.008, drag=0.04, mass=0.002),
        ("S1", "S2"),
        (
            Run("S1", "s1-sweep-1", "2026-05-20", Air(23.8, 100870.0, 0.47)),
            Run("S1", "s1-sweep-2", "2026-05-20", Air(24.1, 100860.0, 0.47), (Fault("gap", 90.4, 91.2),)),
            Run("S2", "s2-sweep-1", "2026-05-20", Air(24.3, 100850.0, 0.46)),
            Run("S2", "s2-sweep-2", "2026-05-20", Air(24.4, 100850.0, 0.46)),
        ),
        PLAIN,
        "2026-05-19",
        {"s1-shaft.jpg": "shaft"},
    ),
)  # fmt: skip


def rig() -> Rig:
    """Return the demo's rig as it truly is."""
    return Rig.drawn(yaml.safe_load(RIG), stream(SEED, "rig"))


def bench_of(story: Story, made: Rig) -> Bench:
    """Return the bench of one campaign of the demo."""
    drawn = stream(SEED, "samples", story.campaign, *story.draw)
    samples = samples_of(story.model, story.spread, story.samples, drawn)
    return Bench(made, story.model, samples, PROPELLERS, DRIVE, SUPPLY, story.campaign, flywheels=DISCS)


def files() -> dict[str, bytes]:
    """Return every file of the demo lab, path under ``runs/`` to content."""
    made = rig()
    found = {"lab.yaml": LAB.encode(), f"rigs/{made.name}/rig.yaml": RIG.encode()}
    found |= _calibrations(made)
    for story in STORIES:
        found |= campaign_files(bench_of(story, made), story)
    return found | _more(made)


def _more(made: Rig) -> dict[str, bytes]:
    from simulator.demo_more import more_files  # it builds on this module

    return more_files(made)


def _calibrations(made: Rig) -> dict[str, bytes]:
    """Calibration files: what the cells showed under known loads."""
    found = {}
    for name, loads, digits, noise in (
        ("thrust_cell", THRUST_LOADS, 2, 1.5e-3),
        ("torque_cell", TORQUE_LOADS, 5, 1.2e-4),
    ):
        cell = made.instrument(name)
        for entry in cell.calibrations:
            rows = cell.calibration_rows(entry, loads, noise=noise, hysteresis=1e-4 * cell.full_scale)
            lines = [f"{applied:g},{shown:.{digits}f},{way}" for applied, shown, way in rows]
            text = "\n".join(["applied,indicated,direction", *lines]) + "\n"
            found[f"rigs/{made.name}/{entry['file']}"] = text.encode()
    return found


def campaign_files(bench: Bench, story: Story) -> dict[str, bytes]:
    """Return the files of one campaign: its parameter file, logs and pictures."""
    logs, words = {}, {}
    layout = layout_of(story, bench.rig)
    for run in story.runs:
        occasion = bench.occasion(run.date, run.log)
        recording = thrust_sweep(
            bench, run.sample, occasion,
            propeller="oar-51x45", air=run.air, layout=layout,
            plan=run.plan, style=story.style, faults=run.faults, slip=run.slip, roughness=ROUGHNESS,
        )  # fmt: skip
        logs[f"{story.campaign}/raw/{run.log}.csv"] = recording.text().encode()
        words[run.log.replace("-", "_")] = _air_words(air_readings(bench, run.air, occasion))
    for sample in story.samples:
        for part in ("motor", "bell"):
            occasion = bench.occasion(story.weighed, f"weighing-{sample}-{part}")
            shown = weighing(bench, sample, part, occasion) * 1e3
            words[f"{part}_{sample}"] = ", ".join(f'"{grams:.2f} g"' for grams in shown)
    more, recordings = words_and_logs(bench, story.campaign)
    words |= more
    logs |= {f"{story.campaign}/raw/{name}.csv": text.encode() for name, text in recordings.items()}
    text = story.words or CAMPAIGNS[story.campaign]
    for key, value in words.items():
        text = text.replace(f"@{key}@", value)
    pictures = {f"{story.campaign}/photos/{name}": picture(name, what) for name, what in story.photos.items()}
    return {f"{story.campaign}/campaign.yaml": text.encode()} | logs | pictures


def layout_of(story: Story, made: Rig) -> Mapping[str, Mapping[str, Any]]:
    """Return the log layout of a campaign: its own where it states one, else the rig's."""
    tests = yaml.safe_load(re.sub("@[a-zA-Z0-9_]+@", "0", story.words or CAMPAIGNS[story.campaign]))["tests"]
    own = [test["layout"] for test in tests if "layout" in test]
    return own[0] if own else made.description["logs"]["thrust_sweep"]


def _air_words(air: Air) -> str:
    return (
        f'{{temperature: "{air.temperature:.1f} degC", pressure: "{air.pressure / 100:.1f} hPa", '
        f'humidity: "{air.humidity * 100:.0f} %"}}'
    )


def write(folder: Path) -> None:
    """Write the demo lab into a folder."""
    for name, content in files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    write(Path(sys.argv[1]))
