"""What a few pieces tell of their model with the archive's spread: known truth, simulated."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from benchproof.findings.archive import Archive
from benchproof.findings.archive_results import FromArchive
from benchproof.findings.entrants import Entrant
from benchproof.findings.model_figures import pooled_models, spreads_of, traits_of
from benchproof.findings.results import entry
from benchproof.findings.spread import Pool
from benchproof.findings.stored import packed, unpacked
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity
from motors import entrant, measured

COVERAGE = 0.95


def kept(made: Entrant) -> tuple[Entrant, list[dict]]:
    """Return a campaign as it comes out of what is kept, and its entries of results.json."""
    entries = [entry(figure, COVERAGE) for figure in made.figures]
    return Entrant(made.campaign, made.rig, unpacked(entries, packed(made.figures))), entries


def told(subject: Entrant, archive: list[Entrant], trials: Trials) -> dict | None:
    """Return the model's entry that the archive gives a campaign; None where it gives none."""
    glance = Archive({each.name: traits_of(each.specimen, each) for each in archive}).of_motor(subject.name)
    stored, entries = kept(subject)
    found = pooled_models(entries, stored, Pool(glance.by_place, trials), COVERAGE)
    return found[0] if found else None


def exact(name: str, trials: Trials, **values: float) -> Entrant:
    return entrant(name, {("mass", s): Quantity.exact(v, trials.count) for s, v in values.items()}, trials)


def pairs(trials: Trials, count: int, spread: float) -> list[Entrant]:
    """Return models of two pieces that lie apart by just the spread."""
    return [exact(f"m{k:02d}", trials, A=0.03, B=0.03 * math.exp(spread * 2**0.5)) for k in range(count)]


def test_one_piece_speaks_for_its_model_through_the_archives_spread(trials: Trials) -> None:
    """Ten degrees of freedom and a spread of 1 %: the interval is the value times exp(+-2.228 * 0.01)."""
    alone = exact("alone", trials, A=0.031)
    found = told(alone, [*pairs(trials, 10, 0.01), alone], trials)
    assert found["value"] == pytest.approx(0.031)
    low, high = found["interval"]
    assert math.log(high / low) / 2 == pytest.approx(0.02228, rel=0.02)
    assert found["standard_uncertainty"] == pytest.approx(0.00031, rel=1e-6)
    assert found["degrees_of_freedom"] == pytest.approx(10)
    assert found["samples"] == 1


def test_what_was_measured_and_the_spread_add_up(trials: Trials) -> None:
    own = 0.031 * math.hypot(0.01, 0.003)
    alone = entrant("alone", {("mass", "A"): measured(0.031, "a", trials)}, trials)
    found = told(alone, [*pairs(trials, 10, 0.01), alone], trials)
    assert found["standard_uncertainty"] == pytest.approx(math.hypot(own, 0.00031), rel=0.01)
    assert found["degrees_of_freedom"] > 20


def test_two_pieces_are_told_more_by_the_archive_than_by_each_other(trials: Trials) -> None:
    two = exact("two", trials, A=0.0310, B=0.0313)
    own = next(entry(f, COVERAGE) for f in two.figures if f.sample is None)
    found = told(two, [*pairs(trials, 10, 0.01), two], trials)
    assert found["value"] == pytest.approx(own["value"])
    widths = [high - low for low, high in (own["interval"], found["interval"])]
    assert widths[1] < widths[0] / 3
    assert math.log(found["interval"][1] / found["interval"][0]) / 2 == pytest.approx(2.2 * 0.01 / 2**0.5, rel=0.06)


def test_without_any_other_models_pieces_it_stays_this_sample(trials: Trials) -> None:
    alone, two = exact("alone", trials, A=0.031), exact("two", trials, A=0.0310, B=0.0313)
    assert told(alone, [alone, exact("other", trials, A=0.04)], trials) is None
    assert told(two, [alone, two], trials) is None
    assert told(alone, [alone, two], trials) is not None


def test_pieces_that_surely_scatter_more_than_the_others_keep_their_own_spread(trials: Trials) -> None:
    wild = exact("wild", trials, A=0.031, B=0.037)
    assert told(wild, [*pairs(trials, 20, 0.01), wild], trials) is None


def test_the_models_interval_holds_its_true_mean_as_often_as_it_says() -> None:
    """Models of one or two pieces, spread 1 %, measured to 0.3 %, the spread rounded and pooled: 95 of 100."""
    rng = np.random.default_rng(3)
    hits: dict[int, list[bool]] = {1: [], 2: []}
    for repeat in range(120):
        trials = Trials(repeat, 1000)
        archive = []
        for k in range(12):
            count = 1 if k < 4 else 2
            true = 0.03 * np.exp(rng.normal(0, 0.01, count) + rng.normal(0, 0.003, count))
            figures = {
                ("mass", "AB"[s]): measured(float(true[s]), f"r{repeat}m{k}{s}", trials, scale=1e-6)
                for s in range(count)
            }
            archive.append(entrant(f"r{repeat}m{k}", figures, trials))
        for each in (archive[0], archive[5]):
            found = told(each, archive, trials)
            low, high = (found or next(entry(f, COVERAGE) for f in each.figures if f.sample is None))["interval"]
            hits[len(each.specimen.samples)].append(low <= 0.03 <= high)
    for found in hits.values():
        rate = float(np.mean(found))
        # What was drawn for one piece alone is counted beside the spread that holds it already: wide, never narrow.
        assert rate > 0.95 - 2.5 * stats.binom.std(len(found), 0.95) / len(found)


def test_a_report_states_the_spread_it_used_so_that_it_can_be_formed_again(trials: Trials) -> None:
    alone = entrant("alone", {("mass", "A"): measured(0.031, "a", trials)}, trials)
    archive = [*pairs(trials, 10, 0.01), alone]
    glance = Archive({each.name: traits_of(each.specimen, each) for each in archive}).of_motor("alone")
    stored, entries = kept(alone)
    first = pooled_models(entries, stored, Pool(glance.by_place, trials), COVERAGE)
    again = pooled_models(entries, stored, Pool(spreads_of(first), Trials(trials.seed, trials.count)), COVERAGE)
    assert again == first
    assert first[0]["spread"] == {"standard": 0.01, "degrees_of_freedom": 10, "campaigns": 10, "samples": 20}


def test_what_the_archive_adds_goes_into_results_and_comes_out_again(trials: Trials) -> None:
    alone = entrant("alone", {("mass", "A"): measured(0.031, "a", trials)}, trials)
    archive = [*pairs(trials, 10, 0.01), alone]
    glance = Archive({each.name: traits_of(each.specimen, each) for each in archive}).of_motor("alone")
    stored, entries = kept(alone)
    found = pooled_models(entries, stored, Pool(glance.by_place, trials), COVERAGE)
    added = FromArchive(found)
    results = added.into({"quantities": entries})
    assert [each["sample"] for each in results["quantities"]] == ["A", None]
    assert results["quantities"][0] == entries[0]
    assert results["quantities"][1]["flags"] == ["pooled_spread"]
    assert FromArchive.of(results) == added
