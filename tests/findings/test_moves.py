"""What counts as a move, what as noise, and how far something moved."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from benchproof.findings.moves import (
    flips,
    floor_of_end,
    floor_of_value,
    moves,
    relative_error_of_end,
    swaps,
)
from benchproof.trials.distributions import NORMAL, RECTANGULAR, student
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity, combine

TRIALS = 20_000


def entry(
    value: float | None, u: float = 0.1, *, name: str = "thrust", sample=None, df=None, half=None, **at: str
) -> dict:
    half = 1.96 * u if half is None else half
    return {
        "name": name, "at": at, "sample": sample, "unit": "N", "value": value, "standard_uncertainty": u,
        "degrees_of_freedom": df, "interval": None if value is None else [value - half, value + half], "coverage": 0.95,
        "method": "thrust_sweep/1.0", "flags": [],
    }  # fmt: skip


def test_a_move_is_told_in_uncertainties_and_in_percent() -> None:
    (move,) = moves([entry(10.0)], [entry(10.25)], TRIALS)
    assert move.kind == "moved"
    assert move.in_uncertainties == pytest.approx(2.5)
    assert move.percent == pytest.approx(2.5)
    assert move.ratio == pytest.approx(1.025)


def test_what_is_equal_is_no_move_and_machines_may_differ_in_the_last_digits() -> None:
    assert moves([entry(10.0)], [entry(10.0)], TRIALS) == ()
    assert moves([entry(10.0)], [entry(10.0 * (1 + 1e-12))], TRIALS) == ()


def test_a_move_within_trial_noise_is_named_so() -> None:
    floor = floor_of_value(entry(10.0), TRIALS)
    assert floor == pytest.approx(0.1 * 1.96 * (2 / TRIALS) ** 0.5, rel=1e-3)
    (below,) = moves([entry(10.0)], [entry(10.0 + 0.9 * floor)], TRIALS)
    (above,) = moves([entry(10.0)], [entry(10.0 + 1.1 * floor)], TRIALS)
    assert (below.kind, above.kind) == ("noise", "moved")


def test_an_interval_that_moved_is_a_move_though_the_value_stayed() -> None:
    (move,) = moves([entry(10.0)], [entry(10.0, half=0.15)], TRIALS)
    assert move.kind == "moved"
    assert move.change == 0.0
    assert move.widened_percent == pytest.approx(100 * (0.15 / 0.196 - 1))
    (noise,) = moves([entry(10.0)], [entry(10.0, half=0.1961)], TRIALS)
    assert noise.kind == "noise"


def test_values_that_came_or_went_weigh_most() -> None:
    found = moves(
        [entry(10.0), entry(None, speed="1 rpm")],
        [entry(None), entry(1.0, speed="1 rpm"), entry(9.0, sample="A")],
        TRIALS,
    )
    assert [move.kind for move in found] == ["gone", "appeared", "appeared"]
    assert all(move.change is None for move in found)


def test_two_absences_are_no_move() -> None:
    assert moves([entry(None)], [entry(None)], TRIALS) == ()


def test_moves_are_sorted_by_weight_and_an_exact_value_that_moved_comes_first() -> None:
    old = [entry(1.0, speed="1 rpm"), entry(1.0, speed="2 rpm"), entry(1.0, 0.0, speed="3 rpm")]
    new = [entry(1.1, speed="1 rpm"), entry(1.4, speed="2 rpm"), entry(1.01, 0.0, speed="3 rpm")]
    assert [move.at["speed"] for move in moves(old, new, TRIALS)] == ["3 rpm", "2 rpm", "1 rpm"]


@pytest.mark.parametrize("sources", [1, 2, 8, 40])
def test_the_floor_of_an_end_holds_what_other_seeds_do(sources: int) -> None:
    """Ends of intervals over 60 seeds scatter by no more than the stated standard error, and by most of it."""
    count, ends = 2000, []
    for seed in range(60):
        trials = Trials(seed, count)
        parts = [Quantity.of(0.0, 1.0, Source((f"s{k}",), "s", NORMAL), trials) for k in range(sources)]
        ends.append(combine(lambda *q: np.sum(q, axis=0), *parts).interval(0.95)[1])
    half = 1.96 * sources**0.5
    stated = relative_error_of_end(0.95, None) * half / count**0.5
    scatter = float(np.std(ends, ddof=1))
    most = (stats.chi2(59).ppf(0.999) / 59) ** 0.5
    assert scatter < stated * most
    if sources >= 8:
        assert scatter > 0.7 * stated
    if sources == 1:
        assert scatter < 0.05 * stated


@pytest.mark.parametrize("shape", [student(1), student(4), RECTANGULAR])
def test_the_floor_of_an_end_holds_for_other_shapes_beside_a_normal_source(shape) -> None:
    count, ends, halves = 2000, [], []
    for seed in range(60):
        trials = Trials(seed, count)
        one = Quantity.of(0.0, 1.0, Source(("a",), "a", shape), trials)
        total = combine(np.add, one, Quantity.of(0.0, 0.5, Source(("b",), "b", NORMAL), trials))
        low, high = total.interval(0.95)
        ends.append(high)
        halves.append((high - low) / 2)
    stated = relative_error_of_end(0.95, total.degrees_of_freedom) * float(np.mean(halves)) / count**0.5
    assert float(np.std(ends, ddof=1)) < stated * (stats.chi2(59).ppf(0.999) / 59) ** 0.5


def test_the_error_of_a_normal_end_is_that_of_order_statistics_less_the_stratified_part() -> None:
    """sqrt(p(1-p) - f^2)/f at p = 0.025: f = 0.05845, so 2.479, over 1.960 half-widths: 1.265."""
    assert relative_error_of_end(0.95, None) == pytest.approx(1.265, abs=0.002)
    assert floor_of_end(entry(1.0), TRIALS) == pytest.approx(1.96 * 2**0.5 * 1.265 * 0.196 / TRIALS**0.5, rel=0.002)
    assert relative_error_of_end(0.95, 1.0) > relative_error_of_end(0.95, 30.0) > relative_error_of_end(0.95, None)


def test_a_verdict_flips_and_one_that_is_new_or_gone_is_told() -> None:
    old = [
        {"say": "a", "verdict": "supported"},
        {"say": "b", "verdict": "supported"},
        {"say": "c", "verdict": "not shown"},
    ]
    new = [
        {"say": "a", "verdict": "contradicted"},
        {"say": "b", "verdict": "supported"},
        {"say": "d", "verdict": "not shown"},
    ]
    assert [(flip.say, flip.old, flip.new) for flip in flips(old, new)] == [
        ("a", "supported", "contradicted"), ("d", "", "not shown"), ("c", "not shown", ""),
    ]  # fmt: skip


def test_motors_that_changed_places_are_named_once() -> None:
    (swap,) = swaps("thrust", {}, {"a": (1.0, 1.1), "b": (1.05, 1.06), "c": (2.0, 2.1)})
    assert (swap.risen, swap.fallen) == ("a", "b")
    assert swaps("thrust", {}, {"a": (1.0, 1.0)}) == ()
    assert swaps("thrust", {}, {"a": (1.0, 1.0), "b": (1.0, 1.0)}) == ()
