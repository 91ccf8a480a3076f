"""Vibration: orders, residual unbalance by trial masses, balance quality, and what gives no figure."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import yaml
from scipy import stats

from benchmarks.dynamics_coverage import figures_of_bench
from benchproof.campaign.check import check_campaign
from benchproof.campaign.units import read_measured
from benchproof.campaign.workspace import Workspace
from benchproof.errors import InputError, MethodError
from benchproof.methods import built_tests, known_choices
from benchproof.methods.balance.figures import ReducedVibration, figures_of, reduce_run
from benchproof.methods.balance.quality import permissible_unbalance, quality, shaking_force
from benchproof.methods.balance.run import ShakeLog, TrialMass, VibrationRun, orders_of
from benchproof.methods.balance.turns import turns_of
from benchproof.methods.balance.views import views
from benchproof.notebooks.session import OpenBench
from benchproof.rig.instrument import Occasion
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity
from simulator.campaigns import Bench
from simulator.demo import DRIVE, PROPELLERS, STORIES, SUPPLY
from simulator.demo_words import RIG
from simulator.instruments import Rig
from simulator.shaking import ShakePlan, vibration
from simulator.shaking import TrialMass as Placed
from simulator.streams import stream

RPM = math.pi / 30
MODEL = STORIES[0].model
# Speeds at which marks keep no time with the rows, unless a test is about that.
PLAN = ShakePlan(speed=20110 * RPM, duration=0.8, noise=0.02)
SPEEDS = (read_measured("10000 rpm", "speed"), read_measured("20000 rpm", "speed"))


@pytest.fixture(scope="module")
def bench() -> Bench:
    """A bench whose instruments are without error."""
    plain = yaml.safe_load(RIG)
    for raw in plain["instruments"].values():
        raw.pop("errors", None)
        raw.pop("calibrations", None)
    return Bench(Rig.drawn(plain, stream(5, "perfect")), MODEL, {"A": MODEL}, PROPELLERS, DRIVE, SUPPLY)


def a_log(bench: Bench, name: str, placed: Placed | None = None, plan: ShakePlan = PLAN) -> ShakeLog:
    channels = vibration(bench, "A", bench.occasion("2026-03-04", name), trial=placed, plan=plan).channels
    trial = None
    if placed is not None:
        unbalance = Quantity.exact(placed.mass * placed.radius, 2000)
        trial = TrialMass(unbalance, placed.angle, f"{placed.mass * 1e6:.0f} mg")
    occasion = Occasion("rig", "campaign", name, date(2026, 3, 4))
    return ShakeLog(channels["time"], channels["once_per_turn"], channels["acceleration"], trial, occasion)


def a_run(bench: Bench, angles: tuple[float, ...] = (0, 120, 240), plan: ShakePlan = PLAN, mass: float = 5e-6):
    masses = [None, *(Placed(mass, 12e-3, math.radians(angle)) for angle in angles)]
    logs = tuple(a_log(bench, f"v{k}", placed, plan) for k, placed in enumerate(masses))
    return VibrationRun("A", logs, Quantity.exact(0.016, 2000), ((1, "once a turn"),))


def reduced(run: VibrationRun) -> ReducedVibration:
    return reduce_run(run, Trials(1, 2000))


def figure(run: VibrationRun):
    (slow, fast), remarks = figures_of([reduced(run)], SPEEDS, "vibration/1.0")
    assert slow.flags == ("not_reached",)
    return fast, {remark.code for remark in remarks}


def codes(found: ReducedVibration) -> set[str]:
    return {remark.code for remark in found.remarks}


@pytest.mark.parametrize(
    ("rpm", "grade", "milligram_millimetres", "force"),
    [(30000, 2.5, 12.7, 0.13), (30000, 6.3, 32.09, 0.32), (30000, 16.0, 81.5, 0.80), (20000, 6.3, 48.1, None)],
)
def test_balance_quality_is_eccentricity_times_speed(
    rpm: float, grade: float, milligram_millimetres: float, force: float | None
) -> None:
    """ISO 21940-11 defines the grade as e times Omega in mm/s [from memory]; numbers recomputed for a rotor of 16 g."""
    speed = rpm * RPM
    allowed = permissible_unbalance(grade * 1e-3, 0.016, speed)
    assert allowed / 1e-9 == pytest.approx(milligram_millimetres, rel=5e-3)
    # The same with speeds in turns a minute: U [g mm] = 9549 G [mm/s] m [kg] / n.
    assert allowed / 1e-6 == pytest.approx(9549 * grade * 0.016 / rpm, rel=1e-4)
    assert quality(allowed, 0.016, speed) == pytest.approx(grade * 1e-3)
    if force is not None:
        assert shaking_force(allowed, speed) == pytest.approx(force, abs=0.006)
        assert shaking_force(allowed, speed) == pytest.approx(0.016 * grade * 1e-3 * speed)


def test_the_angle_comes_back_from_marks_a_row_late(bench: Bench) -> None:
    log = a_log(bench, "angle")
    turns = turns_of(log.time, log.marks, "log")
    assert turns.speed == pytest.approx(PLAN.speed, rel=5e-4)
    assert turns.wander < 1e-3
    found = orders_of(log).amplitude[0] / (PLAN.response * MODEL.unbalance * turns.speed**2)
    assert abs(found) == pytest.approx(1, abs=0.01)
    assert abs(cmath.phase(found)) < 0.02


def test_a_lost_mark_is_two_turns_and_not_a_slow_one(bench: Bench) -> None:
    log = a_log(bench, "lost")
    marks = log.marks.copy()
    gone = np.flatnonzero(marks > 0.5)[[40, 90]]
    marks[gone] = 0
    assert turns_of(log.time, marks, "log").speed == pytest.approx(PLAN.speed, rel=5e-4)


def test_every_order_keeps_its_amplitude(bench: Bench) -> None:
    amplitudes = np.abs(orders_of(a_log(bench, "orders")).amplitude)
    for order, amplitude in PLAN.harmonics:
        if order <= amplitudes.size:
            assert amplitudes[int(order) - 1] == pytest.approx(amplitude, rel=0.05)
    others = set(range(2, amplitudes.size + 1)) - {int(order) for order, _ in PLAN.harmonics}
    assert max(amplitudes[k - 1] for k in others) < 0.01
    assert amplitudes.size == int(2 * math.pi / PLAN.speed / PLAN.interval / 2.56)


def test_one_trial_mass_is_the_textbooks_ratio_of_vectors(bench: Bench) -> None:
    """U_0 = U_t V_0 / (V_1 - V_0), textbook knowledge of field balancing [from memory]."""
    found = reduced(a_run(bench, (0,)))
    first, second = (run.amplitude[0] / run.turns.speed**2 for run in found.orders)
    assert found.influence is not None
    assert found.influence.vector == pytest.approx(5e-6 * 12e-3 * first / (second - first))
    assert "no_repeatability" in codes(found)
    assert found.influence.unbalance.value == pytest.approx(abs(MODEL.unbalance), rel=0.03)


def test_three_trial_masses_give_the_unbalance_with_its_angle(bench: Bench) -> None:
    found = reduced(a_run(bench))
    assert found.influence is not None
    assert abs(found.influence.vector - MODEL.unbalance) < 0.03 * abs(MODEL.unbalance)
    assert abs(found.influence.influence) == pytest.approx(abs(PLAN.response), rel=0.02)
    assert found.influence.repeated
    assert not codes(found)
    fast, _ = figure(a_run(bench))
    low, high = fast.quantity.interval(0.95)
    assert low < abs(MODEL.unbalance) < high


def test_trial_masses_that_are_wrong_by_a_tenth_make_the_unbalance_wrong_by_a_tenth(bench: Bench) -> None:
    run = a_run(bench)
    logs = [
        replace(log, trial=replace(log.trial, unbalance=Quantity.exact(log.trial.unbalance.value * 1.1, 2000)))
        if log.trial
        else log
        for log in run.logs
    ]
    wrong = reduced(replace(run, logs=tuple(logs))).influence
    right = reduced(run).influence
    assert wrong is not None
    assert right is not None
    assert wrong.unbalance.value == pytest.approx(1.1 * right.unbalance.value)


def test_without_trial_masses_only_the_spectrum_is_shown(bench: Bench) -> None:
    found = reduced(VibrationRun("A", (a_log(bench, "alone"),), None, ()))
    figures, _ = figures_of([found], SPEEDS, "m")
    assert figures == ()
    assert codes(found) == {"no_trial_masses"}
    charts, tables = views([found], 0.95)
    assert [chart.name for chart in charts] == ["order_spectrum"]
    assert [table.name for table in tables] == ["orders"]


def test_a_run_at_a_speed_that_the_lab_does_not_quote_stays_in_the_table(bench: Bench) -> None:
    fast, remarks = figure(a_run(bench, plan=replace(PLAN, speed=15000 * RPM)))
    assert fast.flags == ("not_reached",)
    assert "speed_not_quoted" in remarks


def test_an_unbalance_lost_in_the_scatter_is_not_printed(bench: Bench) -> None:
    quiet = replace(bench, samples={"A": replace(MODEL, unbalance=1e-11)})
    run = a_run(quiet, plan=replace(PLAN, noise=1.0))
    fast, _ = figure(run)
    assert fast.flags == ("withheld:below_detectable",)
    assert "below_detectable" in codes(reduced(run))
    assert any("not detected" in row for row in views([reduced(run)], 0.95)[1][2].rows)


def test_a_trial_mass_that_changes_nothing_gives_nothing(bench: Bench) -> None:
    fast, _ = figure(a_run(bench, mass=1e-10, plan=replace(PLAN, noise=1.0)))
    assert fast.flags == ("withheld:trial_mass_without_effect",)
    run = a_run(bench, (0,))
    same = replace(run, logs=(run.logs[0], replace(run.logs[0], trial=run.logs[1].trial)))
    assert reduced(same).fault == "trial_mass_without_effect"
    assert "trial_mass_small" in codes(reduced(a_run(bench, mass=2e-7)))


@pytest.mark.parametrize(
    ("plan", "code"),
    [
        (replace(PLAN, wander=0.03), "speed_unsteady"),
        (replace(PLAN, speed=20110 * RPM, interval=8e-4), "sampled_too_slowly"),
    ],
)
def test_runs_that_say_nothing_are_withheld_by_name(bench: Bench, plan: ShakePlan, code: str) -> None:
    found = reduced(a_run(bench, (0,), plan))
    assert found.fault == code
    assert code in codes(found)


def test_a_clipped_log_is_withheld(bench: Bench) -> None:
    run = a_run(bench, (0,))
    top = 0.6 * float(run.logs[1].acceleration.max())
    cut = replace(run.logs[1], acceleration=np.clip(run.logs[1].acceleration, -top, top))
    found = reduced(replace(run, logs=(run.logs[0], cut)))
    assert found.fault == "clipped"
    assert "clipped" in codes(found)


def test_runs_at_different_speeds_do_not_compare(bench: Bench) -> None:
    other = a_log(bench, "faster", Placed(5e-6, 12e-3, 0.0), replace(PLAN, speed=20500 * RPM))
    found = reduced(VibrationRun("A", (a_log(bench, "bare"), other), None, ()))
    assert found.fault == "speed_unsteady"
    assert "speeds_differ" in codes(found)


def test_more_shaking_twice_a_turn_than_once_is_named(bench: Bench) -> None:
    bent = replace(PLAN, harmonics=((2.0, 5.0),))
    assert "second_order" in codes(reduced(VibrationRun("A", (a_log(bench, "bent", None, bent),), None, ())))


def test_a_phase_that_moves_between_tests_is_named(bench: Bench) -> None:
    moved = replace(PLAN, response=PLAN.response * cmath.rect(1, math.radians(40)))
    first, second = (reduced(a_run(bench, plan=plan)) for plan in (PLAN, moved))
    _, remarks = figures_of([first, second], SPEEDS, "m")
    assert "phase_drift" in {remark.code for remark in remarks}


def test_marks_that_keep_time_with_the_rows_may_all_be_late_alike(bench: Bench) -> None:
    """At 20 000 turns a minute and 10 kHz a turn is 30 rows: every mark is late by the same share of a row."""
    locked = replace(PLAN, speed=20000 * RPM, wander=0.0)
    log = a_log(bench, "locked", None, locked)
    turns = turns_of(log.time, log.marks, "log")
    assert turns.locked == pytest.approx(locked.speed * locked.interval / 12**0.5, rel=0.05)
    free = a_log(bench, "free")
    assert turns_of(free.time, free.marks, "log").locked < 0.3 * turns.locked


def test_too_few_marks_are_refused_in_words(bench: Bench) -> None:
    log = a_log(bench, "few")
    with pytest.raises(MethodError, match="marks in once_per_turn"):
        turns_of(log.time, np.zeros(log.time.size), "raw/few.csv")


def test_logs_of_trial_masses_are_declared_and_judged(tmp_path: Path) -> None:
    """A campaign runs where only its declared files are, so a trial mass's log must be one; and a bad one is named."""
    import shutil

    demo = Path(__file__).parents[2] / "runs"
    shutil.copytree(demo, tmp_path / "runs")
    name = "2026-03-tansy-2207"
    checked = check_campaign(Workspace(tmp_path), name, built_tests=built_tests(), known_choices=known_choices())
    assert {f"runs/{name}/raw/t1-vib-{k}.csv" for k in range(4)} <= set(checked.files())
    section = OpenBench(Workspace(tmp_path), checked).section("vibration")
    names = {(f.name, *f.at.values()) for f in section.reduction.figures if f.quantity is not None}
    assert names == {("residual_unbalance", "20000 rpm")}
    (tmp_path / "runs" / name / "raw" / "t1-vib-2.csv").write_text("t_us,mark,acc\n0,0,x\n")
    with pytest.raises(InputError, match="t1-vib-2"):
        check_campaign(Workspace(tmp_path), name, built_tests=built_tests(), known_choices=known_choices())


def test_the_interval_holds_the_truth_over_a_family_of_benches() -> None:
    """Thirty benches of the committed benchmark's kind, two samples each."""
    cases = [c for seed in range(7101, 7131) for c in figures_of_bench(seed, 1500, family=("vibration",))]
    sample = [c for c in cases if c.of == "sample"]
    assert len(sample) == 60
    inside = sum(c.low <= c.true <= c.high for c in sample)
    assert stats.binom.ppf(0.0005, 60, 0.95) <= inside
    assert np.median([(c.high - c.low) / 2 / c.value for c in sample]) < 0.1
