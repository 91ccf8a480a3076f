"""Controlled pairs: one declared difference, or nothing is attributed."""

from __future__ import annotations

import pytest

from benchproof.findings.designs import NOT_DECLARED
from benchproof.findings.differences import as_figured
from benchproof.findings.entrants import Entrant, told_from_each_other
from benchproof.findings.pairs import effects_table, pair_tables, pairs, pooled_effects
from benchproof.trials.engine import Trials
from motors import entrant, measured

DESIGN = {"bell": "one-piece", "magnets": "N52", "conductor": "copper"}


def motor(name: str, mass: float, trials: Trials, **design: str | None) -> Entrant:
    declared = {key: value for key, value in {**DESIGN, **design}.items() if value is not None}
    return entrant(name, {("mass", "A"): measured(mass, name, trials)}, trials, specimen={"design": declared})


def test_one_declared_difference_isolates_its_effect(trials: Trials) -> None:
    (pair,) = pairs([motor("a", 0.033, trials), motor("b", 0.030, trials, magnets="N50")], as_figured)
    assert pair.controlled
    assert pair.changes[0].words == "magnets: N52 against N50"
    assert pair.effects[0].ratio.value == pytest.approx(1.1)
    table = pair_tables([pair], 0.95)[0]
    assert table.rows[0][0] == "Mass"
    assert table.rows[0][2] == "yes"


@pytest.mark.parametrize("other", [{"magnets": "N50", "bell": "two-piece"}, {"magnets": None}])
def test_two_differences_or_one_not_declared_attribute_nothing(other: dict[str, str | None], trials: Trials) -> None:
    (pair,) = pairs([motor("a", 0.033, trials), motor("b", 0.030, trials, **other)], as_figured)
    assert not pair.controlled
    assert pair.effects == ()
    table = pair_tables([pair], 0.95)[0]
    assert table.name == "confounded"
    for change in pair.changes:
        assert change.words in table.rows[0][1]
    assert pooled_effects([pair]) == ()


def test_what_one_does_not_declare_counts_as_a_difference(trials: Trials) -> None:
    (pair,) = pairs([motor("a", 0.033, trials), motor("b", 0.030, trials, magnets=None)], as_figured)
    assert pair.changes[0].other == NOT_DECLARED


def test_equal_designs_and_motors_without_one_are_no_pair(trials: Trials) -> None:
    bare = entrant("bare", {("mass", "A"): measured(0.03, "m", trials)}, trials)
    assert pairs([motor("a", 0.033, trials), motor("b", 0.030, trials), bare], as_figured) == ()


def test_effects_pool_over_all_pairs_that_isolate_them(trials: Trials) -> None:
    made = [
        motor("a", 0.033, trials, magnets="N50"),
        motor("b", 0.030, trials, magnets="N52"),
        motor("c", 0.043, trials, magnets="N52", bell="two-piece"),
        motor("d", 0.045, trials, magnets="N50", bell="two-piece"),
    ]
    effects = {effect.change.attribute: effect for effect in pooled_effects(pairs(made, as_figured))}
    assert set(effects) == {"magnets", "bell"}
    magnets = effects["magnets"]
    assert magnets.pairs == 2
    assert magnets.change.words == "magnets: N50 against N52"
    assert magnets.ratio.value == pytest.approx(((0.033 / 0.030) * (0.045 / 0.043)) ** 0.5)
    assert (magnets.lowest, magnets.highest) == pytest.approx((0.045 / 0.043, 0.033 / 0.030))
    assert effects_table(list(effects.values()), 0.95) is not None


def test_two_batches_of_one_model_are_called_by_their_batch(trials: Trials) -> None:
    def batch(name: str, mark: str, model: str = "Same") -> Entrant:
        specimen = {"model": model, "samples": [{"id": "A", "batch": mark}]}
        return entrant(name, {("mass", "A"): measured(0.03, name, trials)}, trials, specimen=specimen)

    made = told_from_each_other([batch("a", "1"), batch("b", "2"), batch("c", "3", "Other")])
    assert [each.label for each in made] == ["Same, batch 1", "Same, batch 2", "Other"]
    alike = told_from_each_other([batch("a", "1"), batch("b", "1")])
    assert [each.label for each in alike] == ["Same (a)", "Same (b)"]
