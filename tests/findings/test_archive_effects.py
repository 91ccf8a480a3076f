"""What a change does over all pairs of the archive that isolate it: known truth, simulated."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from scipy import stats

from benchproof.findings.archive import Archive
from benchproof.findings.archive_effects import ArchiveEffect, archive_effects, effect_record
from benchproof.findings.differences import as_figured
from benchproof.findings.entrants import Entrant
from benchproof.findings.model_figures import traits_of
from benchproof.report.archive_effects import beside_pairs
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity
from motors import AT_200, entrant, measured

TRUE = math.log(1.02)


def motor(name: str, value: float, trials: Trials, *, family: str = "x", magnets: str = "N52", **more) -> Entrant:
    quantity = more.pop("quantity", None) or measured(value, name, trials, noise=more.pop("noise", 0.003))
    design = {"family": family, "magnets": magnets}
    figure = more.pop("figure", "thrust")
    return entrant(
        name, {(figure, "A"): quantity}, trials, specimen={"design": design, **more.pop("specimen", {})}, **more
    )


def effects(found: list[Entrant], trials: Trials, members: tuple[str, ...] = ()) -> tuple[ArchiveEffect, ...]:
    by_name = {each.name: each for each in found}
    archive = Archive({name: traits_of(each.specimen, each) for name, each in by_name.items()})
    (isolated,) = archive.of_comparison(members or tuple(by_name)[:2]).isolated
    return archive_effects(isolated, by_name.get, by_name.get, as_figured, trials)


def disjoint(rng: np.random.Generator, trials: Trials, count: int, own: float, mark: str = "") -> list[Entrant]:
    """Return pairs of families of their own; each pair's effect lies off the true one by `own`."""
    made = []
    for k in range(count):
        base = 7.0 * math.exp(rng.normal(0, 0.2))
        for side, step in (("N50", TRUE + rng.normal(0, own)), ("N52", 0.0)):
            value = base * math.exp(step + rng.normal(0, 0.003))
            made.append(motor(f"{mark}{k}{side}", value, trials, family=f"f{k}", magnets=side))
    return made


def test_separate_pairs_give_the_mean_of_their_logarithms(trials: Trials) -> None:
    made = disjoint(np.random.default_rng(2), trials, 4, 0.01)
    (found,) = effects(made, trials)
    values = [next(f.quantity.value for f in each.figures) for each in made]
    logs = [math.log(one / other) for one, other in zip(values[::2], values[1::2], strict=True)]
    assert found.pairs == 4
    assert found.ratio.value == pytest.approx(math.exp(np.mean(logs)))
    assert (found.lowest, found.highest) == pytest.approx((math.exp(min(logs)), math.exp(max(logs))))


def test_the_scatter_of_separate_pairs_is_that_of_the_paired_test(trials: Trials) -> None:
    """Pairs measured without error: the interval is Student's of the pairs' own effects (Student 1908)."""
    steps = (0.010, 0.022, 0.031, 0.012)
    made = [
        motor(f"{k}{side}", 1, trials, family=f"f{k}", magnets=side, quantity=Quantity.exact(value, trials.count))
        for k, step in enumerate(steps)
        for side, value in (("N50", 7.0 * math.exp(step)), ("N52", 7.0))
    ]
    (found,) = effects(made, trials)
    low, high = (math.log(end) for end in found.ratio.interval(0.95))
    half = stats.t.ppf(0.975, 3) * np.std(steps, ddof=1) / 2
    assert (high - low) / 2 == pytest.approx(half, rel=0.02)
    assert math.log(found.ratio.value) == pytest.approx(np.mean(steps))


def test_pairs_that_share_a_motor_do_not_pass_for_independent_ones(trials: Trials) -> None:
    """Nine motors against one: that one's own error, drawn once, stays in full; nine pairs do not make it a third."""
    shared = [motor("one", 7.14, trials, magnets="N50")]
    others = [motor(f"o{k}", 7.0, trials) for k in range(9)]
    (found,) = effects([*shared, *others], trials)
    assert found.pairs == 9
    low, high = (math.log(end) for end in found.ratio.interval(0.95))
    assert (high - low) / 2 == pytest.approx(1.96 * 0.003 * math.sqrt(1 + 1 / 9), rel=0.05)


def test_an_error_that_all_pairs_share_cancels_and_one_of_two_rigs_does_not(trials: Trials) -> None:
    here = [
        motor(f"{k}{m}", v, trials, family=f"f{k}", magnets=m)
        for k in range(2)
        for m, v in (("N50", 7.14), ("N52", 7.0))
    ]
    (cancels,) = effects(here, trials)
    there = [
        motor(
            f"{k}{m}", 1, trials, family=f"f{k}", magnets=m, quantity=measured(v, f"{k}{m}", trials, scope=(m, "cell"))
        )
        for k in range(2)
        for m, v in (("N50", 7.14), ("N52", 7.0))
    ]
    (apart,) = effects(there, trials)
    widths = [high - low for low, high in (cancels.ratio.interval(0.95), apart.ratio.interval(0.95))]
    assert widths[0] < 2 * 1.96 * 0.0035 * 1.02
    assert widths[1] > 2 * 1.96 * 0.01 * 2**0.5 * 0.98


@pytest.mark.parametrize("own", [0.0, 0.003, 0.02])
def test_the_pooled_effect_holds_the_true_one_as_often_as_it_says(own: float) -> None:
    """Three pairs and one motor in two more, pairs that scatter not at all, as much as and far beyond their errors."""
    rng = np.random.default_rng(17)
    hits = []
    for repeat in range(150):
        trials = Trials(repeat, 1000)
        made = disjoint(rng, trials, 3, own, f"r{repeat}-")
        more = 7.0 * math.exp(TRUE + rng.normal(0, own) + rng.normal(0, 0.003))
        made.append(motor(f"r{repeat}-more", more, trials, family="g", magnets="N50"))
        for k in range(2):
            value = 7.0 * math.exp(rng.normal(0, own) + rng.normal(0, 0.003))
            made.append(motor(f"r{repeat}-g{k}", value, trials, family="g"))
        (found,) = effects(made, trials)
        assert found.pairs == 5
        low, high = found.ratio.interval(0.95)
        hits.append(low <= math.exp(TRUE) <= high)
    rate = float(np.mean(hits))
    assert rate > 0.95 - 2.5 * stats.binom.std(150, 0.95) / 150


def test_one_motor_on_another_propeller_is_left_out(trials: Trials) -> None:
    made = [
        motor("a", 7.14, trials, magnets="N50"),
        motor("b", 7.0, trials),
        motor("c", 9.0, trials, propeller="other"),
    ]
    (found,) = effects(made, trials)
    assert found.groups == ((("a",), ("b",)),)
    assert found.ratio.value == pytest.approx(1.02)


def test_each_pair_on_a_propeller_of_its_own_counts(trials: Trials) -> None:
    made = [motor(f"{m}{p}", v * f, trials, magnets=m, propeller=p)
            for p, f in (("ref", 1.0), ("other", 1.3)) for m, v in (("N50", 7.14), ("N52", 7.0))]  # fmt: skip
    (found,) = effects(made, trials, ("N50ref", "N52ref"))
    assert found.pairs == 2
    assert found.ratio.value == pytest.approx(1.02)


def test_mass_compares_whatever_the_propeller(trials: Trials) -> None:
    made = [
        motor("a", 0.0306, trials, magnets="N50", figure="mass"),
        motor("b", 0.03, trials, figure="mass", propeller="other"),
    ]
    (found,) = effects(made, trials)
    assert (found.name, found.pairs) == ("mass", 1)


def test_repeats_of_a_piece_and_golden_pieces_are_no_more_pairs(trials: Trials) -> None:
    samples = [{"id": "A"}, {"id": "G", "golden": True}]
    figures = {("thrust", "A"): measured(7.14, "a", trials), ("thrust", "G"): measured(9.0, "g", trials)}
    design: Mapping[str, str] = {"family": "x", "magnets": "N50"}
    made = [entrant("a", figures, trials, specimen={"samples": samples, "design": design}), motor("b", 7.0, trials)]
    (found,) = effects(made, trials)
    assert found.pairs == 1
    assert found.ratio.value == pytest.approx(1.02)


def test_a_campaign_that_could_not_be_built_is_left_out(trials: Trials) -> None:
    made = [motor("a", 7.14, trials, magnets="N50"), motor("b", 7.0, trials), motor("gone", 1.0, trials)]
    by_name = {each.name: each for each in made}
    archive = Archive({name: traits_of(each.specimen, each) for name, each in by_name.items()})
    (isolated,) = archive.of_comparison(("a", "b")).isolated
    del by_name["gone"]
    (found,) = archive_effects(isolated, by_name.get, by_name.get, as_figured, trials)
    assert found.groups == ((("a",), ("b",)),)


def test_the_record_says_which_pairs_and_in_how_many_makers_or_drives_differ(trials: Trials) -> None:
    made = [
        motor("a", 7.14, trials, magnets="N50"),
        motor("b", 7.0, trials),
        motor("c", 7.0, trials, specimen={"maker": "Other Works"}),
        motor("d", 7.0, trials, drive="fast"),
    ]
    by_name = {each.name: each for each in made}
    archive = Archive({name: traits_of(each.specimen, each) for name, each in by_name.items()})
    (isolated,) = archive.of_comparison(("a", "b")).isolated
    found = archive_effects(isolated, by_name.get, by_name.get, as_figured, trials)
    record = effect_record(isolated, found, by_name.get, 0.95)
    assert (record["attribute"], record["values"]) == ("magnets", ["N50", "N52"])
    assert (record["pairs"], record["pairs_of_two_makers"], record["pairs_of_two_drives"]) == (3, 1, 1)
    (figure,) = record["figures"]
    assert figure["groups"] == [[["a"], ["b", "c", "d"]]]
    assert figure["at"] == AT_200
    low, high = figure["ratio_interval"]
    assert low < figure["ratio"] < high


def test_an_effect_stands_the_way_round_of_the_pair_beside_it() -> None:
    figure = {"name": "mass", "at": {}, "pairs": 2, "groups": [[["a"], ["b", "c"]]], "ratio": 1.25, "coverage": 0.95,
              "ratio_interval": [1.0, 1.6], "lowest": 1.1, "highest": 1.4}  # fmt: skip
    effect = {
        "attribute": "magnets",
        "values": ["N50", "N52"],
        "pairs": 2,
        "groups": [[["a"], ["b", "c"]]],
        "figures": [figure],
    }
    pair = {
        "campaigns": ["b", "a"],
        "controlled": True,
        "differs": [{"attribute": "magnets", "values": ["N52", "N50"]}],
    }
    found = beside_pairs({"comparison": {"pairs": [pair], "effects": [effect]}})["pair-1"]
    (turned,) = found["figures"]
    assert turned["ratio"] == pytest.approx(0.8)
    assert turned["ratio_interval"] == pytest.approx([0.625, 1.0])
    assert (turned["lowest"], turned["highest"]) == pytest.approx((1 / 1.4, 1 / 1.1))
    assert found["groups"] == [[["b", "c"], ["a"]]]
