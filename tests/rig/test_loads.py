"""Torque from masses on an arm, and what all loads of one calibration get wrong together."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from benchproof.campaign.calibration_files import CalibrationTable
from benchproof.campaign.faults import validated
from benchproof.campaign.models.rig import RigFile
from benchproof.campaign.yaml import Places
from benchproof.errors import InputError
from benchproof.rig.build import build_instrument
from benchproof.rig.check_weight import judge_check
from benchproof.rig.gravity import local_gravity
from benchproof.rig.instrument import Occasion
from benchproof.rig.loads import LoadError
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Trials
from simulator.instruments import Rig as Simulated

DAY = date(2026, 3, 2)
ARM = {
    "length": {"value": "100 mm", "standard": "0.05 mm"},
    "level": {"value": "2 deg", "half_width": "1 deg"},
}
CALIBRATION = {
    "file": "calibration/torque.csv",
    "dated": "2026-02-10",
    "expires": "2026-08-10",
    "applied_unit": "g",
    "indicated_unit": "mN*m",
    "arm": ARM,
    "masses": "0.02 %",
}
PLACE = {"latitude": "54.1 deg", "elevation": "180 m"}
MASSES = np.linspace(0.0, 300.0, 13)
GAIN = 1.01


def rig(calibration: dict | None = None, **more: object) -> RigFile:
    cell = {"measures": "torque", "calibrations": [calibration or CALIBRATION], **more}
    values = {"rig": "north", "location": PLACE, "instruments": {"cell": cell}}
    return validated(RigFile, values, Places("rig.yaml", {}))


def true_torque(grams: np.ndarray | float) -> np.ndarray:
    """M g L cos(theta) with the buoyancy of steel in air, by hand."""
    gravity = local_gravity(np.radians(54.1), 180.0)
    return np.asarray(grams) * 1e-3 * (1 - 1.2 / 8000) * gravity * 0.1 * np.cos(np.radians(2.0))


def table(path: str) -> CalibrationTable:
    noise = 1e-7 * np.random.default_rng(1).standard_normal(MASSES.size)
    return CalibrationTable(MASSES, (GAIN * true_torque(MASSES) + noise) * 1e3, ("up",) * MASSES.size)


def test_masses_on_an_arm_are_torques() -> None:
    cell = build_instrument(rig(), "cell", DAY, table)
    assert cell.corrected(np.array([GAIN * 0.2])) == pytest.approx([0.2], rel=1e-5)


def test_errors_of_masses_and_arm_do_not_average_out_over_the_loads() -> None:
    """Thirteen loads, one set of masses, one arm: relative uncertainties add as squares and are not divided by 13."""
    engine = Trials(1, 20_000)
    cell = build_instrument(rig(), "cell", DAY, table)
    occasion = Occasion("north", "spring", "raw/a.csv", DAY)
    torque = cell.reading([GAIN * 0.2], occasion, "torque", engine).quantity
    level = np.tan(np.radians(2.0)) * np.radians(1.0) / 3**0.5
    expected = np.sqrt((2e-4 / 3**0.5) ** 2 + (0.05 / 100) ** 2 + level**2)
    assert torque.standard_uncertainty / torque.value == pytest.approx(expected, rel=0.02)
    labels = {share.label for share in torque.budget()}
    assert {f"{name} in the calibration of cell" for name in ("masses", "arm length", "arm level")} <= labels


def test_a_level_arm_errs_by_its_cosine_only() -> None:
    """One degree off level takes 0.015 % of the torque (cosine, arithmetic)."""
    error = LoadError("arm level", np.radians(1.0), NORMAL, 0.0)
    assert error.factor(np.array([1.0, -1.0])) == pytest.approx([0.99985, 0.99985], abs=1e-5)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"arm": None}, "found masses without an arm:; expected the arm that turns them into torque"),
        ({"applied_unit": "N*m", "masses": None}, "found an arm without masses on it"),
        ({"applied_unit": "N*m", "arm": None}, "found masses: for loads that are none"),
        ({"arm": {"length": "100 mm"}}, "expected a length with its uncertainty"),
        ({"applied_unit": "V", "arm": None, "masses": None}, "applied_unit"),
    ],
)
def test_a_loading_that_cannot_be_used_is_named(change: dict, sentence: str) -> None:
    stated = {key: value for key, value in (CALIBRATION | change).items() if value is not None}
    with pytest.raises(InputError) as caught:
        rig(stated)
    assert sentence in str(caught.value)


CHECK = {
    "date": DAY.isoformat(),
    "applied": {"value": "200 g", "standard": "0.01 g"},
    "arm": {"length": {"value": "100 mm", "standard": "0.05 mm"}},
}


@pytest.mark.parametrize(("factor", "passed"), [(1.0, True), (1.0005, True), (1.01, False)])
def test_the_check_weight_passes_within_both_uncertainties(factor: float, passed: bool) -> None:
    load = float(true_torque(200.0)) / np.cos(np.radians(2.0)) * GAIN * factor
    stated = rig(checks=[CHECK | {"indicated": f"{load * 1e3:.4f} mN*m"}])
    cell = build_instrument(stated, "cell", DAY, table)
    judged = judge_check(stated, cell, stated.instruments["cell"].checks[0], Trials(1, 5000))
    assert judged.passed is passed
    assert judged.read.value / judged.reference.value == pytest.approx(factor, abs=2e-5)
    u = np.hypot(judged.read.standard_uncertainty, judged.reference.standard_uncertainty)
    assert judged.normalised == pytest.approx((judged.read.value - judged.reference.value) / (2 * u), rel=1e-9)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"arm": None}, "an arm for a mass on a torque cell"),
        ({"indicated": "200 gf"}, "a torque with its unit"),
        ({"applied": "200 g"}, "a mass with its uncertainty"),
        ({"applied": {"value": "2 N", "standard": "0.01 N"}, "arm": None}, "a mass, or a torque"),
    ],
)
def test_a_check_weight_that_cannot_be_judged_is_named(change: dict, sentence: str) -> None:
    stated = {key: value for key, value in ({"indicated": "196 mN*m"} | CHECK | change).items() if value is not None}
    with pytest.raises(InputError) as caught:
        rig(checks=[stated])
    assert sentence in str(caught.value)


def test_one_check_a_day_and_none_where_no_weight_can_hang() -> None:
    twice = [CHECK | {"indicated": "196 mN*m"}] * 2
    with pytest.raises(InputError, match=r"two checks of 2026-03-02"):
        rig(checks=twice)
    values = {"rig": "n", "instruments": {"v": {"measures": "voltage", "checks": [CHECK | {"indicated": "1 V"}]}}}
    with pytest.raises(InputError, match="a check weight on an instrument for voltage"):
        validated(RigFile, values, Places("rig.yaml", {}))


def test_torque_from_a_simulated_arm_lies_in_its_interval() -> None:
    """300 stands whose masses, arm and level err as stated: 95 % intervals of 0.2 N m hold the truth as often."""
    calibration = CALIBRATION | {"dated": "2026-02-10", "indicated_unit": "N*m"}
    statement = {"measures": "torque", "full_scale": "0.5 N*m", "calibrations": [calibration]}
    description = {"rig": "north", "location": PLACE, "instruments": {"cell": statement}}
    stated = validated(RigFile, description, Places("rig.yaml", {}))
    occasion, engine, inside = Occasion("north", "spring", "raw/a.csv", DAY), Trials(1, 2000), []
    for seed in range(300):
        cell = Simulated(description, 1000 + seed).instrument("cell")
        rows = cell.calibration_rows(calibration, MASSES, noise=2e-5, hysteresis=0.0)
        read = CalibrationTable(*(np.array(column) for column in zip(*rows, strict=True)))
        ours = build_instrument(stated, "cell", DAY, lambda _path, read=read: read)
        line = cell.response(calibration["file"])
        shown = line.zero + line.gain * 0.2
        quantity = ours.reading([shown], occasion, "torque", engine).quantity
        low, high = quantity.interval(0.95)
        inside.append(low <= 0.2 <= high)
    assert 0.915 <= np.mean(inside) <= 0.98
