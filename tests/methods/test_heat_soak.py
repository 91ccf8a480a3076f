"""Heat soaks: two nodes against known motors, the winding's own current, and when a run gives no figure.

The fit behind it, a saturating exponential and a sum of two, is held against NIST's Misra1a and MGH17 in
``tests/trials/test_regression.py``.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import yaml
from scipy import stats

from benchmarks.dynamics_coverage import figures_of_bench
from benchproof.campaign.check import check_campaign
from benchproof.campaign.workspace import Workspace
from benchproof.errors import MethodError
from benchproof.methods import built_tests, known_choices
from benchproof.methods.soak.figures import ReducedSoak, figures_of, reduce_run
from benchproof.methods.soak.loss import Motor, winding_current
from benchproof.methods.soak.nodes import filtered, fit_nodes, rise
from benchproof.methods.soak.run import CHANNELS, Binned, Constants, SoakRun, binned
from benchproof.notebooks.session import OpenBench
from benchproof.rig.instrument import Instrument, Occasion
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity
from benchproof.trials.regression import fit_curve
from simulator.campaigns import Bench
from simulator.demo import DRIVE, PROPELLERS, STORIES, SUPPLY
from simulator.demo_words import RIG
from simulator.instruments import Rig
from simulator.streams import stream
from simulator.thermal import LAYOUT, SoakPlan, heat_soak, held, warming
from simulator.truth import true_constant, true_heat

MODEL = STORIES[0].model
PROPELLER = "oar-51x45"
ZERO = 273.15
ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def bench() -> Bench:
    """A bench whose instruments are without error, with the saturation and switching loss that the method supposes."""
    plain = yaml.safe_load(RIG)
    for raw in plain["instruments"].values():
        raw.pop("errors", None)
        raw.pop("calibrations", None)
    return Bench(Rig.drawn(plain, stream(6, "perfect")), MODEL, {"A": MODEL}, PROPELLERS, DRIVE, SUPPLY)


def a_run(bench: Bench, plan: SoakPlan | None = None, *, limit: float | None = 100.0, name: str = "soak") -> SoakRun:
    plan = plan or SoakPlan()
    channels = heat_soak(bench, "A", bench.occasion("2026-03-04", name), propeller=PROPELLER, plan=plan).channels
    speed, _, _ = held(bench.setup("A", PROPELLER, 1.2, 22.0), plan.power)
    known = (MODEL.resistance, true_constant(bench, "kt", {}, "A"), float(MODEL.drag_torque(speed)))
    return SoakRun(
        sample="A",
        airflow="propwash",
        propeller=PROPELLER,
        limit=None if limit is None else limit + ZERO,
        limit_words="" if limit is None else f"{limit:.0f} degC",
        time=channels["time"],
        channels={key: channels[key] + ZERO * key.endswith("temperature") for key in CHANNELS},
        instruments={key: Instrument("rig", LAYOUT[key]["instrument"], key) for key in CHANNELS},
        occasion=Occasion("rig", "campaign", name, date(2026, 3, 4)),
        constants=Constants(*(Quantity.exact(value, 2000) for value in known)),
        drive="drive-1",
        on_resistance=2 * DRIVE.on_resistance,
    )


def reduced(run: SoakRun) -> ReducedSoak:
    return reduce_run(run, Trials(1, 2000))


def value(found: ReducedSoak, name: str) -> float:
    figure = found.figures[name]
    assert isinstance(figure, Quantity), figure
    return figure.value


def codes(found: ReducedSoak) -> set[str]:
    return {remark.code for remark in found.remarks}


def changed(run: SoakRun, **channels: np.ndarray) -> SoakRun:
    return replace(run, channels={**run.channels, **channels})


def test_a_constant_loss_warms_a_node_by_one_exponential() -> None:
    """Identity: the mean over a stretch of 1 - exp(-t/tau), and of two nodes in sum."""
    step, tau = 0.5, 14.0
    edges = np.arange(0, 200.5, step)
    mean = 1 - tau / step * -np.diff(np.exp(-edges / tau))
    np.testing.assert_allclose(filtered(np.ones(edges.size - 1), step, tau), mean, rtol=1e-12)
    two = rise(np.array([1.2, tau, 2.2, 150.0, 20 * step]), 20 * np.ones(edges.size - 1), step)
    assert two[-1] == pytest.approx(20 * (1.2 * mean[-1] + 2.2 * (1 - np.exp(-199.75 / 150))), rel=1e-5)


@pytest.mark.parametrize(("minutes", "short"), [(2, 0.31), (4, 0.20), (8, 0.09), (15, 0.035)])
def test_one_exponential_would_put_the_end_too_low(minutes: float, short: float) -> None:
    """Nodes of 20 and 180 s, four to six, recomputed: a single exponential ends 31, 20, 9 and 3.5 % too low.

    That is why two nodes are fitted, and why a run must last three slow time constants.
    """
    step = 0.5
    time = (np.arange(round(minutes * 60 / step)) + 0.5) * step
    loss = np.ones(time.size)
    truth = rise(np.array([0.4, 20.0, 0.6, 180.0, 20 * step]), loss, step)
    one = fit_curve(lambda p, t: p[0] * (1 - np.exp(-t / p[1])), [0.8, 100.0], time, truth)
    assert 1 - one.coefficients[0] == pytest.approx(short, abs=0.004)
    noise = 1e-3 * np.random.default_rng(1).standard_normal(time.size)
    log = Binned(time, step, {"winding_temperature": truth + noise, "air_temperature": np.zeros(time.size)}, loss)
    two = fit_nodes(log, loss)
    assert two.count == 2
    assert not two.waving
    assert two.resistances.sum() == pytest.approx(1.0, abs=max(0.01, 3 * float(np.sqrt(two.covariance[2, 2]))))


def test_the_windings_current_is_not_the_supplys(bench: Bench) -> None:
    """At part duty the winding carries more than the supply: copper loss by the supply's current is far too small."""
    plan = SoakPlan()
    speed, amperes, _ = held(bench.setup("A", PROPELLER, 1.2, 22.0), plan.power)
    found = reduced(a_run(bench, plan))
    assert found.losses is not None
    current = found.losses.current[found.log.loaded]
    assert current.mean() == pytest.approx(amperes, rel=0.002)
    supply = found.log.channels["current"][found.log.loaded].mean()
    assert (current.mean() / supply) ** 2 > 2
    assert found.losses.drag[-1] == pytest.approx(float(MODEL.drag_torque(speed)) * speed, rel=0.002)


def test_the_balance_of_power_adds_up() -> None:
    """Back-emf power, copper and switches take what the supply gives, solved for the current."""
    motor = Motor(5e-3, 0.055, 4e-3, 4e-3, 0.0, 0.0)
    for amperes, speed in ((3.0, 800.0), (20.0, 1500.0), (45.0, 2500.0)):
        power = 5e-3 * speed * amperes + 0.059 * amperes**2
        assert winding_current(motor, 20.0, power, speed, 293.15) == pytest.approx(amperes, rel=1e-9)
    assert winding_current(motor, 20.0, 0.0, 0.0, 293.15) == 0


def test_copper_at_eighty_degrees_has_a_quarter_more(bench: Bench) -> None:
    """(234.5 + 80) / (234.5 + 20) = 1.2358, the rule of IEC 60228 [secondary source]: what the loss at the limit has."""
    run = a_run(bench, limit=80.0)
    found = reduced(run)
    copper = (80 - 22) / value(found, "thermal_resistance") - found.losses.drag_power.value  # type: ignore[union-attr]
    expected = (copper / (MODEL.resistance * 1.23576)) ** 0.5
    assert value(found, "continuous_current") == pytest.approx(expected, rel=2e-3)


def test_a_known_motor_comes_back(bench: Bench) -> None:
    found = reduced(a_run(bench))
    for name, tolerance in (
        ("thermal_resistance", 0.003),
        ("thermal_time_constant", 0.01),
        ("continuous_current", 0.003),
    ):
        assert value(found, name) == pytest.approx(true_heat(bench, name, "A", propeller=PROPELLER), rel=tolerance)
    assert not codes(found)


def test_the_continuous_current_ends_at_the_limit(bench: Bench) -> None:
    amperes = value(reduced(a_run(bench)), "continuous_current")
    _, _, drag = held(bench.setup("A", PROPELLER, 1.2, 22.0), SoakPlan().power)
    plan = SoakPlan(duration=4000.0)
    end = warming(MODEL, amperes, drag, 22.0, plan, np.array([plan.rest + plan.duration - 1]))
    assert end.winding_temperature[0] == pytest.approx(100.0, abs=0.5)


def test_what_cools_after_the_load_does_not_count(bench: Bench) -> None:
    plain = reduced(a_run(bench))
    cooled = reduced(a_run(bench, SoakPlan(cooling=200.0)))
    assert value(cooled, "thermal_resistance") == pytest.approx(value(plain, "thermal_resistance"), rel=3e-3)
    assert cooled.log.duration == pytest.approx(720, abs=1)


@pytest.mark.parametrize("duration", [150.0, 250.0, 400.0])
def test_a_run_of_less_than_three_slow_time_constants_gives_no_figure(bench: Bench, duration: float) -> None:
    found = reduced(a_run(bench, SoakPlan(duration=duration)))
    assert set(found.figures.values()) <= {"run_too_short", "nodes_not_resolved"}
    assert codes(found) & {"run_too_short", "nodes_not_resolved"}
    figures, _ = figures_of([found], "heat_soak/1.0")
    assert all(figure.quantity is None and figure.flags[0].startswith("withheld:") for figure in figures)


def test_a_change_of_air_during_the_run_is_caught(bench: Bench) -> None:
    run = a_run(bench)
    late = run.time > 400
    winding = run.channels["winding_temperature"] - 8.0 * late * (1 - np.exp(-(run.time - 400) / 60))
    found = reduced(changed(run, winding_temperature=winding))
    assert set(found.figures.values()) & {"nodes_do_not_hold", "run_too_short", "nodes_not_resolved"}


def test_a_motor_that_is_warm_before_the_load_is_refused(bench: Bench) -> None:
    run = a_run(bench)
    warm = run.channels["winding_temperature"] + 9 * np.exp(-run.time / 150)
    found = reduced(changed(run, winding_temperature=warm))
    assert set(found.figures.values()) == {"not_cold_at_start"}
    assert "not_cold_at_start" in codes(found)


@pytest.mark.parametrize(
    ("missing", "code", "words"),
    [
        ("resistance", "no_resistance", "winding_resistance"),
        ("torque_constant", "no_torque_constant", "no_load"),
        ("drag_torque", "no_drag", "reach the speed of the soak"),
    ],
)
def test_what_other_tests_must_give_is_named_where_it_lacks(bench: Bench, missing: str, code: str, words: str) -> None:
    run = a_run(bench)
    found = reduced(replace(run, constants=replace(run.constants, **{missing: None})))
    assert set(found.figures.values()) == {code}
    assert words in next(remark.message for remark in found.remarks)


def test_without_a_limit_there_is_no_continuous_current(bench: Bench) -> None:
    found = reduced(a_run(bench, limit=None))
    assert found.figures["continuous_current"] == "no_limit"
    assert value(found, "thermal_resistance") > 0
    assert reduced(a_run(bench, limit=30.0)).figures["continuous_current"] == "limit_below_drag"
    assert "limit_far_away" in codes(reduced(a_run(bench, limit=220.0)))


def test_a_drive_whose_resistance_is_not_stated_is_named(bench: Bench) -> None:
    known, unknown = reduced(a_run(bench)), reduced(replace(a_run(bench), on_resistance=0.0))
    assert "on_resistance_missing" in codes(unknown)
    assert value(unknown, "thermal_resistance") < value(known, "thermal_resistance")
    assert value(unknown, "thermal_resistance") == pytest.approx(value(known, "thermal_resistance"), rel=0.02)


def test_a_load_that_is_not_held_is_named(bench: Bench) -> None:
    run = a_run(bench)
    speed = run.channels["speed"] * (1 + 0.06 * np.sin(run.time / 40))
    assert "load_not_held" in codes(reduced(changed(run, speed=speed)))


def test_one_thermometer_for_both_cancels_its_offset_and_two_do_not(bench: Bench) -> None:
    from benchproof.rig.instrument import ErrorStatement
    from benchproof.trials.distributions import RECTANGULAR

    run = a_run(bench)
    offset = (ErrorStatement("offset", 0.5, RECTANGULAR, "calibration"),)
    own = {key: replace(each, errors=offset) for key, each in run.instruments.items() if key.endswith("temperature")}
    one = reduced(replace(run, instruments={**run.instruments, **own}))
    apart = {"air_temperature": replace(own["air_temperature"], name="other")}
    two = reduced(replace(run, instruments={**run.instruments, **own, **apart}))
    plain, shared, separate = (
        each.figures["thermal_resistance"].standard_uncertainty  # type: ignore[union-attr]
        for each in (reduced(run), one, two)
    )
    # The offset's part that stays is what it does to copper's resistance.
    assert shared == pytest.approx(plain, rel=0.1)
    assert separate > 1.5 * plain


def test_airflow_is_named_where_a_sample_has_more_than_one(bench: Bench) -> None:
    runs = [reduced(a_run(bench)), reduced(replace(a_run(bench, name="still"), airflow="still air"))]
    assert {dict(f.at).get("airflow") for f in figures_of(runs, "m")[0]} == {"propwash", "still air"}
    assert {tuple(f.at) for f in figures_of(runs[:1], "m")[0]} == {()}
    differing = [reduced(a_run(bench)), reduced(a_run(bench, limit=80.0, name="other"))]
    figures, remarks = figures_of(differing, "m")
    assert next(f for f in figures if f.name == "continuous_current").flags == ("withheld:limits_differ",)
    assert "limits_differ" in {remark.code for remark in remarks}


def test_a_log_without_load_is_refused_in_words(bench: Bench) -> None:
    run = a_run(bench)
    with pytest.raises(MethodError, match="holds no load"):
        binned(changed(run, current=np.zeros(run.time.size)))


def test_the_demo_takes_resistance_torque_constant_and_drag_from_its_other_tests() -> None:
    workspace = Workspace(ROOT)
    checked = check_campaign(
        workspace, "2026-03-tansy-2207", built_tests=built_tests(), known_choices=known_choices(), logs=False
    )
    section = OpenBench(workspace, checked).section("heat_soak")
    found = {figure.name: figure.quantity for figure in section.reduction.figures}
    for name, true in (("thermal_resistance", 3.4), ("thermal_time_constant", 150.0)):
        low, high = found[name].interval(0.95)  # type: ignore[union-attr]
        assert low < true < high
    labels = {share.label for share in found["thermal_resistance"].budget()}  # type: ignore[union-attr]
    assert {"switching loss of the drive", "fall of the torque constant with current"} <= labels


def test_the_interval_holds_the_truth_over_a_family_of_benches() -> None:
    """Fifteen benches of the committed benchmark's kind, two samples each; benches are counted, not figures."""
    cases = [c for seed in range(7201, 7216) for c in figures_of_bench(seed, 1500, family=("heat_soak",))]
    sample = [c for c in cases if c.of == "sample"]
    assert len(sample) >= 80
    assert np.mean([c.low <= c.true <= c.high for c in sample]) >= stats.binom.ppf(0.0005, 15, 0.95) / 15
    assert np.median([(c.high - c.low) / 2 / c.value for c in sample]) < 0.02
