"""Flywheel runs: benches whose truth is known, and what is caught on the way."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchmarks import spin_coverage as spins
from benchproof.campaign.logs import Log
from benchproof.campaign.models.tests import FlywheelRun
from benchproof.methods import flywheel_run as method
from benchproof.methods.spin import inertia
from benchproof.methods.spin.motion import motion_of
from benchproof.methods.spin.together import spun
from benchproof.methods.spin.windage import Windage
from simulator.physics import RPM, Air
from simulator.spins import SpinPlan, spin_up

AIR = Air(21.0, 100_000.0, 0.4)
TRIALS = 1000


@pytest.fixture(scope="module")
def known():
    """A bench with its truth: who spins, what its files state, the motion, and the speeds figures are read at."""
    rng = np.random.default_rng([3, 79])
    bench, stated = spins.spinning_bench(3, rng)
    motion = spin_up(bench.motor("A"), bench.drive, bench.supply, bench.flywheels[spins.DISC], density=AIR.density)
    return bench, stated, motion, list(spins.places_of(motion).values())


def opened(known, how: str = "1 kHz", **more):
    bench, stated, _, speeds = known
    return spins.open_bench(bench, stated, AIR, spins.PLANS[how], speeds, TRIALS, **more)


def altered(bench, change):
    """Return the bench with every log changed on reading; ``change`` takes channels and gives channels."""
    logs = {test.log: bench.read_log(test) for test in bench.tests("flywheel_run")}

    def read(test):
        channels = change(dict(logs[test.log].channels))
        return Log(channels, channels["time"].size, ())

    return replace(bench, read_log=read)


def reduced(bench):
    return method.reduce([method.gather(test, bench) for test in bench.tests("flywheel_run")], bench)


def by_name(reduction, name: str):
    return [figure for figure in reduction.figures if figure.name == name]


def codes(reduction) -> set[str]:
    return {remark.code for remark in reduction.remarks}


@pytest.mark.parametrize("how", list(spins.PLANS))
def test_torque_power_and_efficiency_are_the_simulators(known, how: str) -> None:
    _, _, motion, _ = known
    found = reduced(opened(known, how))
    for figure in by_name(found, "torque"):
        true = motion.at_speed("shaft_torque", float(figure.at["speed"].split()[0]) * RPM)
        assert abs(figure.quantity.value / true - 1) < 0.03
        assert abs(figure.quantity.value - true) < 4 * figure.quantity.standard_uncertainty
    peak = by_name(found, "peak_torque")[0].quantity
    assert abs(peak.value / motion.shaft_torque.max() - 1) < 0.03
    assert not {"negative_acceleration", "energy_gain", "energy_mismatch", "stuck_speed"} & codes(found)


def test_the_interval_holds_the_truth_over_a_family_of_benches() -> None:
    """Twelve benches of the committed benchmark's kind; a bench counts by its share of figures inside."""
    cases = [case for seed in range(7001, 7013) for case in spins.figures_of_bench(seed, TRIALS)]
    torque = [case for case in cases if case.name in {"torque", "motor_efficiency"}]
    assert np.mean([case.low <= case.true <= case.high for case in torque]) > 0.86
    plateau = [case for case in torque if "plateau" in case.at]
    assert abs(np.mean([case.value / case.true - 1 for case in plateau])) < 0.004
    knee = [case for case in torque if case.at.startswith("knee")]
    assert abs(np.mean([case.value / case.true - 1 for case in knee])) < 0.02


def test_a_figure_is_the_same_wherever_it_is_worked_out(known) -> None:
    """One place in all trials, all places in some: the same trials of the same draws."""
    bench = opened(known)
    motions = [motion_of(method.gather(test, bench)) for test in bench.tests("flywheel_run")]
    by_trial = spun(motions, [], bench.trials).by_trial
    places = np.flatnonzero(by_trial._spun.usable)
    for name, kind in (("torque", "torque"), ("motor_efficiency", "efficiency")):
        some = by_trial._drawn(kind, np.arange(places.size), slice(200))
        alone = np.array([by_trial.at(name, int(place)) for place in places])
        assert some == pytest.approx(alone[:, :200], rel=1e-7)  # noise is in single precision
        low, high = by_trial.band(name, 0.95)
        assert np.all((low < alone.mean(axis=1)) & (alone.mean(axis=1) < high))
    alone = np.array([by_trial.at("torque", int(place)) for place in places])
    assert by_trial.highest(places) == pytest.approx(alone.max(axis=0), rel=1e-7)
    power = by_trial.at("shaft_power", int(places[3]))
    assert power == pytest.approx(alone[3] * by_trial._spun.speeds[places[3]], rel=1e-12)


def test_speeds_outside_the_run_are_not_reached(known) -> None:
    bench, stated, _, _ = known
    beyond = spins.open_bench(bench, stated, AIR, spins.PLANS["1 kHz"], ["90000 rpm"], TRIALS)
    figures = reduced(beyond).figures
    assert [f.flags for f in figures if f.name == "torque"] == [("not_reached",)]


def test_repeats_lessen_the_noise_and_not_the_inertia(known) -> None:
    bench = opened(known, "100 Hz")
    one = replace(bench, campaign=bench.campaign.model_copy(update={"tests": bench.campaign.tests[:1]}))
    single, three = (by_name(reduced(b), "torque")[1].quantity for b in (one, bench))
    noise = [
        quantity.share_of({p.source.identity for p in quantity.parts if p.source.label == "noise of the logs"})
        for quantity in (single, three)
    ]
    assert 0 < noise[1] < 0.85 * noise[0]
    inertias = {p.source.identity for p in three.parts if "inertia" in p.source.label}
    assert three.share_of(inertias) == pytest.approx(single.share_of(inertias), rel=0.03)


def test_noise_of_the_speed_moves_a_figure_as_reading_it_a_moment_later_does(known) -> None:
    """Ratio and power of a speed a little higher, read as those of this one: torque falls with power, efficiency hardly."""
    bench = opened(known)
    motions = [motion_of(method.gather(test, bench)) for test in bench.tests("flywheel_run")]
    group = spun(motions, [], bench.trials)
    run, speeds = group.runs[0], group.speeds
    inside = np.flatnonzero(group.usable & (speeds > 0.3 * speeds[-1]) & (speeds < 0.93 * speeds[-1]))
    off = 0.1
    later = {name: np.interp(speeds + off, speeds, getattr(run, name)) for name in ("ratio", "power")}
    acceleration = later["ratio"] * run.motion.limit.share(later["power"], speeds)
    moved = {
        "torque": (acceleration / run.acceleration - 1, run.elasticity),
        "efficiency": (acceleration / run.acceleration * run.power / later["power"] - 1, run.elasticity - 1),
    }
    largest = np.abs(moved["torque"][0][inside]).max()
    for relative, per_cent in moved.values():
        found = run.misplaced(per_cent) / run.speed_noise * off
        assert np.median(np.abs(found - relative)[inside]) < 0.02 * largest
    beyond = inside[-5:]
    assert np.all(
        np.abs(run.misplaced(run.elasticity - 1))[beyond] < 0.3 * np.abs(run.misplaced(run.elasticity))[beyond]
    )


def test_a_run_without_the_rotors_inertia_is_withheld_and_says_what_to_do(known) -> None:
    found = reduced(opened(known, rotor_inertia=None))
    assert all(figure.flags == ("withheld:no_rotor_inertia",) for figure in found.figures)
    assert "swing the stripped bell" in next(r.message for r in found.remarks if r.code == "no_rotor_inertia")


def test_the_rotors_inertia_may_come_from_a_pendulum(known) -> None:
    swings = {
        "pendulum": "bifilar",
        "mass": {"value": "14.2 g", "standard": "0.01 g"},
        "period": {"value": "0.6 s", "standard": "0.1 %"},
        "separation": {"value": "20 mm", "standard": "0.05 mm"},
        "length": {"value": "600 mm", "standard": "0.5 mm"},
        "amplitude": "10 deg",
    }
    bench = opened(known, rotor_inertia=swings)
    test = bench.tests("flywheel_run")[0]
    assert isinstance(test, FlywheelRun)
    found, how = inertia.rotor_inertia("A", bench)
    period = 0.6 / (1 + math.radians(10) ** 2 / 16)
    assert how == "bifilar pendulum"
    assert found.value == pytest.approx(14.2e-3 * 9.814 * 0.02**2 * period**2 / (16 * math.pi**2 * 0.6), rel=1e-3)
    assert found.standard_uncertainty / found.value == pytest.approx(0.0055, rel=0.1)


def test_a_flywheel_may_be_known_by_its_mass_and_size(known) -> None:
    bench = opened(known)
    declared = bench.rig.flywheels[spins.DISC]
    mass = type(declared).model_validate(
        {
            "mass": {"value": "111.0 g", "standard": "0.1 g"},
            "diameter": "60.00 mm",
            "thickness": "5 mm",
            "material": "steel",
            "rated_speed": "45000 rpm",
        }
    )
    size = mass.model_copy(update={"mass": None})
    unknown = size.model_copy(update={"material": "moon rock"})
    found, how = inertia.flywheel_inertia("d", mass, bench)
    assert (found.value, how) == (pytest.approx(0.111 * 0.06**2 / 8), "from mass and size")
    assert found.standard_uncertainty / found.value == pytest.approx(0.1 / 111, rel=0.05)
    assert inertia.flywheel_inertia("d", size, bench)[0].value == pytest.approx(4.994e-5, rel=1e-3)
    with pytest.raises(ValueError, match=r"Weigh the disc"):
        inertia.flywheel_inertia("d", unknown, bench)


def test_the_motors_own_drag_does_not_come_into_the_efficiency(known) -> None:
    """A coast-down with the flywheel alone measures motor and flywheel together; nothing of it may be added."""
    bench = opened(known)
    plain = by_name(reduced(bench), "motor_efficiency")
    coasting = with_coasts(known, [spins.DISC])
    assert [f.quantity.value for f in by_name(reduced(coasting), "motor_efficiency")] == pytest.approx(
        [f.quantity.value for f in plain]
    )


def test_with_and_without_flywheel_only_its_windage_is_added(known) -> None:
    bench, _, motion, _ = known
    coasting = with_coasts(known, [spins.DISC, None])
    # A rotor known well makes the difference of coast-downs the more certain one.
    inputs = [method.gather(test, coasting) for test in coasting.tests("flywheel_run")]
    sure = [replace(run, rotor=run.rotor.without({p.source.identity for p in run.rotor.parts})) for run in inputs]
    found = method.reduce(sure, coasting)
    for figure in by_name(found, "motor_efficiency"):
        speed = float(figure.at["speed"].split()[0]) * RPM
        power = motion.at_speed("voltage", speed) * motion.at_speed("current", speed)
        true = motion.at_speed("shaft_torque", speed) * speed / power
        inflated = true + float(bench.motor("A").drag_torque(speed)) * speed / power
        assert abs(figure.quantity.value - true) < 0.5 * (inflated - true)


def test_windage_is_made_by_formula_or_by_difference_and_no_other_way() -> None:
    import inspect

    from benchproof.methods.spin import windage

    makers = {
        name
        for name, each in vars(windage).items()
        if inspect.isfunction(each)
        and each.__module__ == windage.__name__
        and "Windage" in str(each.__annotations__.get("return"))
    }
    assert makers == {"by_formula", "by_difference"}
    assert {"carrying", "bare", "rotor"} <= set(inspect.signature(windage.by_difference).parameters)
    assert Windage.__dataclass_params__.frozen


def with_coasts(known, flywheels):
    """Return the bench with a coast-down for each flywheel, None for the bare rotor."""
    from simulator.spins import COAST_LAYOUT, SpinPlan, coast_down_run

    bench, stated, _, speeds = known
    plain = opened(known)
    logs = {test.log: plain.read_log(test) for test in plain.tests("flywheel_run")}
    tests = [
        {**plain_test(test), "rotor_inertia": spins._inertia(stated["rotor"], spins.ROTOR_STATED)}
        for test in plain.tests("flywheel_run")
    ]
    for name in flywheels:
        log = f"raw/coast-{name}.csv"
        plan = SpinPlan(interval=0.01, lead=0.0, speed_noise=5 * RPM)
        recording = coast_down_run(
            bench,
            "A",
            bench.occasion(spins.DAY, log),
            flywheel=name,
            start=3000.0,
            layout=COAST_LAYOUT,
            plan=plan,
            density=AIR.density,
        )
        logs[log] = Log(recording.channels, recording.channels["time"].size, ())
        tests.append(
            {
                "test": "coast_down",
                "sample": "A",
                "log": log,
                "flywheel": name or "none",
                "windings": "open",
                "layout": COAST_LAYOUT,
            }
        )
    from simulator.spins import SPEED_LAYOUT

    return spins.campaign_of(bench, stated, SPEED_LAYOUT, tests, logs, speeds, TRIALS)


def plain_test(test) -> dict:
    air = {name: getattr(test.air, name).text for name in ("temperature", "pressure", "humidity")}
    return {"test": "flywheel_run", "sample": "A", "log": test.log, "flywheel": test.flywheel, "air": air}


def test_a_lost_step_is_caught_and_withheld(known) -> None:
    def desync(channels):
        speed = channels["speed"].copy()
        lost = slice(int(0.6 * speed.size), int(0.7 * speed.size))
        speed[lost] *= np.linspace(1, 0.7, speed[lost].size)
        return {**channels, "speed": speed}

    found = reduced(altered(opened(known), desync))
    assert "negative_acceleration" in codes(found)
    assert all(figure.quantity is None for figure in found.figures)


def test_a_wrong_count_of_pole_pairs_is_named_where_a_mark_was_logged_too(known) -> None:
    def both(factor):
        def change(channels):
            # The tachometer lies 2 ms behind the mark.
            speed = np.interp(channels["time"] + 0.002, channels["time"], channels["speed"])
            angle = np.concatenate([[0], np.cumsum(np.diff(channels["time"]) * speed[1:])])
            mark = (np.floor(angle / (2 * np.pi)) != np.floor(np.roll(angle, 1) / (2 * np.pi))).astype(float)
            mark[0] = 0.0
            return {**channels, "speed": channels["speed"] * factor, "once_per_turn": mark}

        return change

    right = reduced(altered(opened(known), both(1.0)))
    wrong = reduced(altered(opened(known), both(7 / 6)))
    assert "pole_pair_slip" not in codes(right)
    assert "pole_pair_slip" in codes(wrong)
    assert all(figure.flags == ("withheld:pole_pair_slip",) for figure in wrong.figures)


def test_more_energy_than_was_drawn_is_withheld(known) -> None:
    found = reduced(altered(opened(known), lambda channels: {**channels, "current": channels["current"] * 0.5}))
    assert "energy_gain" in codes(found)
    assert all(figure.quantity is None for figure in found.figures)


def test_an_efficiency_above_the_possible_is_withheld_and_named(known) -> None:
    found = reduced(altered(opened(known), lambda channels: {**channels, "current": channels["current"] * 0.8}))
    flags = {flag for figure in by_name(found, "motor_efficiency") for flag in figure.flags}
    assert "withheld:impossible" in flags
    assert "impossible" in codes(found)


def test_a_stuck_speed_is_named_and_left_out(known) -> None:
    def stick(channels):
        speed = channels["speed"].copy()
        speed[int(0.55 * speed.size) : int(0.6 * speed.size)] = speed[int(0.55 * speed.size)]
        return {**channels, "speed": speed}

    _, _, motion, _ = known
    found = reduced(altered(opened(known), stick))
    assert "stuck_speed" in codes(found)
    for figure in by_name(found, "torque"):
        if figure.quantity is not None:
            true = motion.at_speed("shaft_torque", float(figure.at["speed"].split()[0]) * RPM)
            assert abs(figure.quantity.value - true) < 5 * figure.quantity.standard_uncertainty


def test_a_run_that_begins_late_gives_no_peak(known) -> None:
    def cut(channels):
        late = channels["speed"] > 0.3 * channels["speed"].max()
        first = int(np.argmax(late))
        return {name: values[first:] for name, values in channels.items()}

    found = reduced(altered(opened(known), cut))
    assert "late_start" in codes(found)
    assert by_name(found, "peak_torque")[0].flags == ("withheld:late_start",)
    assert any(figure.quantity is not None for figure in by_name(found, "torque"))


def test_a_flywheel_above_its_rated_speed_is_a_warning(known) -> None:
    bench = opened(known)
    slow = bench.rig.flywheels[spins.DISC].model_copy(update={"rated_speed": bench.lab.operating_points.speed[0]})
    found = reduced(replace(bench, rig=bench.rig.model_copy(update={"flywheels": {spins.DISC: slow}})))
    sentence = next(r.message for r in found.remarks if r.code == "above_rated_speed")
    assert "above the rated speed" in sentence
    assert " safe" not in sentence


def test_the_current_limit_is_named(known) -> None:
    found = reduced(opened(known))
    assert "limited" in codes(found)
    chart = next(chart for chart in found.charts if chart.name == "torque_vs_speed")
    assert {"band", "points", "line"} == {series.role for series in chart.series}


def test_without_electrical_channels_there_is_torque_and_no_efficiency(known) -> None:
    drop = {"voltage", "current"}
    found = reduced(altered(opened(known), lambda channels: {k: v for k, v in channels.items() if k not in drop}))
    _, _, motion, _ = known
    assert not by_name(found, "motor_efficiency")
    for figure in by_name(found, "torque")[:2]:
        true = motion.at_speed("shaft_torque", float(figure.at["speed"].split()[0]) * RPM)
        assert abs(figure.quantity.value - true) < 4 * figure.quantity.standard_uncertainty


def test_one_run_without_power_makes_all_of_them_plain(known) -> None:
    bench = opened(known)
    inputs = [method.gather(test, bench) for test in bench.tests("flywheel_run")]
    bare = {name: values for name, values in inputs[0].channels.items() if name != "current"}
    found = method.reduce([replace(inputs[0], channels=bare), *inputs[1:]], bench)
    _, _, motion, _ = known
    assert not by_name(found, "motor_efficiency")
    for figure in by_name(found, "torque")[:2]:
        true = motion.at_speed("shaft_torque", float(figure.at["speed"].split()[0]) * RPM)
        assert abs(figure.quantity.value - true) < 4 * figure.quantity.standard_uncertainty


def test_telemetry_slower_than_the_log_is_thinned_to_its_updates(known) -> None:
    _, _, motion, _ = known

    def hold(channels):
        held = channels["speed"][(np.arange(channels["speed"].size) // 10) * 10]
        return {**channels, "speed": held}

    found = reduced(altered(opened(known), hold))
    assert "stuck_speed" not in codes(found)
    for figure in by_name(found, "torque")[:2]:
        true = motion.at_speed("shaft_torque", float(figure.at["speed"].split()[0]) * RPM)
        assert abs(figure.quantity.value / true - 1) < 0.03


def test_two_flywheels_of_a_sample_stand_apart(known) -> None:
    bench = opened(known)
    tests = list(bench.campaign.tests)
    tests[2] = tests[2].model_copy(update={"flywheel": "other"})
    rig = bench.rig.model_copy(update={"flywheels": {**bench.rig.flywheels, "other": bench.rig.flywheels[spins.DISC]}})
    found = reduced(replace(bench, rig=rig, campaign=bench.campaign.model_copy(update={"tests": tuple(tests)})))
    assert {figure.at["flywheel"] for figure in found.figures} == {spins.DISC, "other"}


def test_an_unstated_lag_moves_speeds_and_a_stated_one_is_undone(known) -> None:
    """The simulator's tachometer lies 2 ms behind; undoing it keeps the efficiency at the knee within its interval."""
    bench = opened(known)
    inputs = [method.gather(test, bench) for test in bench.tests("flywheel_run")]
    assert {run.lags["speed"] for run in inputs} == {0.002}
    late = method.reduce([replace(run, lags={**run.lags, "speed": -0.02}) for run in inputs], bench)
    right = method.reduce(inputs, bench)
    knee = 2
    moved = by_name(late, "motor_efficiency")[knee], by_name(right, "motor_efficiency")[knee]
    assert moved[0].quantity is None or abs(moved[0].quantity.value / moved[1].quantity.value - 1) > 0.005


def test_one_bench_at_full_trials_is_quick(known) -> None:
    import time

    bench, stated, _, speeds = known
    plan = SpinPlan(interval=0.01)
    full = spins.open_bench(bench, stated, AIR, plan, speeds, 20_000)
    inputs = [method.gather(test, full) for test in full.tests("flywheel_run")]
    begun = time.process_time()
    method.reduce(inputs, full)
    assert time.process_time() - begun < 15
