"""What an instrument's readings may have been, and which errors they share."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from benchproof.errors import MethodError
from benchproof.rig.calibration import Calibration, calibrate
from benchproof.rig.instrument import ErrorStatement, Instrument, Kind, Occasion, Per
from benchproof.trials.distributions import NORMAL, RECTANGULAR
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity, combine, correlation

OCCASION = Occasion("north", "spring", "raw/a.csv", date(2026, 3, 2))
OTHER_RUN = replace(OCCASION, run="raw/b.csv")
OTHER_DAY = replace(OTHER_RUN, date=date(2026, 3, 3))
OTHER_CAMPAIGN = replace(OTHER_DAY, campaign="summer")

STEP = ErrorStatement("resolution", 1e-5 / 12**0.5, RECTANGULAR, "reading")
REPEATS = ErrorStatement("repeatability", 6e-6, NORMAL, "reading")


def made(file: str = "c.csv") -> Calibration:
    x = np.linspace(0, 20, 9)
    days = {"dated": date(2026, 2, 1), "expires": date(2026, 8, 1)}
    return calibrate(x, x + 0.01 * np.sin(x), ["up"] * 9, key=f"{file}:2026-02-01", **days)


def meter(*errors: ErrorStatement, calibration: Calibration | None = None) -> Instrument:
    return Instrument("north", "meter", "voltage", errors, calibration, full_scale=20.0)


def one(instrument: Instrument, at: float, occasion: Occasion, trials: Trials) -> Quantity:
    return instrument.reading([at], occasion, "volts", trials).quantity


@pytest.mark.parametrize(
    ("per", "shared_with"),
    [
        ("calibration", [OTHER_RUN, OTHER_DAY, OTHER_CAMPAIGN]),
        ("session", [OTHER_RUN]),
        ("run", []),
        ("reading", []),
    ],
)
def test_an_error_is_shared_as_far_as_its_scope_reaches(per: Per, shared_with: list[Occasion], trials: Trials) -> None:
    volts = meter(ErrorStatement("offset", 0.1, RECTANGULAR, per))
    for other in (OTHER_RUN, OTHER_DAY, OTHER_CAMPAIGN):
        expected = 1.0 if other in shared_with else 0.0
        found = correlation(one(volts, 10.0, OCCASION, trials), one(volts, 10.0, other, trials))
        assert found == pytest.approx(expected, abs=1e-9), other


def test_two_readings_of_one_run_share_the_runs_error_and_not_their_own(trials: Trials) -> None:
    volts = meter(
        ErrorStatement("offset", 0.1, RECTANGULAR, "run"), ErrorStatement("offset", 0.1, RECTANGULAR, "reading")
    )
    first, second = (volts.reading([10.0], OCCASION, key, trials).quantity for key in ("ab", "bc"))
    assert correlation(first, second) == pytest.approx(0.5, rel=1e-6)


def test_a_new_calibration_draws_its_errors_anew(trials: Trials) -> None:
    statement = ErrorStatement("scale", 1e-3, RECTANGULAR, "calibration")
    old, new = (meter(statement, calibration=made(file)) for file in ("old.csv", "new.csv"))
    assert correlation(one(old, 10.0, OCCASION, trials), one(new, 10.0, OCCASION, trials)) == pytest.approx(0, abs=1e-6)


def test_stating_another_error_redraws_nothing(trials: Trials) -> None:
    scale = ErrorStatement("scale", 1e-3, RECTANGULAR, "calibration")
    more = ErrorStatement("offset", 0.0, RECTANGULAR, "calibration", "amplifier")
    before = meter(scale).true_trials(np.array([10.0]), OCCASION, trials)
    for errors in ((scale, more), (more, scale)):
        assert np.array_equal(meter(*errors).true_trials(np.array([10.0]), OCCASION, Trials(20260101, 20_000)), before)


def test_a_common_gain_cancels_from_a_ratio_of_two_motors(trials: Trials) -> None:
    """Gain 1 %, scatter 0.3 % each: 1.04 % on one motor, 0.42 % on the ratio of two."""
    cell = meter(ErrorStatement("scale", 0.01, NORMAL, "calibration"), ErrorStatement("scale", 0.003, NORMAL, "run"))
    one_motor, other = one(cell, 10.0, OCCASION, trials), one(cell, 10.5, OTHER_CAMPAIGN, trials)
    assert one_motor.standard_uncertainty / 10 == pytest.approx(0.0104, rel=0.01)
    ratio = combine(np.divide, other, one_motor)
    assert ratio.standard_uncertainty / ratio.value == pytest.approx(0.003 * 2**0.5, rel=0.01)


@pytest.mark.parametrize(
    ("kind", "at_middle", "at_end"), [("scale", 0.1, 0.2), ("offset", 0.01, 0.01), ("linearity", 0.01, 0.0)]
)
@pytest.mark.parametrize("per", ["calibration", "reading"])
def test_a_scale_error_grows_an_offset_stays_and_a_bow_ends_at_full_scale(
    kind: Kind, at_middle: float, at_end: float, per: Per, trials: Trials
) -> None:
    volts = meter(ErrorStatement(kind, 0.01, RECTANGULAR, per))
    for at, expected in ((0.0, 0.01 if kind == "offset" else 0.0), (10.0, at_middle), (20.0, at_end)):
        assert one(volts, at, OCCASION, trials).standard_uncertainty == pytest.approx(expected, rel=1e-3, abs=1e-12)


@pytest.mark.parametrize("kind", ["resolution", "repeatability"])
def test_a_scatter_drawn_once_a_run_is_an_offset_of_the_run(kind: Kind, trials: Trials) -> None:
    volts = meter(ErrorStatement(kind, 0.01, NORMAL, "run"))
    assert volts.true_trials(np.array([5.0]), OCCASION, trials).std() == pytest.approx(0.01, rel=1e-6)


def test_errors_of_single_readings_are_left_to_the_scatter_of_fitted_points(trials: Trials) -> None:
    assert np.ptp(meter(STEP, REPEATS).true_trials(np.array([5.0]), OCCASION, trials)) == 0
    assert meter(STEP, REPEATS).parts(OCCASION, trials) == ()


def test_true_values_and_lineage_belong_together(trials: Trials) -> None:
    cell = meter(
        ErrorStatement("scale", 1e-3, RECTANGULAR, "calibration"),
        ErrorStatement("offset", 0.02, RECTANGULAR, "run"),
        ErrorStatement("linearity", 0.01, RECTANGULAR, "calibration"),
        calibration=made(),
    )
    row = cell.true_trials(np.array([12.0]), OCCASION, trials)[0]
    budget = Quantity(12.0, row, cell.parts(OCCASION, trials)).budget()
    assert {share.label for share in budget} == {
        "scale of meter", "offset of meter", "linearity of meter", "calibration of meter"
    }  # fmt: skip
    assert sum(share.share for share in budget) == pytest.approx(1)


def balance(*errors: ErrorStatement) -> Instrument:
    return Instrument("north", "balance", "mass", errors)


def weighed(errors: tuple[ErrorStatement, ...], readings: list[float], trials: Trials) -> Quantity:
    return balance(*errors).reading(readings, OCCASION, "mass", trials).quantity


def test_a_single_reading_has_the_stated_errors_alone(trials: Trials) -> None:
    assert weighed((STEP,), [0.0324], trials).standard_uncertainty == pytest.approx(STEP.standard, rel=1e-9)
    both = weighed((STEP, REPEATS), [0.0324], trials)
    assert both.standard_uncertainty == pytest.approx(np.hypot(STEP.standard, 6e-6), rel=1e-9)
    assert both.degrees_of_freedom is None


def test_stated_scatter_averages_over_readings(trials: Trials) -> None:
    three = weighed((STEP, REPEATS), [0.03241, 0.03240, 0.03242], trials)
    assert three.value == pytest.approx(0.03241)
    assert three.standard_uncertainty == pytest.approx(np.hypot(STEP.standard, 6e-6) / 3**0.5, rel=1e-6)
    assert three.degrees_of_freedom is None


def test_a_step_wider_than_the_scatter_does_not_average_out(trials: Trials) -> None:
    steady = replace(REPEATS, standard=1e-6)
    nine = weighed((STEP, steady), [0.0324] * 9, trials)
    assert nine.standard_uncertainty == pytest.approx(np.hypot(STEP.standard, 1e-6 / 3), rel=1e-6)


def test_four_readings_speak_for_their_own_scatter(trials: Trials) -> None:
    """No repeatability is stated: s / sqrt(n) with n - 1 degrees, and Student's interval; the step is in it."""
    readings = [0.03241, 0.03240, 0.03243, 0.03244]
    mean = weighed((STEP,), readings, trials)
    assert mean.standard_uncertainty == pytest.approx(np.std(readings, ddof=1) / 2, rel=1e-6)
    assert mean.degrees_of_freedom == pytest.approx(3)
    low, high = mean.interval(0.95)
    assert (high - low) / 2 == pytest.approx(3.182 * mean.standard_uncertainty, rel=0.01)


def test_readings_that_never_leave_one_step_have_the_uncertainty_of_the_step(trials: Trials) -> None:
    alike = weighed((STEP,), [0.0324] * 5, trials)
    assert alike.standard_uncertainty == pytest.approx(STEP.standard, rel=1e-9)
    assert alike.degrees_of_freedom is None


def test_readings_all_alike_without_a_stated_step_are_remarked_on(trials: Trials) -> None:
    found = balance().reading([0.0324] * 5, OCCASION, "mass", trials)
    assert [remark.code for remark in found.remarks] == ["readings_alike"]
    assert found.quantity.standard_uncertainty == 0.0


@pytest.mark.parametrize("count", [2, 3])
def test_too_few_readings_without_a_stated_repeatability_are_refused_with_the_way_out(
    count: int, trials: Trials
) -> None:
    with pytest.raises(MethodError, match=r"repeatability:.*at least 4 readings"):
        balance(STEP).reading([0.0324] * count, OCCASION, "mass", trials)


def test_no_reading_at_all_is_refused(trials: Trials) -> None:
    with pytest.raises(MethodError, match="at least one"):
        balance(STEP, REPEATS).reading([], OCCASION, "mass", trials)


def test_readings_that_contradict_the_stated_repeatability_are_remarked_on(trials: Trials) -> None:
    careful = balance(replace(REPEATS, standard=1e-6))
    steady = careful.reading([0.032400, 0.032401, 0.032400], OCCASION, "mass", trials)
    wild = careful.reading([0.032400, 0.032450, 0.032400], OCCASION, "mass", trials)
    assert steady.remarks == ()
    assert [remark.code for remark in wild.remarks] == ["repeatability_contradicted"]
    assert wild.quantity.standard_uncertainty == pytest.approx(1e-6 / 3**0.5, rel=1e-3)


def test_honest_readings_are_rarely_called_contradictory(trials: Trials) -> None:
    rng = np.random.default_rng(8)
    scale = balance(replace(REPEATS, standard=1.0))
    flagged = [bool(scale.reading(rng.standard_normal(3).tolist(), OCCASION, "m", trials).remarks) for _ in range(1500)]
    assert 0.004 < np.mean(flagged) < 0.018


@pytest.mark.parametrize("count", [4, 5, 6])
def test_the_mean_of_a_few_readings_covers_the_truth_19_times_out_of_20(count: int) -> None:
    """By simulation with numpy's generator, apart from the engine's; the region holds for the family of three."""
    rng = np.random.default_rng(count)
    trials, plain = Trials(3, 2000), balance()
    inside = []
    for _ in range(1500):
        low, high = plain.reading(rng.standard_normal(count).tolist(), OCCASION, "m", trials).quantity.interval(0.95)
        inside.append(low <= 0 <= high)
    assert 0.93 <= np.mean(inside) <= 0.97
