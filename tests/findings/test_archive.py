"""The archive in small numbers: rounded spreads, and all pairs that isolate a change."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from benchproof.findings.archive import EXACT, STEPS, Archive, Traits, place_of_text, place_text, rounded
from benchproof.findings.comparable import ground, refusal
from benchproof.findings.designs import changes, isolates
from benchproof.findings.model_figures import traits_of
from benchproof.findings.scatter import Scatter, Spread
from benchproof.trials.engine import Trials
from motors import AT_200, entrant, measured

WIDEST = max(math.log(above / below) for below, above in pairwise((*STEPS, 10 * STEPS[0])))
"""The largest step from one preferred number to the next, on the logarithmic scale."""

MASS = place_text(("mass", ()))
THRUST = place_text(("thrust", tuple(AT_200.items())))


def pieces(count: int, spread: float = 0.01, seed: int = 1, place: str = MASS) -> dict[str, Traits]:
    """Return campaigns of two pieces each."""
    apart = np.random.default_rng(seed).normal(0, spread, (count, 2))
    squares = ((apart - apart.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    return {f"m{k:04d}": Traits({}, {place: Scatter(float(each), 1)}) for k, each in enumerate(squares)}


@example(0.140625, 1, 1)
@given(st.floats(1e-6, 1.0), st.integers(1, 5000), st.integers(1, 5000))
def test_rounding_stays_near_and_counts_never_grow(standard: float, degrees: int, campaigns: int) -> None:
    found = rounded(Spread(standard, degrees, campaigns))
    assert abs(math.log(found.standard / standard)) <= WIDEST / 2 + 1e-9
    assert round(found.standard * 10 ** (1 - math.floor(math.log10(found.standard * (1 + 1e-12))))) in STEPS
    for exact, told in ((degrees, found.degrees), (campaigns, found.campaigns)):
        assert told <= exact
        assert told == exact if exact < EXACT else told > exact / 2
    assert rounded(found) == found


def test_what_a_report_sees_does_not_hang_on_the_order_of_campaigns() -> None:
    found = {**pieces(50), "me": Traits({}, {MASS: Scatter(0.0, 0)})}
    turned = dict(reversed(found.items()))
    assert Archive(found).of_motor("me").key == Archive(turned).of_motor("me").key


def test_one_changed_campaign_among_many_rarely_changes_what_another_sees() -> None:
    """With 300 of 301 campaigns as they were, the rounded spread moves in few of 200 changes, and by one step then."""
    found = {**pieces(300), "me": Traits({}, {MASS: Scatter(0.0, 0)})}
    before = Archive(found).of_motor("me").spreads[MASS]
    moved = 0
    for seed in range(200):
        (changed,) = pieces(1, seed=100 + seed).values()
        after = Archive({**found, "m0007": changed}).of_motor("me").spreads[MASS]
        assert abs(math.log(after.standard / before.standard)) <= WIDEST + 1e-9
        moved += after != before
    assert moved <= 20


def test_a_spread_that_really_moved_is_seen() -> None:
    found = {**pieces(20), "me": Traits({}, {MASS: Scatter(0.0, 0)})}
    wild = {**found, "m0003": Traits({}, {MASS: Scatter(0.05**2, 1)})}
    assert Archive(found).of_motor("me").key != Archive(wild).of_motor("me").key


def test_a_report_sees_the_spreads_of_its_own_figures_alone() -> None:
    found = {**pieces(5), **{f"t{k}": each for k, each in enumerate(pieces(5, place=THRUST).values())}}
    assert set(Archive(found).of_motor("t0").spreads) == {THRUST}
    assert Archive(found).of_motor("stranger").spreads == {}


def test_where_nobody_has_two_pieces_the_widest_of_the_same_figure_stands_in_but_never_for_a_part() -> None:
    near = {place_text(("thrust", (("electrical_power", f"{k} W"),))): Scatter(k * 1e-6, 1) for k in (100, 400)}
    bell = place_text(("mass", (("part", "bell"),)))
    far, shaft = place_text(("thrust", (("electrical_power", "800 W"),))), place_text(("mass", (("part", "shaft"),)))
    found = {
        "two": Traits({}, {**near, bell: Scatter(1e-4, 1)}),
        "me": Traits({}, {far: Scatter(0, 0), shaft: Scatter(0, 0)}),
    }
    seen = Archive(found).of_motor("me").spreads
    assert set(seen) == {far}
    assert seen[far].standard == pytest.approx(0.02)


def test_places_come_back_from_their_text() -> None:
    for place in (
        ("mass", ()),
        ("thrust", (("electrical_power", '2"0, W'),)),
        ("time_constant", (("step", "30 % to 70 %"),)),
    ):
        assert place_of_text(place_text(place)) == place


DESIGNS = st.fixed_dictionaries(
    {"bell": st.sampled_from(["one", "two"]), "magnets": st.sampled_from(["N50", "N52", "N54"])},
    optional={"cushion": st.sampled_from(["absent", "present"]), "connection": st.just("wye")},
)


@given(st.lists(DESIGNS, min_size=2, max_size=12))
def test_grouped_pairs_are_those_that_looking_at_every_pair_finds(designs: list[dict[str, str]]) -> None:
    names = [f"c{k:02d}" for k in range(len(designs))]
    archive = Archive({name: Traits(design) for name, design in zip(names, designs, strict=True)})
    found = {
        (each.attribute, frozenset((one, other)))
        for each in archive.of_comparison(names).isolated
        for ones, others in each.groups
        for one in ones
        for other in others
    }
    looked = {
        (apart[0].attribute, frozenset((names[i], names[j])))
        for i, j in combinations(range(len(names)), 2)
        if isolates(apart := changes(designs[i], designs[j]))
    }
    assert found == looked
    assert sum(each.pairs for each in archive.of_comparison(names).isolated) == len(looked)


def test_a_comparison_hangs_on_the_campaigns_of_its_pairs_alone() -> None:
    base = {"bell": "one", "cushion": "absent"}
    traits = {
        "a": Traits(base), "b": Traits({**base, "cushion": "present"}), "c": Traits(base),
        "elsewhere": Traits({"bell": "two", "cushion": "absent"}), "bare": Traits({}),
    }  # fmt: skip
    glance = Archive(traits).of_comparison(["a", "b"])
    assert glance.campaigns == {"a", "b", "c"}
    assert glance.isolated[0].groups == ((("a", "c"), ("b",)),)
    without = Archive({name: traits[name] for name in traits if name != "c"}).of_comparison(["a", "b"])
    assert without.isolated[0].pairs == 1
    assert without.campaigns == frozenset()


def test_what_a_campaign_tells_is_its_pieces_and_its_design(trials: Trials) -> None:
    figures = {("mass", s): measured(v, s, trials) for s, v in (("A", 0.030), ("B", 0.0303), ("G", 0.1))}
    samples = [{"id": "A"}, {"id": "B"}, {"id": "G", "golden": True}]
    made = entrant("m", figures, trials, specimen={"samples": samples, "design": {"bell": "one"}, "pole_pairs": 7})
    told = traits_of(made.specimen, made)
    assert told.design == {"bell": "one", "pole_pairs": "7"}
    assert told.scatter[MASS].degrees == 1
    assert told.scatter[MASS].squares == pytest.approx(math.log(1.01) ** 2 / 2)


@pytest.mark.parametrize("name", ["thrust", "mass", "kv_no_load"])
def test_figures_fall_into_groups_as_pairs_are_refused(name: str, trials: Trials) -> None:
    def made(tag: str, propeller: str, flags: tuple[str, ...]):
        found = entrant(tag, {(name, "A"): measured(1.0, tag, trials)}, trials, propeller=propeller)
        return found, replace(next(f for f in found.figures if f.sample is None), flags=flags)

    kinds = [
        made(f"{p}{k}", p, f)
        for p in ("ref", "other")
        for k, f in enumerate(((), ("air_referred",), ("from_back_emf",)))
    ]
    for (one, figure), (other, counterpart) in combinations(kinds, 2):
        alike = ground(figure, one) == ground(counterpart, other) is not None
        assert alike == (refusal(figure, one, counterpart, other) == "")
