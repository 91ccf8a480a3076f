"""Cross-talk of a thrust and torque stand: fitted, inverted, and how sure of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from benchmarks import sweep_coverage as bench
from benchmarks.coverage import PROPELLER, drawn_bench
from benchproof.campaign.calibration_files import LoadingTable
from benchproof.campaign.models.rig import RigFile
from benchproof.errors import InputError, MethodError
from benchproof.methods.sweep.run import reduce_run
from benchproof.rig.build import build_cross_talk
from benchproof.rig.cross_talk import CrossTalk, fit_cross_talk
from benchproof.rig.instrument import Instrument
from benchproof.rig.loads import LoadError
from benchproof.trials.distributions import RECTANGULAR
from benchproof.trials.engine import Trials
from simulator.instruments import Rig

TRUE = np.array([[1.01, 0.8], [1.2e-3, 0.99]])
"""Thrust cell 0.8 N per N m, torque cell 1.2 mN m per N: some percent of a propeller's torque."""

LOADS = np.array([[t, 0.0] for t in (0, 4, 8, 12, 16, 8, 0)] + [[0.0, q] for q in (0.1, 0.2, 0.3, 0.2, 0.1)])
NOISE = np.array([4e-3, 1.5e-4])


def fitted(noise: np.ndarray | float = 0.0, *, keeps: tuple[bool, bool] = (False, False), seed: int = 1) -> CrossTalk:
    rng = np.random.default_rng(seed)
    shown = np.array([0.3, -0.002]) + LOADS @ TRUE.T + noise * rng.standard_normal(LOADS.shape)
    return fit_cross_talk(LOADS, shown, rig="north", key="c.csv:2026-02-10", keeps_gain=keeps)


def as_trials(pair: np.ndarray, count: int) -> tuple[dict, dict]:
    names = ("thrust", "torque")
    values = dict(zip(names, pair, strict=True))
    return values, {name: np.repeat(one[:, None], count, axis=1) for name, one in values.items()}


def test_pure_loadings_give_the_matrix_and_its_inverse_gives_the_loads() -> None:
    found = fitted()
    assert found.matrix == pytest.approx(TRUE, rel=1e-9)
    assert np.abs(found.residuals()).max() < 1e-12
    true = np.array([[2.0, 10.0], [0.02, 0.11]])
    values, trials = as_trials(TRUE @ true, 1000)
    best, by_trial = found.taken_out(values, trials, Trials(1, 1000))
    assert best["thrust"] == pytest.approx(true[0], rel=1e-9)
    assert best["torque"] == pytest.approx(true[1], rel=1e-9)
    assert by_trial["torque"] == pytest.approx(np.repeat(true[1][:, None], 1000, axis=1), rel=1e-9)


def test_a_calibrated_cell_keeps_its_own_gain() -> None:
    found = fitted(keeps=(True, True))
    own = np.diag(1 / np.diag(TRUE)) @ TRUE
    true = np.array([[10.0], [0.11]])
    values, trials = as_trials(own @ true, 1000)
    best, _ = found.taken_out(values, trials, Trials(1, 1000))
    assert best["thrust"] == pytest.approx(true[0], rel=1e-9)
    assert best["torque"] == pytest.approx(true[1], rel=1e-9)


def test_the_interval_of_the_correction_holds_the_truth() -> None:
    """400 noisy loadings: 95 % intervals of the corrected torque hold the true one as often as they say."""
    engine, inside = Trials(7, 2000), []
    true = np.array([[14.0], [0.12]])
    for seed in range(400):
        found = replace(fitted(NOISE, seed=seed), key=f"{seed}.csv")
        _, by_trial = found.taken_out(*as_trials(TRUE @ true, 2000), engine)
        low, high = np.quantile(by_trial["torque"][0], [0.025, 0.975])
        inside.append(low <= true[1, 0] <= high)
    assert 0.92 <= np.mean(inside) <= 0.98


def test_the_correction_is_one_source_for_all_campaigns_under_the_loading() -> None:
    found, engine = fitted(NOISE), Trials(1, 1000)
    identities = [part.source.identity for part in found.parts(engine)]
    assert len(set(identities)) == 4
    assert all("calibration:c.csv:2026-02-10" in identity for identity in identities)


def test_errors_of_the_loads_count_where_the_gain_comes_from_them() -> None:
    masses = LoadError("masses", 0.01, RECTANGULAR)
    engine = Trials(1, 2000)
    values, trials = as_trials(TRUE @ np.array([[10.0], [0.1]]), 2000)
    for keeps, spread in (((False, False), 0.01), ((True, True), 0.0)):
        found = replace(fitted(keeps=keeps), load_errors=((masses,), ()))
        _, by_trial = found.taken_out(values, trials, engine)
        assert by_trial["thrust"][0].std() / by_trial["thrust"][0].mean() == pytest.approx(spread, abs=1e-6)


def test_loads_that_always_come_together_are_refused() -> None:
    together = np.array([[t, 0.01 * t] for t in (0.0, 2, 4, 8, 12, 16)])
    with pytest.raises(MethodError, match="load each of them alone"):
        fit_cross_talk(together, together @ TRUE.T, rig="n", key="c", keeps_gain=(True, True))


def test_swapped_columns_are_named() -> None:
    with pytest.raises(MethodError, match="thrust cell does not rise with thrust"):
        fit_cross_talk(LOADS, -(LOADS @ TRUE.T), rig="n", key="c", keeps_gain=(True, True))


ENTRY = {
    "file": "calibration/cross-talk.csv",
    "dated": "2026-02-10",
    "expires": "2026-08-10",
    "thrust": {"instrument": "cell", "applied_unit": "kg", "indicated_unit": "gf"},
    "torque": {"instrument": "torque", "applied_unit": "N*m", "indicated_unit": "mN*m"},
}
CELLS = {
    "thrust": Instrument("north", "cell", "thrust"),
    "torque": Instrument("north", "torque", "torque"),
}


def rig(**more: object) -> RigFile:
    base = {
        "rig": "north",
        "location": {"latitude": "54.1 deg", "elevation": "180 m"},
        "instruments": {"cell": {"measures": "thrust"}, "torque": {"measures": "torque"}},
        "cross_talk": [ENTRY],
    }
    return RigFile.model_validate(base | more)


def table(path: str) -> LoadingTable:
    local = 9.80665 * 1.0003
    thrust = LOADS[:, 0] / local
    shown = LOADS @ TRUE.T
    return LoadingTable(
        np.column_stack([thrust, LOADS[:, 1]]), np.column_stack([shown[:, 0] / 9.80665e-3, shown[:, 1] * 1e3])
    )


def test_the_loading_in_force_applies_in_its_own_units() -> None:
    found = build_cross_talk(rig(), CELLS, date(2026, 3, 2), table)
    assert found is not None
    assert found.matrix == pytest.approx(TRUE, rel=1e-3)
    assert found.keeps_gain == (False, False)


def test_no_loading_in_force_is_an_error_and_other_cells_are_left_alone() -> None:
    with pytest.raises(InputError, match=r"cross_talk.*none in force on 2026-09-01"):
        build_cross_talk(rig(), CELLS, date(2026, 9, 1), table)
    other = {**CELLS, "thrust": Instrument("north", "other_cell", "thrust")}
    assert build_cross_talk(rig(), other, date(2026, 9, 1), table) is None


def test_sweeps_on_a_simulated_stand_need_the_correction() -> None:
    """Torque is some percent off without it, and within its interval with it."""
    engine = Trials(1, 1000)
    for seed in (3, 4, 5):
        true = drawn_bench(seed, np.random.default_rng([seed, 77]))
        entry = {
            "file": "calibration/cross-talk.csv",
            "dated": "2026-02-20",
            "expires": "2026-08-20",
            "thrust": {"instrument": "thrust_cell", "applied_unit": "kg", "indicated_unit": "gf"},
            "torque": {"instrument": "torque_cell", "applied_unit": "N*m", "indicated_unit": "N*m"},
        }
        stand = Rig({**true.rig.description, "cross_talk": [entry]}, true.rig.entropy)
        crossed = replace(true, rig=stand)
        run = bench._run(crossed, "A", "A-1", bench.Air(20.0, 100_000.0, 0.4), bench.SweepPlan(), engine)
        loads = np.array([[t, 0.0] for t in (0, 0.5, 1, 1.5, 2, 1, 0)] + [[0.0, q] for q in (0.1, 0.2, 0.3, 0.15)])
        rows = np.array(stand.loading_rows(entry, loads[:, 0], loads[:, 1], noise=(3e-3, 1e-4)))
        cells = {name: run.instruments[name] for name in ("thrust", "torque")}
        gravity = stand.instrument("thrust_cell")._per_load("kg")
        shown = np.column_stack(
            [cells["thrust"].corrected(rows[:, 2] * 9.80665e-3), cells["torque"].corrected(rows[:, 3])]
        )
        found = fit_cross_talk(rows[:, :2] * [gravity, 1.0], shown, rig=stand.name, key="c", keeps_gain=(True, True))
        expected = bench.truth(crossed, "torque", "speed", 1500.0, "A", propeller=PROPELLER)
        expected *= run.density.value / 1.225
        read = {}
        for name, cross_talk in (("raw", None), ("corrected", found)):
            points = reduce_run(replace(run, cross_talk=cross_talk, reference_density=None), engine).curves
            values, trials, _ = points.along("torque", "speed", np.log([1500.0]))
            read[name] = values[0], np.quantile(trials[0], [0.001, 0.999])
        crossing = stand.crossing.into_torque * bench.truth(
            crossed, "thrust", "speed", 1500.0, "A", propeller=PROPELLER
        )
        assert read["raw"][0] - read["corrected"][0] == pytest.approx(crossing, rel=0.25)
        low, high = read["corrected"][1]
        assert low <= expected <= high
