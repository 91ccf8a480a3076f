"""Logs of the simulated bench: what they say lies near the truth, and they fail where they were asked to."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
import yaml

from simulator.campaigns import CALM, Bench, SweepPlan, thrust_sweep
from simulator.demo import COMMA, DRIVE, PLAIN, PROPELLERS, STORIES, SUPPLY, bench_of, files, layout_of, rig
from simulator.demo_words import RIG
from simulator.instruments import Rig
from simulator.loggers import Fault
from simulator.physics import Air
from simulator.streams import stream
from simulator.truth import truth

AIR = Air(20.0, 100500.0, 0.4)
PROPELLER = "oar-51x45"


@pytest.fixture(scope="module")
def perfect() -> Bench:
    """A bench whose instruments are without error, on a calm day."""
    plain = yaml.safe_load(RIG)
    for raw in plain["instruments"].values():
        raw.pop("errors", None)
        raw.pop("calibrations", None)
    plain["propellers"][PROPELLER].pop("reseat")
    model = STORIES[0].model
    return Bench(Rig.drawn(plain, stream(3, "perfect")), model, {"A": model}, PROPELLERS, DRIVE, SUPPLY)


def _sweep(bench: Bench, sample: str, **more):
    layout = bench.rig.description["logs"]["thrust_sweep"]
    return thrust_sweep(
        bench, sample, bench.occasion("2026-03-04", "sweep"), propeller=PROPELLER, air=AIR, layout=layout, **more
    )


def test_a_perfect_bench_logs_the_truth(perfect: Bench) -> None:
    log = _sweep(perfect, "A", plan=SweepPlan((0.3, 0.6, 1.0), dwell=6.0), roughness=CALM).channels
    rest = log["thrust"][log["time"] < 4].mean()
    for level in (0.3, 0.6, 1.0):
        plateau = np.isclose(log["throttle"], level)
        settled = np.flatnonzero(plateau)[150:290]
        for name, digit in (("thrust", 1e-3), ("speed", 1.5), ("current", 0.01)):
            true = truth(perfect, name, "throttle", level, "A", propeller=PROPELLER, density=AIR.density, ambient=20.0)
            shown = log[name][settled].mean() - (rest if name == "thrust" else 0.0)
            assert shown == pytest.approx(true, rel=2e-4, abs=digit)


def test_thrust_lags_behind_the_speed(perfect: Bench) -> None:
    log = _sweep(perfect, "A", plan=SweepPlan((0.3, 0.9), dwell=4.0, down=False), roughness=CALM).channels
    after = log["time"] - 9.0
    window = (after > 0.25) & (after < 0.35)
    speed = log["speed"] / log["speed"][(after > 3) & (after < 3.9)].mean()
    assert np.all(speed[window] > 0.995)
    assert log["thrust"][window].mean() < 0.85 * log["thrust"][(after > 3) & (after < 3.9)].mean()


def test_electrical_speed_counts_in_steps() -> None:
    story = STORIES[0]
    log = _sweep(bench_of(story, rig()), "T1", style=PLAIN)
    counts = log.columns["erpm"] / 100
    np.testing.assert_array_equal(counts, np.round(counts))
    assert len(np.unique(counts[log.channels["throttle"] == 1.0])) > 3


@pytest.mark.parametrize(
    ("fault", "check"),
    [
        (Fault("stuck", 20.0, 24.0, "voltage"), lambda c: np.ptp(c["voltage"][(c["time"] > 20.1) & (c["time"] < 23.9)]) == 0),
        (Fault("gap", 20.0, 21.0), lambda c: np.diff(c["time"]).max() > 0.95),
        (Fault("stamp", 20.0), lambda c: np.sum(np.diff(c["time"]) == 0) == 1),
    ],
)  # fmt: skip
def test_what_should_go_wrong_goes_wrong(fault: Fault, check) -> None:
    bench = bench_of(STORIES[0], rig())
    assert check(_sweep(bench, "T1", faults=(fault,)).channels)
    assert not check(_sweep(bench, "T1").channels)


def test_a_logger_of_another_country_says_the_same() -> None:
    story = STORIES[2]
    bench = bench_of(story, rig())
    layout = layout_of(story, bench.rig)
    run = {"propeller": PROPELLER, "air": AIR, "layout": layout, "style": COMMA}
    log = thrust_sweep(bench, "K1", bench.occasion("2026-04-08", "x"), **run)
    lines = log.text().splitlines()
    assert lines[0].startswith("\ufeff#")
    header = next(line for line in lines if not line.lstrip("\ufeff").startswith("#"))
    assert header.split(";") == list(log.columns)
    last = [float(cell.replace(",", ".")) for cell in lines[-1].split(";")]
    np.testing.assert_allclose(last, [column[-1] for column in log.columns.values()])


def test_a_slipping_nut_costs_thrust_from_its_throttle_on() -> None:
    bench = bench_of(STORIES[1], rig())
    plan = SweepPlan((0.5, 0.6, 0.7), down=False)
    sound, slipped = (_sweep(bench, "B1", plan=plan, slip=slip).channels for slip in (None, 0.6))

    def thrust(log, level: float) -> float:
        return float(np.median(log["thrust"][np.isclose(log["throttle"], level)]))

    assert thrust(slipped, 0.5) == pytest.approx(thrust(sound, 0.5), rel=1e-3)
    assert thrust(slipped, 0.6) < 0.75 * thrust(sound, 0.6)


def test_a_sweep_is_made_quickly() -> None:
    bench = bench_of(STORIES[0], rig())
    plan = SweepPlan(tuple(np.linspace(0.1, 1, 21).tolist()), interval=0.01)
    _sweep(bench, "T1", plan=plan)
    begun = time.process_time()
    _sweep(bench, "T1", plan=plan)
    assert time.process_time() - begun < 0.1


def test_samples_scatter_about_their_model_as_asked() -> None:
    from simulator.campaigns import Spread, samples_of

    model = STORIES[0].model
    spread = Spread(kv=0.01, resistance=0.02, drag=0.1, mass=0.004)
    made = samples_of(model, spread, [str(k) for k in range(3000)], stream(1, "many")).values()
    for name, size in (("ke_peak", 0.01), ("resistance", 0.02), ("mass", 0.004)):
        ratios = np.array([getattr(each, name) for each in made]) / getattr(model, name)
        assert ratios.mean() == pytest.approx(1, abs=4 * size / np.sqrt(3000) + 2 * size**2)
        assert ratios.std() == pytest.approx(size, rel=0.06)


def test_the_demo_lab_is_the_same_every_time() -> None:
    assert files() == files()


def test_the_demo_pictures_say_that_they_are_invented_and_one_carries_a_place() -> None:
    import io

    from PIL import Image

    pictures = {name: content for name, content in files().items() if "/photos/" in name}
    assert len(pictures) == 4
    located = [name for name, content in pictures.items() if 0x8825 in Image.open(io.BytesIO(content)).getexif()]
    assert located == ["2026-05-bistort-2207/photos/s1-shaft.jpg"]


def test_the_simulator_knows_nothing_of_the_library() -> None:
    from pathlib import Path

    import simulator

    for path in Path(simulator.__file__).parent.glob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert "import benchproof" not in text, path.name
        assert "from benchproof" not in text, path.name


def test_another_mounting_gives_another_thrust() -> None:
    bench = bench_of(STORIES[0], rig())
    layout = bench.rig.description["logs"]["thrust_sweep"]
    calm = replace(CALM)
    top = []
    for run in range(12):
        occasion = bench.occasion("2026-03-04", f"mount-{run}")
        log = thrust_sweep(
            bench, "T1", occasion, propeller=PROPELLER, air=AIR, layout=layout,
            plan=SweepPlan((0.8, 1.0), down=False), roughness=calm,
        ).channels  # fmt: skip
        top.append(np.median(log["thrust"][log["throttle"] == 1.0]))
    assert 0.001 < np.std(top) / np.mean(top) < 0.01
