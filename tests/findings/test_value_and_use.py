"""What it costs, whom it suits, and what a later batch did."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from benchproof.campaign.models.airframe import Airframe
from benchproof.findings.batches import batch_table, drifts, retests
from benchproof.findings.differences import as_figured
from benchproof.findings.entrants import Entrant
from benchproof.findings.labels import label_checks, label_table
from benchproof.findings.use import FREE_FALL, fits, use_table
from benchproof.findings.value import front, offer, pareto_chart, per_price, value_tables
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity
from motors import AT_200, entrant, measured

FRAME = {
    "mass": "520 g",
    "motors": 4,
    "pack_energy": "24 W*h",
    "pack_voltage": "18.5 V",
    "hover_share": "80 %",
    "full_throttle_share": "20 %",
}


def priced(name: str, thrust: float, amount: float, trials: Trials, currency: str = "EUR", **more: object) -> Entrant:
    price = {"amount": amount, "currency": currency, "seen": "2026-02-20", "channel": "direct", **more}
    figures = {("thrust", "A"): measured(thrust, name, trials)}
    return entrant(name, figures, trials, specimen={"price": price})


def test_a_figure_per_price_counts_shipping(trials: Trials) -> None:
    motor = priced("a", 7.0, 20.0, trials, shipping=5.0, channel="retail", margin="40 %")
    price = offer(motor)
    assert (price.total, price.channel, price.without_margin) == (25.0, "retail", 12.0)
    assert per_price(motor.of("thrust", AT_200)[0].quantity, price).value == pytest.approx(0.28)


def test_currencies_are_never_mixed(trials: Trials) -> None:
    made = [priced("a", 7.0, 20.0, trials), priced("b", 7.1, 25.0, trials), priced("c", 7.0, 21.0, trials, "USD")]
    figure = made[0].of("thrust", AT_200)[0]
    tables = value_tables(made, [figure], as_figured, 0.95)
    assert [[row[0] for row in table.rows] for table in tables] == [["a", "b"], ["c"]]
    assert "no rate is assumed" in tables[0].caption
    assert "2026-02-20" in tables[0].rows[0]
    assert pareto_chart(made, figure, as_figured, 0.95, "USD", less=False) is None
    chart = pareto_chart(made, figure, as_figured, 0.95, "EUR", less=False)
    assert "2026-02-20" in chart.caption
    assert chart.series[-1].x == (20.0, 25.0)


def test_the_front_holds_what_no_other_beats() -> None:
    prices, worths = [20.0, 25.0, 25.0, 30.0], [1.0, 2.0, 1.5, 1.9]
    assert front(prices, worths) == (0, 1)
    assert front(prices, worths, less_is_better=True) == (0,)


def flown(trials: Trials, mass: float = 0.033, thrust: float = 14.0, current: float = 32.0) -> Entrant:
    full = {"throttle": "100 %"}
    values = {"mass": mass, "thrust": thrust, "electrical_power": 18.5 * current, "current": current}
    figures = {(name, "A"): Quantity.exact(value, trials.count) for name, value in values.items()}
    return entrant("m", figures, trials, at={"thrust": full, "electrical_power": full, "current": full})


def law(_: Entrant, name: str, thrust: float) -> Quantity:
    """Power goes with thrust to the power of 1.5 [momentum theory]."""
    power = 8.0 * thrust**1.5
    return Quantity.exact(power if name == "electrical_power" else power / 18.5, 20_000)


def test_the_motors_own_mass_counts(trials: Trials) -> None:
    airframe = Airframe.model_validate(FRAME)
    light, heavy = (fits(airframe, [flown(trials, mass=m)], as_figured, law)[0] for m in (0.030, 0.040))
    share = (0.52 / 4 + 0.030) * FREE_FALL
    assert light.hover_power.value == pytest.approx(4 * 8 * share**1.5, rel=1e-6)
    assert heavy.hover_power.value > light.hover_power.value
    mean = 0.8 * 8 * share**1.5 + 0.2 * 18.5 * 32.0
    assert light.flight_time.value == pytest.approx(0.8 * 24 * 3600 / (4 * mean), rel=1e-6)
    assert light.thrust_to_weight.value == pytest.approx(14.0 / share)


@pytest.mark.parametrize(
    ("needs", "verdict", "reason"),
    [
        ({"thrust_to_weight": 5.0}, "suits", "meets thrust to weight of 5"),
        ({"thrust_to_weight": 12.0}, "does not suit", "misses thrust to weight of 12"),
        ({"flight_time": "600 s"}, "does not suit", "misses flight time of 600 s"),
    ],
)
def test_a_need_decides(needs: dict, verdict: str, reason: str, trials: Trials) -> None:
    airframe = Airframe.model_validate({**FRAME, "needs": needs})
    (fit,) = fits(airframe, [flown(trials)], as_figured, law)
    assert (fit.verdict, fit.reason) == (verdict, reason)
    assert use_table("quad", airframe, [fit], 0.95).rows[0][:3] == ("m", verdict, reason)


def test_what_was_not_reached_is_not_judged(trials: Trials) -> None:
    airframe = Airframe.model_validate(FRAME)
    (fit,) = fits(airframe, [flown(trials)], as_figured, lambda *_: "which the sweeps did not reach")
    assert (fit.verdict, fit.hover_power) == ("not shown", None)
    assert fit.reason == "hover needs 1.60 N a motor, which the sweeps did not reach"


def test_a_pack_far_from_the_benchs_voltage_is_not_referred_to(trials: Trials) -> None:
    airframe = Airframe.model_validate({**FRAME, "pack_voltage": "14.8 V"})
    (fit,) = fits(airframe, [flown(trials)], as_figured, law)
    assert fit.verdict == "not shown"
    assert "18.5 V; the pack gives 14.8 V" in fit.reason
    assert fit.hover_power is not None


@pytest.mark.parametrize(
    ("change", "word"),
    [({"hover_share": "50 %"}, "100 % together"), ({"usable": "120 %"}, "a share"), ({"motors": 0}, "greater")],
)
def test_an_airframe_that_cannot_be_is_refused(change: dict, word: str) -> None:
    with pytest.raises(ValidationError) as caught:
        Airframe.model_validate({**FRAME, **change})
    (error,) = caught.value.errors()
    said = [problem.expected for problem in error.get("ctx", {}).get("problems", ())] or [error["msg"]]
    assert word in said[0]


def batch(name: str, tested: str, values: dict[str, float], trials: Trials, golden: tuple[str, ...] = ()) -> Entrant:
    figures = {("thrust", s): measured(v, f"{name}{s}", trials) for s, v in values.items()}
    samples = [{"id": s, "batch": name, **({"golden": True} if s in golden else {})} for s in values]
    return entrant(name, figures, trials, tested=tested, specimen={"model": "Same", "samples": samples})


def test_drift_of_a_batch_is_stated_or_the_batches_merge(trials: Trials) -> None:
    old = batch("old", "2026-01-10", {"A": 7.00, "B": 7.02, "C": 6.99}, trials)
    alike = batch("alike", "2026-05-10", {"D": 7.01, "E": 7.00, "F": 7.02}, trials)
    worse = batch("worse", "2026-06-10", {"G": 6.40, "H": 6.42, "I": 6.41}, trials)
    assert [(a.name, b.name) for a, b in retests([worse, old, alike])] == [
        ("old", "alike"),
        ("old", "worse"),
        ("alike", "worse"),
    ]
    (same,), (other,) = (list(drifts(old, new, as_figured, 0.95)) for new in (alike, worse))
    assert (same.shown, other.shown) == (False, True)
    assert same.merged.value == pytest.approx(np.mean([7.00, 7.02, 6.99, 7.01, 7.00, 7.02]))
    assert other.welch < 0.001 < same.welch
    row = batch_table(old, worse, [other], 0.95).rows[0]
    assert (row[2], row[3]) == ("shown", "")


def test_what_a_golden_sample_changed_by_is_the_benchs_and_is_taken_off(trials: Trials) -> None:
    """The bench reads 3 % low the second time: pieces and golden sample alike."""
    old = batch("old", "2026-01-10", {"A": 7.00, "B": 7.02}, trials)
    low = {"C": 7.01 * 0.97, "D": 7.00 * 0.97, "A": 7.00 * 0.97}
    new = batch("new", "2026-05-10", low, trials, golden=("A",))
    (drift,) = drifts(old, new, as_figured, 0.95)
    assert drift.golden == ("A",)
    assert drift.effect.value == pytest.approx(7.005 / 7.01, rel=1e-9)
    assert not drift.shown
    assert "Golden sample A" in batch_table(old, new, [drift], 0.95).caption


def test_without_a_stated_tolerance_nothing_fails(trials: Trials) -> None:
    label = {"kv": "1950 rpm/V", "mass": "30 g"}
    figures = {
        ("mass", "A"): measured(0.033, "m", trials),
        ("kv_no_load", "A"): measured(1990 * np.pi / 30, "k", trials),
    }
    motor = entrant("m", figures, trials, specimen={"label": label})
    assert {check.decision for check in label_checks(motor)} == {"no tolerance stated"}
    table = label_table(motor, 0.95)
    assert "timing 16 deg" in table.caption


def test_a_stated_tolerance_decides_by_the_probability_of_conforming(trials: Trials) -> None:
    figures = {("kv_no_load", "A"): measured(2035 * np.pi / 30, "k", trials, scale=12 / 2035, noise=0.0)}
    label = {"kv": {"value": "1950 rpm/V", "tolerance": "5 %"}}
    (check,) = label_checks(entrant("m", figures, trials, specimen={"label": label}))
    assert check.probability == pytest.approx(0.851, abs=2e-3)
    assert check.decision == "conforms, conditionally"
