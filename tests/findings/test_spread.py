"""Spread of pieces, pooled on the logarithmic scale."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from benchproof.findings.differences import ratio
from benchproof.findings.spread import Pool, pooled_spreads, shared_mean
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity
from motors import AT_200, entrant, measured

PLACE = ("thrust", (("electrical_power", "200 W"),))


def exact(trials: Trials, **values: float) -> dict[tuple[str, str], Quantity]:
    return {("thrust", sample): Quantity.exact(value, trials.count) for sample, value in values.items()}


def test_degrees_are_pieces_beyond_the_first_of_each_model(trials: Trials) -> None:
    pairs = [entrant(f"m{k}", exact(trials, A=7.0 + k, B=7.1 + k), trials) for k in range(3)]
    single = entrant("alone", exact(trials, A=7.0), trials)
    spread = pooled_spreads([*pairs, single])[PLACE]
    assert spread.degrees == 3
    squares = [math.log((7.1 + k) / (7.0 + k)) ** 2 / 2 for k in range(3)]
    assert spread.standard == pytest.approx((sum(squares) / 3) ** 0.5, rel=1e-12)
    assert (spread.campaigns, spread.pieces) == (3, spread.degrees + 3)


def test_a_golden_sample_counts_where_it_was_first_tested(trials: Trials) -> None:
    samples = [{"id": "A"}, {"id": "B"}, {"id": "G", "golden": True}]
    again = entrant("again", exact(trials, A=7.0, B=7.1, G=9.0), trials, specimen={"samples": samples})
    assert pooled_spreads([again])[PLACE].degrees == 1
    assert again.of("thrust", AT_200)[0].quantity.value == pytest.approx(7.05)


def test_one_piece_of_a_model_speaks_through_the_others_spread(trials: Trials) -> None:
    """Half-widths in s with ten pooled degrees of freedom, recomputed: 2.228 about one piece, 3.15 for another."""
    others = [entrant(f"m{k}", exact(trials, A=7.0, B=7.0 * math.exp(0.01 * 2**0.5)), trials) for k in range(10)]
    alone = entrant("alone", exact(trials, A=7.0), trials)
    pool = Pool.over([*others, alone], trials)
    figure = alone.of("thrust", AT_200)[0]
    assert pool.spread(figure).standard == pytest.approx(0.01)
    model, more = pool(alone, figure), pool.another_piece(alone, figure)
    for quantity, factor in ((model, 2.228), (more, 3.151)):
        low, high = quantity.interval(0.95)
        assert math.log(high / low) / 2 / 0.01 == pytest.approx(factor, rel=0.02)


def test_the_difference_of_two_designs_with_one_pooled_spread(trials: Trials) -> None:
    """Recomputed: with ten degrees +-2.23 s between two designs of two pieces each, +-3.15 s of one piece each."""
    step = math.exp(0.01 * 2**0.5)
    pairs = [entrant(f"m{k}", exact(trials, A=7.0, B=7.0 * step), trials) for k in range(10)]
    singles = [entrant(f"s{k}", exact(trials, A=7.0), trials) for k in range(2)]
    pool = Pool.over([*pairs, *singles], trials)
    for two, factor in ((pairs[:2], 2.228), (singles, 3.151)):
        one, other = (pool(e, e.of("thrust", AT_200)[0]) for e in two)
        low, high = ratio(one, other).interval(0.95)
        assert math.log(high / low) / 2 / 0.01 == pytest.approx(factor, rel=0.025)


def test_a_spread_known_from_one_wild_pair_stays_a_number(trials: Trials) -> None:
    pair, alone = entrant("pair", exact(trials, A=1.0, B=2.0), trials), entrant("alone", exact(trials, A=1.0), trials)
    model = Pool.over([pair, alone], trials)(alone, alone.of("thrust", AT_200)[0])
    assert np.isfinite(model.trials).all()
    assert math.isfinite(model.standard_uncertainty)


def test_without_a_second_piece_anywhere_the_figure_stays_this_samples(trials: Trials) -> None:
    alone = entrant("alone", exact(trials, A=7.0), trials)
    figure = alone.of("thrust", AT_200)[0]
    pool = Pool.over([alone], trials)
    assert pool(alone, figure) is figure.quantity
    assert pool.another_piece(alone, figure) is None
    assert "one_sample" in pool.settled(alone, figure).flags


def test_a_settled_figure_says_where_its_spread_is_from(trials: Trials) -> None:
    pair, alone = entrant("pair", exact(trials, A=7.0, B=7.1), trials), entrant("alone", exact(trials, A=7.0), trials)
    flags = Pool.over([pair, alone], trials).settled(alone, alone.of("thrust", AT_200)[0]).flags
    assert "pooled_spread" in flags
    assert "one_sample" not in flags


def test_what_is_a_pieces_own_is_not_counted_beside_the_spread(trials: Trials) -> None:
    pieces = [measured(7.0, own, trials) for own in ("a", "b")]
    assert shared_mean(pieces, "c").standard_uncertainty == pytest.approx(0.07, rel=0.01)
    mine = measured(7.0, "c", trials)
    assert shared_mean([mine], "c").standard_uncertainty == pytest.approx(0.07, rel=0.01)


def test_pooling_covers_the_truth_as_often_as_it_says(trials: Trials) -> None:
    """Models of two pieces with a spread of 1 %: the model's interval from the pooled spread holds its true mean."""
    rng = np.random.default_rng(5)
    covered = []
    for repeat in range(60):
        made = [
            entrant(f"r{repeat}m{k}", exact(small, A=math.exp(a), B=math.exp(b)), small)
            for small in [Trials(repeat, 1000)]
            for k, (a, b) in enumerate(0.01 * rng.standard_normal((5, 2)))
        ]
        pool = Pool.over(made, Trials(repeat, 1000))
        for each in made:
            low, high = pool(each, each.of("thrust", AT_200)[0]).interval(0.95)
            covered.append(low <= 1 <= high)
    chance = float(np.mean(covered))
    assert abs(chance - 0.95) < 3 * stats.binom.std(60, 0.95) / 60 + 0.01
