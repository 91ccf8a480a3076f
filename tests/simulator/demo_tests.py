"""The demo's tests beside weighing and sweeps: readings typed by hand, spins, steps, soaks and vibration."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simulator.physics import RPM, Flywheel
from simulator.readings import back_emf, no_load, winding_resistance
from simulator.shaking import ShakePlan, TrialMass, vibration
from simulator.spins import SpinPlan, coast_down_run, flywheel_run
from simulator.steps import StepPlan, throttle_step
from simulator.thermal import SoakPlan, heat_soak

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from simulator.campaigns import Bench
    from simulator.instruments import Occasion
    from simulator.loggers import Recording

    Logged = Callable[[Bench, str, Occasion, str], Recording]

STATED_DISC = 5.0e-5
"""What the rig file says of the disc [kg m**2]; the true one differs by less than its uncertainty."""
DISCS = {"disc-60": Flywheel(STATED_DISC * 1.0021)}
ROTOR_KNOWN = 0.03
"""Standard uncertainty of a rotor's inertia as the lab measured it, relative."""
PROPELLER = "oar-51x45"
FREE_VOLTS = (5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0)
DRIVEN = (3000.0, 5000.0, 7000.0, 9000.0, 11000.0)
SHAKEN = ShakePlan(duration=1.0)


@dataclass(frozen=True, slots=True)
class Extra:
    """Other tests of one sample: day, those typed by hand, and logs by what they are of."""

    sample: str
    date: str
    typed: tuple[str, ...] = ("resistance", "no_load")
    logs: tuple[str, ...] = ()


EXTRAS = {
    "2026-03-tansy-2207": (
        Extra(
            "T1",
            "2026-03-05",
            ("resistance", "back_emf", "no_load"),
            ("spin-1", "spin-2", "coast-disc", "coast-bare", "steps", "soak", "vib-0", "vib-1", "vib-2", "vib-3"),
        ),
        Extra("T2", "2026-03-05", ("resistance", "back_emf", "no_load"), ("spin-1", "spin-2")),
    ),
    "2026-03-burdock-2208": (
        Extra("B1", "2026-03-19", logs=("turns-1",)),
        Extra("B2", "2026-03-19", logs=("turns-1",)),
    ),
    "2026-04-teasel-2206": (
        Extra("K1", "2026-04-10", ("resistance", "back_emf", "no_load"), ("steps",)),
        Extra("K2", "2026-04-10", ("resistance", "back_emf", "no_load"), ("steps",)),
    ),
    "2026-05-bistort-2207": (
        Extra("S1", "2026-05-21", logs=("spin-1", "spin-2", "soak")),
        Extra("S2", "2026-05-21", logs=("spin-1", "spin-2")),
    ),
}
"""Other tests by campaign."""


def words_and_logs(bench: Bench, campaign: str) -> tuple[dict[str, str], dict[str, str]]:
    """Return what a campaign's other tests put in its file, by placeholder, and their logs by name."""
    words: dict[str, str] = {}
    logs: dict[str, str] = {}
    for extra in EXTRAS.get(campaign, ()):
        for kind in extra.typed:
            occasion = bench.occasion(extra.date, f"{kind}-{extra.sample}")
            words[f"{kind}_{extra.sample}"] = ", ".join(_TYPED[kind](bench, extra.sample, occasion))
        words[f"rotor_{extra.sample}"] = _rotor(bench, extra.sample)
        for kind in extra.logs:
            log = f"{extra.sample.lower()}-{kind}"
            recording = _LOGGED[kind.split("-")[0]](bench, extra.sample, bench.occasion(extra.date, log), kind)
            logs[log] = recording.text()
    return words, logs


def _rotor(bench: Bench, sample: str) -> str:
    """Inertia of a rotor as the lab found it on the wires."""
    drawn = bench.rig.stream("rotor inertia", bench.campaign, sample).standard_normal()
    found = bench.motor(sample).rotor_inertia * (1 + ROTOR_KNOWN * drawn)
    return f'{{value: "{found:.3e} kg*m**2", standard: "{100 * ROTOR_KNOWN:g} %"}}'


def _resistance(bench: Bench, sample: str, occasion: Occasion) -> Iterator[str]:
    shown = winding_resistance(bench, sample, occasion)
    pairs = ", ".join(f'{name}: "{getattr(shown, name) * 1e3:.2f} mohm"' for name in ("ab", "bc", "ca"))
    yield f"pairs: {{{pairs}}}"
    yield f'winding_temperature: "{shown.winding_temperature:.1f} degC"'


def _back_emf(bench: Bench, sample: str, occasion: Occasion) -> Iterator[str]:
    shown = back_emf(bench, sample, occasion, speeds=np.array(DRIVEN) * RPM)
    points = [
        f'{{speed: "{w / RPM:.0f} rpm", voltage: "{u:.3f} V"}}' for w, u in zip(shown.speed, shown.voltage, strict=True)
    ]
    yield "waveform: peak"
    yield f"points: [{', '.join(points)}]"


def _no_load(bench: Bench, sample: str, occasion: Occasion) -> Iterator[str]:
    shown = no_load(bench, sample, occasion, volts=FREE_VOLTS)
    points = [
        f'{{voltage: "{u:.3f} V", current: "{i:.3f} A", speed: "{w / RPM:.0f} rpm"}}'
        for u, i, w in zip(shown.voltage, shown.current, shown.speed, strict=True)
    ]
    yield f'winding_temperature: "{shown.winding_temperature:.1f} degC"'
    yield f"points: [{', '.join(points)}]"


def _spin(bench: Bench, sample: str, occasion: Occasion, _: str) -> Recording:
    return flywheel_run(bench, sample, occasion, flywheel="disc-60", plan=SpinPlan(interval=0.005))


def _turns(bench: Bench, sample: str, occasion: Occasion, _: str) -> Recording:
    return flywheel_run(bench, sample, occasion, flywheel="disc-60", plan=SpinPlan(pulses=True))


def _coast(bench: Bench, sample: str, occasion: Occasion, kind: str) -> Recording:
    disc = "disc-60" if kind == "coast-disc" else None
    plan = SpinPlan(interval=0.02 if disc else 0.002, lead=0.0, speed_noise=5 * RPM)
    return coast_down_run(bench, sample, occasion, flywheel=disc, start=26000 * RPM, plan=plan)


def _steps(bench: Bench, sample: str, occasion: Occasion, _: str) -> Recording:
    return throttle_step(bench, sample, occasion, propeller=PROPELLER, plan=StepPlan(interval=0.005))


def _soak(bench: Bench, sample: str, occasion: Occasion, _: str) -> Recording:
    return heat_soak(bench, sample, occasion, propeller=PROPELLER, plan=SoakPlan(duration=720.0, interval=1.0))


def _vibration(bench: Bench, sample: str, occasion: Occasion, kind: str) -> Recording:
    number = int(kind.removeprefix("vib-"))
    trial = TrialMass(50e-6, 12e-3, math.radians(120 * (number - 1))) if number else None
    return vibration(bench, sample, occasion, trial=trial, plan=SHAKEN)


_TYPED = {"resistance": _resistance, "back_emf": _back_emf, "no_load": _no_load}
_LOGGED: dict[str, Logged] = {
    "spin": _spin,
    "turns": _turns,
    "coast": _coast,
    "steps": _steps,
    "soak": _soak,
    "vib": _vibration,
}
