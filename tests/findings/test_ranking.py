"""Ranking: probability of being best, ties, families of comparisons, and the winner's bias."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from benchproof.findings.ranking import has_a_better_end, holm, rank, told_apart
from benchproof.findings.rankings import leader_words, ranking_table, rankings
from benchproof.findings.shrinkage import shrunk
from benchproof.findings.spread import Pool
from benchproof.trials.distributions import NORMAL, student
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity
from motors import entrant, measured


def independent(values: list[float], u: float, trials: Trials) -> list[Quantity]:
    return [Quantity.of(v, u * v, Source(("own", str(k)), "own", NORMAL), trials) for k, v in enumerate(values)]


def test_who_is_clearly_best_is_said_to_be(trials: Trials) -> None:
    ranked = rank("abc", independent([1.0, 1.1, 0.9], 0.005, trials), ("t",), trials)
    assert [r.name for r in ranked] == ["b", "a", "c"]
    assert ranked[0].best == pytest.approx(1.0, abs=1e-3)
    assert [r.ranks for r in ranked] == [(1, 1), (2, 2), (3, 3)]
    assert [r.group for r in ranked] == [1, 2, 3]


def test_less_may_be_better(trials: Trials) -> None:
    ranked = rank("abc", independent([1.0, 1.1, 0.9], 0.005, trials), ("t",), trials, less_is_better=True)
    assert [r.name for r in ranked] == ["c", "a", "b"]


def test_who_cannot_be_told_apart_shares_a_group(trials: Trials) -> None:
    ranked = rank("abc", independent([1.0, 1.001, 0.8], 0.01, trials), ("t",), trials)
    assert {r.name: r.group for r in ranked} == {"a": 1, "b": 1, "c": 2}
    assert ranked[0].tied == (ranked[1].name,)
    assert ranked[0].ranks == (1, 2)
    assert 0.4 < ranked[0].best < 0.65


def test_equal_models_are_best_equally_often(trials: Trials) -> None:
    ranked = rank("abcd", independent([1.0] * 4, 0.01, trials), ("t",), trials)
    assert [r.best for r in ranked] == pytest.approx([0.25] * 4, abs=0.02)


def test_a_shared_error_plays_no_part(trials: Trials) -> None:
    alone = independent([1.0, 1.01], 0.004, trials)
    scale = trials.draw(Source(("rig", "scale"), "scale", NORMAL))
    together = [Quantity(q.value, q.trials * np.exp(0.05 * scale), q.parts) for q in alone]
    best = [rank("ab", q, ("t",), trials)[0].best for q in (alone, together)]
    assert best[0] == pytest.approx(best[1], abs=0.01)


def test_the_winners_excess_is_drawn_in(trials: Trials) -> None:
    """Twelve alike models measured with noise: the best one's excess is luck, and most of it is taken off."""
    values = 0.01 * np.random.default_rng(3).standard_normal(12)
    deviates = np.stack([q.trials / q.value - 1 for q in independent([1.0] * 12, 0.01, trials)])
    true = shrunk(values, deviates, ("t",), trials)
    best = int(np.argmax(values))
    measured_excess = values[best] - values.mean()
    assert 0 < float(np.median(true[best])) - values.mean() < 0.6 * measured_excess


def test_models_far_apart_keep_their_values(trials: Trials) -> None:
    values = np.array([0.0, 0.1, 0.2, 0.3])
    deviates = np.stack([q.trials / q.value - 1 for q in independent([1.0] * 4, 0.002, trials)])
    true = shrunk(values, deviates, ("t",), trials)
    assert np.median(true, axis=1) == pytest.approx(values, abs=5e-4)
    assert np.std(true - true.mean(axis=0), axis=1) == pytest.approx(
        np.std(deviates - deviates.mean(axis=0), axis=1), rel=0.03
    )


@pytest.mark.parametrize("k", [3, 5])
def test_told_apart_is_tukeys_test_where_errors_are_normal_and_equal(k: int, trials: Trials) -> None:
    """The limit of the studentised range, infinite degrees of freedom."""
    deviates = np.stack([q.trials - q.value for q in independent([1.0] * k, 0.01, trials)])
    critical = float(stats.studentized_range.ppf(0.95, k, 1e6)) * 0.01
    for gap, differ in ((0.97 * critical, False), (1.03 * critical, True)):
        values = np.zeros(k)
        values[0] = gap
        assert told_apart(values, deviates)[0, 1] == differ


def test_holms_procedure() -> None:
    """Steps of 0.05/4, 0.05/3, … [recomputed]: it stops at the first that fails."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == (True, False, False, True)
    assert holm([0.04]) == (True,)
    assert holm([]) == ()


@pytest.mark.parametrize(
    ("name", "at", "merit"),
    [
        ("thrust", {"electrical_power": "200 W"}, True),
        ("thrust", {"speed": "10000 rpm"}, False),
        ("electrical_power", {"thrust": "5 N"}, True),
        ("electrical_power", {"throttle": "50 %"}, False),
        ("mass", {}, True),
        ("mass", {"part": "bell"}, False),
        ("kv_no_load", {}, False),
    ],
)
def test_only_what_has_a_better_end_is_ranked(name: str, at: dict[str, str], merit: bool) -> None:
    assert has_a_better_end(name, at) is merit


def test_a_ranking_leaves_out_what_does_not_compare(trials: Trials) -> None:
    made = [
        entrant("a", {("thrust", "A"): measured(7.0, "a", trials)}, trials),
        entrant("b", {("thrust", "B"): measured(6.8, "b", trials)}, trials, propeller="other"),
        entrant("c", {("thrust", "C"): measured(6.0, "c", trials)}, trials, drive="fast"),
    ]
    (ranking,) = rankings(made, Pool.over(made, trials), trials, 0.95, "t")
    assert [r.name for r in ranking.places] == ["a", "c"]
    assert ranking.left_out == ("b",)
    assert ranking.drive_differs
    labels = {name: name.upper() for name in "abc"}
    assert leader_words(ranking, labels) == "Thrust at 200 W: A is best, with probability above 0.99."
    assert ranking_table([ranking], labels).rows[0][-1] == "more is better; the drives differ; without B"


def test_a_tail_that_reaches_below_zero_is_no_obstacle() -> None:
    """Two pieces far apart are drawn with one degree of freedom: some trials of their mean are negative."""
    trials = Trials(7, 2000)
    wild = Quantity.of(7.0, 0.3, Source(("wild",), "two pieces", student(1)), trials)
    sure = Quantity.of(7.5, 0.01, Source(("sure",), "many pieces", NORMAL), trials)
    assert (wild.trials < 0).any()
    best, other = rank(("sure", "wild"), (sure, wild), ("thrust",), trials)
    assert best.name == "sure"
    assert best.best + other.best == pytest.approx(1.0)
    assert 0.5 < best.best < 1.0
