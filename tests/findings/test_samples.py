"""From samples to the model: what they differ by counts once."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from benchproof.findings.results import entry, in_order
from benchproof.findings.samples import drawn_degrees, model_mean, with_model
from benchproof.methods.records import Figure
from benchproof.trials.distributions import NORMAL, Shape
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity, combine

SHARED = Source(("rig", "cell", "scale", "rig"), "scale", NORMAL)


def sample(value: float, name: str, trials: Trials, shared: float = 0.01, own: float = 0.02) -> Quantity:
    gain = Quantity.of(1.0, shared, SHARED, trials)
    noise = Quantity.of(value, own * value, Source(("run", name), "noise", NORMAL), trials)
    return combine(np.multiply, gain, noise)


def test_one_sample_speaks_for_itself_and_says_so(trials: Trials) -> None:
    only = Figure("thrust", {"electrical_power": "100 W"}, "A1", sample(5.0, "a", trials), "m/1", ("air_referred",))
    found = with_model([only], "c", trials)
    assert [f.sample for f in found] == ["A1", None]
    assert found[1].flags == ("air_referred", "one_sample")
    assert found[1].quantity is only.quantity


def test_what_samples_share_stays_and_what_is_their_own_counts_once(trials: Trials) -> None:
    values = [4.9, 5.0, 5.1, 5.2]
    model = model_mean([sample(v, str(v), trials) for v in values], ("c", "spread", "thrust"), trials)
    spread = np.std(values, ddof=1) / 2
    assert model.value == pytest.approx(5.05)
    assert model.standard_uncertainty == pytest.approx((spread**2 + (0.01 * 5.05) ** 2) ** 0.5, rel=0.02)
    assert model.degrees_of_freedom == pytest.approx(3 * (1 + (0.0505 / spread) ** 2) ** 2, rel=0.1)


def test_the_models_interval_holds_the_models_mean() -> None:
    """Samples about a model, each with noise of its own: at least 19 times out of 20."""
    rng = np.random.default_rng(3)
    trials = Trials(5, 2000)
    inside = []
    for k in range(400):
        values = (
            5
            * (1 + 0.01 * rng.standard_normal(3) + 0.003 * rng.standard_normal(3))
            * (1 + 0.002 * rng.standard_normal())
        )
        samples = [sample(v, f"{k}-{i}", trials, 0.002, 0.003) for i, v in enumerate(values)]
        low, high = model_mean(samples, ("c", str(k)), trials).interval(0.95)
        inside.append(low <= 5 <= high)
    assert 0.93 <= np.mean(inside) <= 0.985


@pytest.mark.parametrize("samples", [2, 3, 4, 6])
@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.0, 3.0, 4.0, 6.0, 10.0])
def test_the_spread_beside_known_errors_covers_as_stated(samples: int, ratio: float) -> None:
    """Spread of the mean `ratio` times the shared known error: 94 to 97 %, integrated over what s may come out as."""
    df = samples - 1
    spreads = ratio * np.sqrt(stats.chi2.ppf((np.arange(60) + 0.5) / 60, df) / df)
    trials = Trials(7, 4000)
    known = trials.draw(Source(("known",), "", NORMAL))
    inside = []
    for k, standard in enumerate(spreads):
        shape = Shape("student", df, drawn_degrees(df, standard, 1.0))
        apart = standard * trials.draw(Source(("spread", str(k)), "", shape))
        half_width = np.quantile(np.abs(known + apart), 0.95)
        inside.append(2 * stats.norm.cdf(half_width / np.hypot(1.0, ratio)) - 1)
    assert 0.94 <= np.mean(inside) <= 0.97


def test_a_sample_that_does_not_get_there_leaves_the_others_to_speak(trials: Trials) -> None:
    at = {"electrical_power": "400 W"}
    group = [
        Figure("thrust", at, "A1", None, "m/1", ("not_reached",)),
        Figure("thrust", at, "A2", sample(9.0, "b", trials), "m/1"),
    ]
    model = with_model(group, "c", trials)[-1]
    assert model.quantity is not None
    assert model.flags == ("one_sample",)
    nobody = with_model(group[:1], "c", trials)[-1]
    assert nobody.quantity is None
    assert nobody.flags == ("not_reached",)


def test_results_keep_the_contracts_order(trials: Trials) -> None:
    figure = Figure("thrust", {"propeller": "p", "throttle": "50 %"}, "A1", sample(5.0, "a", trials), "m/1")
    record = in_order({"quantities": [dict(sorted(entry(figure, 0.95).items()))], "campaign": "c", "schema": "s"})
    assert list(record)[:2] == ["schema", "campaign"]
    assert list(record["quantities"][0])[:4] == ["name", "at", "sample", "unit"]
    assert list(record["quantities"][0]["at"]) == ["throttle", "propeller"]
