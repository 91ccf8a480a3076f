"""Thrust sweeps against benches whose truth is known, and what is caught on the way."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from benchmarks import sweep_coverage as bench
from benchmarks.coverage import drawn_bench
from benchproof.errors import MethodError
from benchproof.methods.sweep import points
from benchproof.methods.sweep.figures import figures_of
from benchproof.methods.sweep.propeller import FIGURES, thrust_ceiling
from benchproof.methods.sweep.run import reduce_run
from benchproof.rig.instrument import ErrorStatement
from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Trials


def one_run(seed: int = 3, trials: int = 1000):
    rng = np.random.default_rng([seed, 77])
    true = drawn_bench(seed, rng)
    engine = Trials(1, trials)
    air = bench.Air(20.0, 100_000.0, 0.4)
    return bench._run(true, "A", "A-1", air, bench.SweepPlan(), engine), engine


def test_the_interval_holds_the_truth_over_a_family_of_benches() -> None:
    """Sixteen benches of the committed benchmark's kind; the region is binomial for the whole family of thrusts."""
    cases = [c for seed in range(9001, 9017) for c in bench.figures_of_bench(seed, 1000) if c.name == "thrust"]
    inside = np.array([c.low <= c.true <= c.high for c in cases])
    # Figures of one bench share its instruments: count benches, not figures.
    low = stats.binom.ppf(0.0005, 16, 0.95) / 16
    assert low <= inside.mean() <= 1.0
    sample = [c for c in cases if c.of == "sample"]
    assert 0.88 <= np.mean([c.low <= c.true <= c.high for c in sample]) <= 0.99
    assert abs(np.mean([c.value / c.true - 1 for c in sample])) < 0.004


def test_a_point_outside_the_measured_range_is_not_reached() -> None:
    run, engine = one_run()
    curves = reduce_run(run, engine).curves
    assert curves.read("thrust", "electrical_power", [5000.0])[0].problem == "not_reached"
    assert curves.read("thrust", "electrical_power", [100.0])[0].quantity is not None


def test_a_figure_beyond_the_calibrated_range_is_flagged_and_no_other() -> None:
    run, engine = one_run()
    cell = run.instruments["thrust"]
    assert cell.calibration is not None
    made = cell.calibration
    short = replace(cell, calibration=replace(made, indicated=made.indicated[made.indicated < 5.0]))
    reduced = reduce_run(replace(run, instruments={**run.instruments, "thrust": short}), engine)
    assert "beyond_calibration" in [remark.code for remark in reduced.remarks]
    stub = SimpleNamespace(lab=SimpleNamespace(operating_points=bench.POINTS), trials=engine)
    figures = {
        f.at["thrust"]: f for f in figures_of([reduced], stub, "m/1")[0] if f.name == "speed" and "thrust" in f.at
    }
    assert "beyond_calibration" in figures["8 N"].flags
    assert figures["8 N"].quantity is not None
    low = [f for f in figures_of([reduced], stub, "m/1")[0] if f.at == {"electrical_power": "50 W"}]
    assert low
    assert all("beyond_calibration" not in f.flags for f in low)


def test_errors_do_not_hang_on_the_pieces_they_are_worked_out_in(monkeypatch) -> None:
    run, engine = one_run()
    whole = reduce_run(run, engine).points.errors
    monkeypatch.setattr(points, "AT_ONCE", 130)
    pieces = reduce_run(run, engine).points.errors
    assert pieces.draws == pytest.approx(whole.draws, rel=1e-9, abs=1e-12)


def test_a_band_rests_on_some_of_the_trials_that_figures_rest_on() -> None:
    run, engine = one_run()
    curves = reduce_run(run, engine).curves
    for name, axis in (("thrust", "electrical_power"), ("speed", "throttle"), ("figure_of_merit", "speed")):
        low, high = curves.range(axis)
        places = np.linspace(low, high, 3)
        _, all_of_them, _ = curves.along(name, axis, places)
        _, some, _ = curves.along(name, axis, places, slice(300))
        assert some == pytest.approx(all_of_them[:, :300], rel=1e-12)


def test_a_few_steps_tell_the_errors_of_all() -> None:
    run, engine = one_run()
    reduced = reduce_run(run, engine)
    found, tare = reduced.points, points.Tare.of(reduced.segments, run)
    nominal, by_trial = points._roots(run, found.plateaus, tare, engine)
    for root, loadings in found.errors.loadings.items():
        truth = np.log(by_trial[root] / nominal[root][:, None])
        assert loadings @ found.errors.draws == pytest.approx(truth, abs=1e-4 * float(truth.std()))


@pytest.mark.parametrize("place", [0, 5])
def test_a_step_that_only_some_trials_see_negative_is_left_out(monkeypatch, place: int) -> None:
    """The trials that tell the directions see it positive; the others begin it again without it."""
    run, engine = one_run()
    kept = reduce_run(run, engine).points
    spoilt = kept.plateaus[np.argsort(kept.roots["thrust"])[place]]
    roots = points._roots

    def meddled(run, plateaus, tare, trials):
        nominal, by_trial = roots(run, plateaus, tare, trials)
        thrust = by_trial["thrust"].copy()
        for k, plateau in enumerate(plateaus):
            if plateau.start == spoilt.start:
                value, every = roots(run, [plateau], tare, engine)
                falls = 1 - every["thrust"][0] / value["thrust"][0]
                between = (falls[:100].max() + falls.max()) / 2  # the first hundred trials stay positive, others do not
                thrust[k] = nominal["thrust"][k] * (1 - (1 - thrust[k] / nominal["thrust"][k]) / between)
        return nominal, {**by_trial, "thrust": thrust}

    monkeypatch.setattr(points, "_roots", meddled)
    monkeypatch.setattr(points, "SAMPLED", slice(100))
    again = reduce_run(run, engine).points
    assert [p.start for p in again.plateaus] == [p.start for p in kept.plateaus if p is not spoilt]
    assert again.errors.draws.shape[1] == engine.count


def test_wide_steps_are_not_bridged() -> None:
    run, engine = one_run()
    low = (run.throttle < 0.35) | (run.throttle > 0.85)
    cut = replace(
        run,
        time=run.time[low],
        throttle=run.throttle[low],
        channels={k: v[low] for k, v in run.channels.items()},
    )
    assert reduce_run(cut, engine).curves.read("thrust", "electrical_power", [100.0])[0].problem == "plateaus_far_apart"


def test_an_offset_of_the_cell_cancels_with_the_tare() -> None:
    run, engine = one_run()
    cell = run.instruments["thrust"]
    shaky = replace(cell, errors=(*cell.errors, ErrorStatement("offset", 1.0, RECTANGULAR, "run", "huge")))
    with_offset = replace(run, instruments={**run.instruments, "thrust": shaky})
    plain = reduce_run(run, engine).curves.read("thrust", "electrical_power", [100.0])[0].quantity
    offset = reduce_run(with_offset, engine).curves.read("thrust", "electrical_power", [100.0])[0].quantity
    assert plain is not None
    assert offset is not None
    assert offset.standard_uncertainty == pytest.approx(plain.standard_uncertainty, rel=0.02)


def test_without_a_standstill_the_offset_stays_and_is_said() -> None:
    run, engine = one_run()
    on = run.throttle > 0
    bare = replace(
        run,
        time=run.time[on],
        throttle=run.throttle[on],
        channels={k: v[on] for k, v in run.channels.items()},
    )
    reduced = reduce_run(bare, engine)
    assert "no_tare" in {remark.code for remark in reduced.remarks}
    assert any("offset of thrust_cell" in part.source.label for part in reduced.points.parts)


@pytest.mark.parametrize(
    ("channel", "factor", "code", "words"),
    [
        ("thrust", 101.97, "thrust_above_ceiling", "gram-force but the layout says newton"),
        ("thrust", 1 / 101.97, "thrust_implausible", "newton but the layout says gram-force"),
        ("speed", 7.0, "speed_unit", "divide_by: pole_pairs"),
        ("speed", 1 / 7, "speed_unit", "take `divide_by` out"),
    ],
)
def test_mistaken_units_are_named(channel: str, factor: float, code: str, words: str) -> None:
    run, engine = one_run()
    plain = {name: replace(i, calibration=None, errors=()) for name, i in run.instruments.items()}
    wrong = replace(run, instruments=plain, channels={**run.channels, channel: run.channels[channel] * factor})
    found = [r for r in reduce_run(wrong, engine).remarks if r.code == code]
    assert found
    assert words in found[0].message


def test_more_thrust_than_physics_allows_is_withheld_where_power_or_thrust_counts() -> None:
    run, engine = one_run()
    plain = {name: replace(i, calibration=None, errors=()) for name, i in run.instruments.items()}
    wrong = replace(run, instruments=plain, channels={**run.channels, "thrust": run.channels["thrust"] * 20})
    withheld = reduce_run(wrong, engine).withheld
    assert {"thrust", "thrust_per_power", "electrical_power"} <= set(withheld)


def test_the_ceiling_of_momentum_theory() -> None:
    """Recomputed: 129.5 mm in standard air lifts at most 577, 917 and 1688 gf on 100, 200 and 500 W."""
    for power, grams in ((100, 577), (200, 917), (500, 1688)):
        assert thrust_ceiling(power, 1.225, 0.1295) / 9.80665e-3 == pytest.approx(grams, rel=2e-3)


def test_figure_of_merit_from_coefficients() -> None:
    """FM = sqrt(2/pi) C_T^1.5 / C_P: 0.618 for 0.15 and 0.075 (identity)."""
    rho, d, n = 1.2, 0.13, 300.0
    roots = {"thrust": 0.15 * rho * n**2 * d**4, "speed": 2 * np.pi * n}
    roots["torque"] = 0.075 * rho * n**3 * d**5 / roots["speed"]
    for name, value in (
        ("figure_of_merit", 0.61804),
        ("thrust_coefficient", 0.15),
        ("power_coefficient", 0.075),
    ):
        form = FIGURES[name]
        log = (
            form.log_constant(d)
            + form.density * np.log(rho)
            + sum(p * np.log(roots[r]) for r, p in form.powers.items())
        )
        assert np.exp(log) == pytest.approx(value, rel=2e-5)


def test_a_log_without_a_settled_step_is_refused_in_words() -> None:
    run, engine = one_run()
    short = replace(
        run,
        time=run.time[:30],
        throttle=run.throttle[:30],
        channels={k: v[:30] for k, v in run.channels.items()},
    )
    with pytest.raises(MethodError, match="settled"):
        reduce_run(short, engine)
