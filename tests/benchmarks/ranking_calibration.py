"""Whether a stated probability of being the best comes true as often as it says, and how often a false claim is supported.

    PYTHONPATH=tests:analysis python -m benchmarks.ranking_calibration --comparisons 1000

Each comparison has its own motors: true means about a common one, pieces about their model, readings about their piece,
and a scale error that all share. The spread of pieces comes from an archive of pairs, as in a lab. Probability of being
the best, rank intervals, ties and verdicts are those of the library; the truth is the models' true means.
"""

from __future__ import annotations

import argparse
import json
from itertools import pairwise
from pathlib import Path

import numpy as np

from benchproof.findings.claims import judge_all
from benchproof.findings.entrants import Entrant
from benchproof.findings.ranking import rank
from benchproof.findings.spread import Pool
from benchproof.trials.engine import Trials
from benchproof.trials.threads import single_threaded
from motors import AT_200, entrant, measured

RESULT = Path(__file__).parent / "results" / "ranking_calibration.json"
UNIT, NOISE, SCALE = 0.008, 0.004, 0.01
"""Spread of pieces, noise of a piece's figure, and the scale error all share, relative standard deviations."""
DESIGNS = (0.003, 0.01, 0.03)
"""Scatter of the models' true means, from motors that are all alike to a mixed lot."""
EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95, 0.98, 1.0)
ARCHIVE = 8
"""Pairs of pieces of other models in the archive."""


def motor(
    name: str, mean: float, pieces: int, gain: float, rng: np.random.Generator, trials: Trials, **more: object
) -> Entrant:
    """Return a campaign of some pieces of a model, measured with what is wrong with the bench."""
    figures = {}
    for k in range(pieces):
        errors = 1 + np.array([UNIT, NOISE]) * rng.standard_normal(2)
        shown = mean * gain * float(np.prod(errors))
        figures["thrust", f"S{k}"] = measured(shown, f"{name}{k}", trials, scale=SCALE, noise=NOISE)
    return entrant(name, figures, trials, **more)


def archive(gain: float, rng: np.random.Generator, trials: Trials) -> list[Entrant]:
    """Return pairs of pieces of other models."""
    return [motor(f"other{k}", 7.0 * float(rng.uniform(0.8, 1.2)), 2, gain, rng, trials) for k in range(ARCHIVE)]


def one_comparison(seed: int, count: int) -> dict[str, list]:
    """Return what one comparison stated and what was true."""
    rng, trials = np.random.default_rng([seed, 9]), Trials(seed, count)
    gain = 1 + SCALE * float(rng.standard_normal())
    size = int(rng.integers(2, 9))
    means = 7.0 * np.exp(rng.choice(DESIGNS) * rng.standard_normal(size))
    claim = {"say": "so", "quantity": "thrust", "at": AT_200, "relation": "more", "than": "m1"}
    made = [
        motor(f"m{k}", float(m), int(rng.integers(1, 4)), gain, rng, trials, claims=[claim] if not k else [])
        for k, m in enumerate(means)
    ]
    pool = Pool.over([*made, *archive(gain, rng, trials)], trials)
    quantities = [pool(each, each.of("thrust", AT_200)[0]) for each in made]
    ranked = rank([e.name for e in made], [q for q in quantities if q is not None], ("t",), trials)
    flat = np.stack([q.trials for q in quantities if q is not None])
    unshrunk = np.bincount(np.argmax(flat, axis=0), minlength=size) / count
    verdict = judge_all(made[0], {"m1": made[1]}, pool, 0.95)[0].verdict
    true = {f"m{k}": 1 + int(np.sum(means > m)) for k, m in enumerate(means)}
    return {
        "stated": [r.best for r in ranked],
        "unshrunk": [float(unshrunk[int(r.name[1:])]) for r in ranked],
        "best": [true[r.name] == 1 for r in ranked],
        "inside": [r.ranks[0] <= true[r.name] <= r.ranks[1] for r in ranked],
        "false_claim": [verdict == "supported"] if means[0] <= means[1] else [],
        "true_claim": [verdict == "supported"] if means[0] > means[1] else [],
    }


def one_false_claim(seed: int, count: int) -> tuple[str, str, bool]:
    """Return the verdicts of two sentences that are wrong by nothing and by their margin, and whether equals were told apart."""
    rng, trials = np.random.default_rng([seed, 10]), Trials(seed, count)
    gain = 1 + SCALE * float(rng.standard_normal())
    claim = {"say": "so", "quantity": "thrust", "at": AT_200, "than": "two"}
    claims = [{**claim, "relation": "more"}, {**claim, "relation": "equal", "within": "2 %"}]
    pieces = int(rng.integers(1, 4))
    one = motor("one", 7.0, pieces, gain, rng, trials, claims=claims[:1])
    near = motor("near", 7.14, pieces, gain, rng, trials, claims=claims[1:])
    two = motor("two", 7.0, pieces, gain, rng, trials)
    others = archive(gain, rng, trials)
    pool = Pool.over([one, two, *others], trials)
    more, equal = (judge_all(subject, {"two": two}, pool, 0.95)[0].verdict for subject in (one, near))
    alike = [motor(f"m{k}", 7.0, pieces, gain, rng, trials) for k in range(5)]
    again = Pool.over([*alike, *others], trials)
    quantities = [again(each, each.of("thrust", AT_200)[0]) for each in alike]
    ranked = rank([e.name for e in alike], [q for q in quantities if q is not None], ("t",), trials)
    return more, equal, any(len(r.tied) < len(alike) - 1 for r in ranked)


def reliability(stated: np.ndarray, true: np.ndarray) -> list[dict[str, float]]:
    """Return, for bins of stated probability, the mean stated and how often it came true."""
    rows = []
    for low, high in pairwise(EDGES):
        inside = (stated >= low) & ((stated < high) | (high == 1.0))
        if inside.any():
            rows.append(
                {
                    "from": low,
                    "to": high,
                    "count": int(inside.sum()),
                    "stated": round(float(stated[inside].mean()), 4),
                    "came_true": round(float(true[inside].mean()), 4),
                }
            )
    return rows


@single_threaded()
def benchmark(comparisons: int, count: int) -> dict[str, object]:
    """Return the benchmark's record."""
    found = [one_comparison(seed, count) for seed in range(comparisons)]
    stated, unshrunk, best, inside, wrong, right = (
        np.array([value for each in found for value in each[key]])
        for key in ("stated", "unshrunk", "best", "inside", "false_claim", "true_claim")
    )
    false = [one_false_claim(seed, count) for seed in range(comparisons)]
    return {
        "comparisons": comparisons,
        "trials": count,
        "relative": {"spread_of_pieces": UNIT, "noise": NOISE, "shared_scale": SCALE, "models": list(DESIGNS)},
        "probability_of_best": reliability(stated, best),
        "brier_score": round(float(np.mean((stated - best) ** 2)), 5),
        "brier_score_without_shrinkage": round(float(np.mean((unshrunk - best) ** 2)), 5),
        "without_shrinkage": reliability(unshrunk, best),
        "rank_interval_coverage": round(float(inside.mean()), 4),
        "supported": {
            "more, where it is false": round(float(wrong.mean()), 4),
            "more, where it is true": round(float(right.mean()), 4),
            "more, truly equal": round(float(np.mean([f[0] == "supported" for f in false])), 4),
            "equal within 2 %, truly 2 % apart": round(float(np.mean([f[1] == "supported" for f in false])), 4),
        },
        "any_of_five_equal_models_told_apart": round(float(np.mean([f[2] for f in false])), 4),
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--comparisons", type=int, default=1000)
    parser.add_argument("--trials", type=int, default=2000)
    arguments = parser.parse_args()
    record = benchmark(arguments.comparisons, arguments.trials)
    RESULT.write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
