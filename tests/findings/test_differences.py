"""What two campaigns share cancels in their difference, and nothing else does."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from benchproof.findings.comparable import cancelling
from benchproof.findings.differences import compare, difference, ratio
from benchproof.findings.side_by_side import difference_table
from benchproof.rig.instrument import ErrorStatement, Instrument, Occasion
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity
from motors import AT_200, entrant, measured

NEAR = 7.0
FAR = 6.8


def relative(quantity: Quantity) -> float:
    return quantity.standard_uncertainty / quantity.value


def test_a_scale_that_two_motors_share_cancels_from_their_ratio(trials: Trials) -> None:
    one, other = measured(NEAR, "a", trials), measured(FAR, "b", trials)
    assert relative(one) > 0.01
    assert relative(other) > 0.01
    found = ratio(one, other)
    assert found is not None
    assert relative(found) < 0.005
    assert relative(found) == pytest.approx(2**0.5 * 0.003, rel=0.02)


def test_on_two_rigs_nothing_cancels(trials: Trials) -> None:
    one = measured(NEAR, "a", trials)
    other = measured(FAR, "b", trials, scope=("south", "cell", "scale", "calibration:1"))
    found = ratio(one, other)
    assert found is not None
    assert relative(found) > 0.014


def test_a_difference_keeps_of_a_shared_scale_what_it_is_of_the_difference(trials: Trials) -> None:
    one, other = measured(NEAR, "a", trials, noise=0.0), measured(FAR, "b", trials, noise=0.0)
    assert difference(one, other).standard_uncertainty == pytest.approx(0.01 * (NEAR - FAR), rel=1e-6)


@pytest.mark.parametrize(("per", "left"), [("calibration", 0.0), ("run", 0.02 * 2**0.5)])
def test_an_offset_of_the_calibration_cancels_and_one_of_the_run_does_not(
    per: str, left: float, trials: Trials
) -> None:
    cell = Instrument("north", "cell", "thrust", (ErrorStatement("offset", 0.02, NORMAL, per),))  # type: ignore[arg-type]
    readings = [
        cell.reading([value], Occasion("north", campaign, "raw/s.csv", date(2026, 3, 2)), "thrust", trials).quantity
        for campaign, value in (("a", NEAR), ("b", FAR))
    ]
    assert difference(*readings).standard_uncertainty == pytest.approx(left, abs=1e-9, rel=0.01)


def test_propeller_figures_compare_on_the_same_serial_alone(trials: Trials) -> None:
    mass = {("mass", "A"): measured(0.033, "m", trials)}
    one = entrant("one", {("thrust", "A"): measured(NEAR, "a", trials), **mass}, trials)
    other = entrant("other", {("thrust", "B"): measured(FAR, "b", trials)}, trials, propeller="other")
    found = compare(one, one.of("thrust", AT_200)[0], other)
    assert found.difference is None
    assert found.reason == "measured on another propeller: P1 against P2"
    heavy = entrant("heavy", {("mass", "B"): measured(0.034, "n", trials)}, trials, propeller="other")
    assert compare(one, one.of("mass", {})[0], heavy).difference is not None
    table = difference_table([found], one, other, cancelling(one, other), 0.95)
    assert table.rows[-1][1:] == ("not compared", "", found.reason)


@pytest.mark.parametrize(("drive", "flagged"), [("slow", False), ("fast", True), (None, True)])
def test_what_the_drive_had_a_hand_in_is_flagged_where_drives_differ(
    drive: str | None, flagged: bool, trials: Trials
) -> None:
    def figures(name: str) -> dict[tuple[str, str], Quantity]:
        return {(q, "A"): measured(1.0, f"{name}{q}", trials) for q in ("mass", "kv_no_load", "thrust")}

    one, other = entrant("one", figures("1"), trials), entrant("two", figures("2"), trials, drive=drive)
    flags = {f.name: compare(one, f, other).flags for f in one.figures if f.sample is None}
    assert ("drive_differs" in flags["kv_no_load"]) is flagged
    assert ("drive_differs" in flags["thrust"]) is flagged
    assert "drive_differs" not in flags["mass"]


def test_what_was_not_reached_is_not_compared_and_says_so(trials: Trials) -> None:
    one = entrant("one", {("thrust", "A"): measured(NEAR, "a", trials)}, trials)
    other = entrant("two", {("mass", "B"): measured(0.03, "b", trials)}, trials)
    found = compare(one, one.of("thrust", AT_200)[0], other)
    assert (found.ratio, found.reason) == (None, "not tested in two")


@pytest.mark.parametrize(("flag", "said"), [("from_back_emf", "two definitions"), ("air_referred", "as tested")])
def test_figures_of_two_definitions_do_not_compare(flag: str, said: str, trials: Trials) -> None:
    one = entrant("one", {("thrust", "A"): measured(NEAR, "a", trials)}, trials)
    two = entrant("two", {("thrust", "B"): measured(FAR, "b", trials)}, trials)
    flagged = replace(two, figures=tuple(figure.flagged(flag) for figure in two.figures))
    assert said in compare(one, one.of("thrust", AT_200)[0], flagged).reason
    both = replace(one, figures=tuple(figure.flagged(flag) for figure in one.figures))
    assert compare(both, both.of("thrust", AT_200)[0], flagged).ratio is not None


def test_no_ratio_to_what_may_be_zero(trials: Trials) -> None:
    assert ratio(measured(1.0, "a", trials), measured(0.001, "b", trials, noise=2.0)) is None


def test_a_comparison_says_what_cancels(trials: Trials) -> None:
    one = entrant("one", {("mass", "A"): measured(0.033, "m", trials)}, trials)
    same = entrant("two", {("mass", "A"): measured(0.033, "n", trials)}, trials)
    south = entrant("far", {("mass", "A"): measured(0.033, "o", trials)}, trials, rig="south")
    assert "cancel" in cancelling(one, same)
    assert "no error of their instruments cancels" in cancelling(one, south)
