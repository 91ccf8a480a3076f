"""Sentences: probability, three verdicts, and the reasons for none."""

from __future__ import annotations

import numpy as np
import pytest

from benchproof.campaign.quoting import Quote
from benchproof.findings.claims import Judged, judge_all
from benchproof.findings.comparing_quotes import Comparer, more_or_less
from benchproof.findings.differences import as_figured
from benchproof.findings.spread import Pool
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity
from motors import AT_200, entrant, measured

CLAIM = {"say": "so", "quantity": "thrust", "at": AT_200, "relation": "more", "than": "two"}


def judged(claim: dict, one: float, other: float, trials: Trials, **more: object) -> Judged:
    subject = entrant("one", {("thrust", "A"): measured(one, "a", trials)}, trials, claims=[{**CLAIM, **claim}], **more)
    against = entrant("two", {("thrust", "B"): measured(other, "b", trials)}, trials)
    return judge_all(subject, {"two": against}, as_figured, 0.95)[0]


@pytest.mark.parametrize(
    ("claim", "one", "other", "verdict"),
    [
        ({}, 7.2, 7.0, "supported"),
        ({}, 7.0, 7.2, "contradicted"),
        ({}, 7.0, 7.01, "not shown"),
        ({"relation": "less"}, 7.0, 7.2, "supported"),
        ({"by": "2 %"}, 7.2, 7.0, "supported"),
        ({"by": "4 %"}, 7.2, 7.0, "contradicted"),
        ({"by": "0.1 N"}, 7.2, 7.0, "supported"),
        ({"relation": "equal", "within": "2 %"}, 7.0, 7.01, "supported"),
        ({"relation": "equal", "within": "0.5 %"}, 7.0, 7.01, "not shown"),
        ({"relation": "equal", "within": "1 %"}, 7.2, 7.0, "contradicted"),
        ({"relation": "at_least", "than": "6.7 N"}, 7.0, 7.0, "supported"),
        ({"relation": "at_most", "than": "6.7 N"}, 7.0, 7.0, "contradicted"),
        ({"relation": "at_least", "than": "7 N"}, 7.0, 7.0, "not shown"),
    ],
)
def test_verdicts(claim: dict, one: float, other: float, verdict: str, trials: Trials) -> None:
    assert judged(claim, one, other, trials).verdict == verdict


def test_a_claim_flips_when_the_data_change(trials: Trials) -> None:
    before, after = (judged({}, value, 7.0, trials) for value in (7.2, 6.8))
    assert (before.verdict, after.verdict) == ("supported", "contradicted")
    assert before.probability > 0.95 > 0.05 > after.probability


def test_equal_takes_both_one_sided_tests(trials: Trials) -> None:
    """Within 1 u on one side and far on the other: the nearer side decides."""
    found = judged({"relation": "equal", "within": "1 %"}, 7.0 * 1.005, 7.0, trials)
    side = 0.005 / (2**0.5 * 0.003)
    assert found.probability == pytest.approx(float(np.vectorize(_phi)(side)), abs=0.01)


def _phi(x: float) -> float:
    from scipy.special import ndtr

    return float(ndtr(x))


@pytest.mark.parametrize(
    ("claim", "more", "reason"),
    [
        ({"at": {"electrical_power": "900 W"}}, {}, "thrust at 900 W was not tested"),
        ({}, {"propeller": "other"}, "measured on another propeller: P2 against P1"),
        ({"than": "label"}, {}, "the label states no thrust"),
        ({"quantity": "mass", "at": {}}, {}, "mass was not tested"),
    ],
)
def test_what_cannot_be_held_against_anything_is_not_shown(
    claim: dict, more: dict, reason: str, trials: Trials
) -> None:
    found = judged(claim, 7.2, 7.0, trials, **more)
    assert (found.verdict, found.probability) == ("not shown", None)
    assert found.detail.startswith(reason)


def test_a_campaign_that_could_not_be_built_is_named(trials: Trials) -> None:
    subject = entrant("one", {("thrust", "A"): measured(7.0, "a", trials)}, trials, claims=[CLAIM])
    found = judge_all(subject, {}, as_figured, 0.95, absent={"two"})[0]
    assert (found.probability, found.detail) == (None, "two has no figures yet")


def test_a_drive_that_differs_is_said_beside_the_verdict(trials: Trials) -> None:
    assert "the drive differs: timing 24 deg against 16 deg" in judged({}, 7.2, 7.0, trials, drive="fast").detail


def test_the_model_answers_for_the_spread_of_its_pieces_and_the_pieces_do_not(trials: Trials) -> None:
    claims = [{**CLAIM, "than": "6.9 N", "relation": "at_least", "scope": scope} for scope in ("model", "samples")]
    figures = {("thrust", s): measured(v, s, trials, scale=0.001) for s, v in (("A", 7.0), ("B", 7.1))}
    subject = entrant("one", figures, trials, claims=claims)
    model, samples = judge_all(subject, {}, as_figured, 0.95)
    assert (model.verdict, samples.verdict) == ("not shown", "supported")


def test_a_pooled_spread_can_decide_for_a_model(trials: Trials) -> None:
    claims = [{**CLAIM, "than": "6.9 N", "relation": "at_least"}]
    pairs = [
        entrant(
            f"m{k}",
            {("thrust", s): Quantity.exact(v, trials.count) for s, v in (("A", 7.0), ("B", 7.02))},
            trials,
        )
        for k in range(8)
    ]
    figures = {("thrust", s): measured(v, s, trials, scale=0.001) for s, v in (("A", 7.0), ("B", 7.1))}
    subject = entrant("one", figures, trials, claims=claims)
    pool = Pool.over([*pairs, subject], trials)
    assert judge_all(subject, {}, pool, 0.95)[0].verdict == "supported"


def test_several_sentences_are_also_judged_together(trials: Trials) -> None:
    claims = [{**CLAIM, "than": than, "relation": "at_least"} for than in ("6.7 N", "6.875 N")]
    subject = entrant("one", {("thrust", "A"): measured(7.0, "a", trials)}, trials, claims=[*claims, *claims[1:]])
    found = judge_all(subject, {}, as_figured, 0.95)
    assert [j.verdict for j in found] == ["supported"] * 3
    assert [j.together for j in found] == [True, False, False]


def test_false_support_is_rare(trials: Trials) -> None:
    """Two equal motors, one claimed better: supported in no more than one case in twenty."""
    rng = np.random.default_rng(11)
    many = Trials(7, 20_000)  # with 2000, the limit itself would be known to 3 %
    wrong = 0
    for _ in range(400):
        one, other = 7.0 * (1 + 0.003 * rng.standard_normal(2))
        wrong += judged({}, one, other, many).verdict == "supported"
    assert wrong / 400 <= 0.05 + 2 * (0.05 * 0.95 / 400) ** 0.5


def test_quotes_compare_in_words(trials: Trials) -> None:
    one = entrant("one", {("thrust", "A"): measured(7.2, "a", trials)}, trials)
    two = entrant("two", {("thrust", "B"): measured(7.0, "b", trials)}, trials)
    far = entrant("far", {("thrust", "B"): measured(7.0, "b", trials)}, trials, propeller="other")
    answer = Comparer(one, {"two": two, "far": far}, as_figured, 0.95)
    assert answer(Quote("thrust", than="two", at=AT_200)) == "2.86 % ± 0.85 % more"
    assert answer(Quote("thrust", than="far", at=AT_200)).startswith("(not compared: measured on another propeller")
    assert answer(Quote("thrust", than="gone", at=AT_200)) == "(not compared: gone has no figures yet)"
    assert answer(Quote("thrust", than="label", at=AT_200)) == "(not compared: the label does not state it)"


def test_less_reads_as_less(trials: Trials) -> None:
    ratio = Quantity.of(0.969, 0.004, Source(("x",), "x", NORMAL), trials)
    assert more_or_less(ratio, 0.95) == "3.10 % ± 0.78 % less"
