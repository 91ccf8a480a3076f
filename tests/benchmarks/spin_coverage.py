"""How often the 95 % interval of a flywheel run's figures holds the truth, over simulated benches.

    PYTHONPATH=tests:analysis python -m benchmarks.spin_coverage --benches 1000

Each bench has its own rig, motors, drive, flywheel and rotors, whose stated values err as stated, and three runs of one
sample, logged at 100 Hz, at 1 kHz, or as one row a turn. The air's drag on its flywheel lies as far from the formula as
the method allows for. Figures are read on the plateau of the current limit, at its end (the knee), between the knee and
the top, and at the peak of the torque. Beside each width stands the share of the variance that is for the window's
bias, as median over the benches.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtri

from benchmarks.coverage import Case, case_of, drawn_bench, rig_file, run
from benchproof.campaign.faults import validated
from benchproof.campaign.logs import Log
from benchproof.campaign.models.campaign import Campaign
from benchproof.campaign.models.lab import Lab
from benchproof.campaign.yaml import Places
from benchproof.methods import flywheel_run as method
from benchproof.methods.bench import Bench
from benchproof.methods.spin.windage import FACES_HALF_WIDTH, RIM_HALF_WIDTH
from benchproof.trials.engine import Trials
from benchproof.trials.threads import single_threaded
from simulator.campaigns import air_readings
from simulator.loggers import Style
from simulator.physics import RPM, Air, Drive, Flywheel, Supply
from simulator.spins import PULSE_LAYOUT, SPEED_LAYOUT, SpinPlan, flywheel_run, spin_up
from simulator.truth import true_of_motion

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.methods.records import Figure, Reduction
    from simulator.campaigns import Bench as Truth
    from simulator.spins import Motion

RESULT = Path(__file__).parent / "results" / "spin_coverage.json"
DAY = "2026-03-10"
SAMPLE = "A"
DISC = "disc"
RUNS = 3
INERTIA_STATED = 0.003
ROTOR_STATED = 0.05
GOLDEN = (5**0.5 - 1) / 2
PLANS = {
    "100 Hz": SpinPlan(interval=0.01),
    "1 kHz": SpinPlan(interval=0.001),
    "pulses": SpinPlan(pulses=True),
}


def figures_of_bench(seed: int, trials: int, coverage: float = 0.95) -> list[Case]:
    """Simulate one bench, log its runs in each of the three ways, and return every figure beside its truth."""
    rng = np.random.default_rng([seed, 79])
    bench, stated = spinning_bench(seed, rng)
    stated["flywheel"] = bench.flywheels[DISC].inertia * (1 + INERTIA_STATED * evenly(seed))
    air = Air(float(rng.uniform(12, 28)), float(rng.uniform(96000, 103000)), float(rng.uniform(0.2, 0.7)))
    motion = spin_up(
        bench.motor(SAMPLE), bench.drive, bench.supply, bench.flywheels[DISC], density=air.density, temperature=22.0
    )
    places = places_of(motion)
    cases: list[Case] = []
    with single_threaded():
        for how, plan in PLANS.items():
            found = reduction(bench, stated, air, plan, list(places.values()), trials, motion)
            cases += list(_cases(found, places, how, motion, coverage))
    return cases


def evenly(seed: int) -> float:
    """Return a normal error that lies as evenly over any run of benches as that many can (additive recurrence).

    The inertia's error is most of every width on the plateau and common to all rows: drawn by chance, a thousand benches
    would shift them all together by 0.7 % of coverage.
    """
    return float(ndtri((0.5 + GOLDEN * seed) % 1))


def spinning_bench(seed: int, rng: np.random.Generator) -> tuple[Truth, dict[str, float]]:
    """Return a bench with a flywheel, and what its files state of flywheel and rotor, kg m2."""
    bench = drawn_bench(seed, rng)
    inertia = float(rng.uniform(5e-5, 1.5e-4))
    rotor = float(rng.uniform(1.6e-6, 2.8e-6))
    samples = {name: replace(each, rotor_inertia=rotor) for name, each in bench.samples.items()}
    drive = Drive(current_limit=float(rng.uniform(40, 60)))
    air = np.random.default_rng([seed, 80])
    faces, rim = (1 + width * air.uniform(-1, 1) for width in (FACES_HALF_WIDTH, RIM_HALF_WIDTH))
    flywheels = {DISC: Flywheel(inertia, 60e-3, 5e-3, float(faces), float(rim))}
    bench = replace(bench, samples=samples, drive=drive, supply=Supply(19.0, 8e-3), flywheels=flywheels)
    stated = {
        "flywheel": inertia * (1 + INERTIA_STATED * rng.standard_normal()),
        "rotor": rotor * (1 + ROTOR_STATED * rng.standard_normal()),
    }
    return bench, stated


def places_of(motion: Motion) -> dict[str, str]:
    """Return the speeds figures are read at, in rpm: two of the plateau, the knee, and one between it and the top."""
    knee = motion.speed[np.argmin(np.gradient(np.gradient(motion.acceleration))[200:-60]) + 200] / RPM
    top = motion.speed[-1] / RPM
    return {
        "plateau, 40 % of the knee": f"{0.4 * knee:.0f} rpm",
        "plateau, 75 % of the knee": f"{0.75 * knee:.0f} rpm",
        "knee": f"{knee:.0f} rpm",
        "between knee and top": f"{(knee + 0.4 * (top - knee)):.0f} rpm",
    }


def reduction(
    bench: Truth, stated: dict[str, float], air: Air, plan: SpinPlan, speeds: list[str], trials: int, motion: Motion
) -> Reduction:
    """Return what the method makes of three runs of one sample, logged in one way."""
    opened = open_bench(bench, stated, air, plan, speeds, trials, motion)
    return method.reduce([method.gather(test, opened) for test in opened.tests("flywheel_run")], opened)


def open_bench(
    bench: Truth,
    stated: dict[str, float],
    air: Air,
    plan: SpinPlan,
    speeds: list[str],
    trials: int,
    motion: Motion | None = None,
    **more: Any,
) -> Bench:
    """Return the bench's campaign opened for analysis; ``more`` goes into every test; the motion, where it is known."""
    style = Style(steps={"erpm": 100}, decimals={"t_ms": 0})
    layout = PULSE_LAYOUT if plan.pulses else SPEED_LAYOUT
    names = [f"raw/fly-{k}.csv" for k in range(RUNS)]
    logs, tests = {}, []
    for name in names:
        occasion = bench.occasion(DAY, name)
        recording = flywheel_run(
            bench,
            SAMPLE,
            occasion,
            flywheel=DISC,
            layout=layout,
            plan=plan,
            style=style,
            density=air.density,
            motion=motion,
        )
        logs[name] = Log(recording.channels, recording.channels["time"].size, ())
        read = air_readings(bench, air, occasion)
        tests.append(
            {
                "test": "flywheel_run",
                "sample": SAMPLE,
                "log": name,
                "flywheel": DISC,
                "rotor_inertia": _inertia(stated["rotor"], ROTOR_STATED),
                "air": {
                    "temperature": f"{read.temperature:.2f} degC",
                    "pressure": f"{read.pressure / 100:.2f} hPa",
                    "humidity": f"{100 * read.humidity:.1f} %",
                },
                **more,
            }
        )
    return campaign_of(bench, stated, layout, tests, logs, speeds, trials)


def campaign_of(
    bench: Truth,
    stated: dict[str, float],
    layout: dict[str, Any],
    tests: list[dict[str, Any]],
    logs: dict[str, Log],
    speeds: list[str],
    trials: int,
) -> Bench:
    """Return a campaign of one sample as the tool would open it."""
    lab = {
        "lab": {"name": "Coverage", "currency": "EUR", "disclosure": "Invented.", "invented": True},
        "operating_points": {"speed": speeds},
        "seed": 20260101,
    }
    campaign = {
        "kind": "motor",
        "campaign": bench.campaign,
        "title": "Coverage",
        "dates": {"received": DAY, "tested": DAY},
        "rig": bench.rig.name,
        "specimen": {
            "maker": "Invented",
            "model": "None",
            "source": "bought",
            "pole_pairs": 7,
            "connection": "wye",
            "price": {"amount": 1, "currency": "EUR", "channel": "retail", "seen": DAY},
            "samples": [{"id": SAMPLE}],
        },
        "tests": tests,
    }
    disc = {
        "inertia": _inertia(stated["flywheel"], INERTIA_STATED),
        "diameter": "60 mm",
        "thickness": "5 mm",
        "material": "steel",
        "rated_speed": "45000 rpm",
    }
    described = bench.rig.description | {
        "flywheels": {DISC: disc},
        "logs": bench.rig.description["logs"] | {"flywheel_run": layout},
    }
    return Bench(
        lab=validated(Lab, lab, Places("lab", {})),
        rig=rig_file(replace(bench, rig=replace(bench.rig, description=described))),
        campaign=validated(Campaign, campaign, Places("campaign", {})),
        trials=Trials(20260101, trials),
        read_log=lambda test: logs[test.log],
        read_table=lambda path: None,
    )


def _inertia(value: float, standard: float) -> dict[str, str]:
    return {"value": f"{value:.6e} kg*m**2", "standard": f"{100 * standard:g} %"}


def _cases(found: Reduction, places: dict[str, str], how: str, motion: Motion, coverage: float) -> Iterator[Case]:
    """Yield figures beside their truth, with the share of the variance that is for the window's bias."""
    names = {text: name for name, text in places.items()}
    for figure in found.figures:
        if figure.quantity is None:
            continue
        true = true_of_motion(motion, figure.name, figure.at)
        place = names.get(figure.at.get("speed", ""), "peak")
        case = case_of(replace(figure, at={place: how}), true, coverage)
        yield replace(case, bias_share=_window_share(figure))


def _window_share(figure: Figure) -> float:
    assert figure.quantity is not None
    return sum(row.share for row in figure.quantity.budget() if "window" in row.identity)


if __name__ == "__main__":
    run(figures_of_bench, RESULT, __doc__, runs=RUNS, inertia_stated=INERTIA_STATED, rotor_stated=ROTOR_STATED)
