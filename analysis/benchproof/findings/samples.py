"""From samples to the model: the mean over samples, with their spread in its uncertainty.

Samples are units, repeats are not: a method hands over one figure a sample, its repeats already combined.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.methods.records import Figure
from benchproof.trials.distributions import Shape
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity, combine, mean

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from benchproof.trials.engine import Trials

LEAST_SPREAD: Final = 0.05
"""Samples that agree by luck far better than they were measured still count as this share of that uncertainty apart."""

CORE: Final = 0.6827
"""Coverage of one standard uncertainty to both sides of a normal distribution."""

BESIDE_KNOWN: Final = (0.32, 0.4)
"""How soon better known errors lighten the tails of a spread beside them, with one degree of freedom and with more."""

MOST_DEGREES: Final = 240.0
"""Degrees of freedom beyond which a draw is as good as normal."""

ONE_SAMPLE: Final = "one_sample"


def with_model(
    figures: Iterable[Figure], campaign: str, trials: Trials, *, golden: Collection[str] = ()
) -> tuple[Figure, ...]:
    """Return the figures of the samples, each group followed by that of the model.

    Parameters
    ----------
    figures : iterable of Figure
        One for each sample, name and operating point.
    campaign : str
        Names the spread of its samples as a source of error.
    trials : Trials
        The laboratory's trials.
    golden : collection of str
        Pieces of an earlier batch, which do not count for the model here.

    Returns
    -------
    tuple of Figure
        In the order of first appearance; the model's has ``sample=None``.
    """
    groups: dict[object, list[Figure]] = {}
    for figure in figures:
        groups.setdefault(figure.key, []).append(figure)
    return tuple(
        figure
        for group in groups.values()
        for figure in (*group, _model([f for f in group if f.sample not in golden] or group, campaign, trials))
    )


def _model(group: Sequence[Figure], campaign: str, trials: Trials) -> Figure:
    first = group[0]
    flags = tuple(dict.fromkeys(flag for figure in group for flag in figure.flags))
    known = [figure.quantity for figure in group if figure.quantity is not None]
    if not known:
        return Figure(first.name, first.at, None, None, first.method, flags)
    flags = tuple(flag for flag in flags if flag != "not_reached" and not flag.startswith("withheld:"))
    if len(known) == 1:
        return Figure(first.name, first.at, None, known[0], first.method, (*flags, ONE_SAMPLE))
    identity = (campaign, "spread of samples", first.name, *first.at.values())
    return Figure(first.name, first.at, None, model_mean(known, identity, trials), first.method, flags)


def model_mean(samples: Sequence[Quantity], identity: tuple[str, ...], trials: Trials) -> Quantity:
    """Return the mean of the model a few samples were taken from.

    Parameters
    ----------
    samples : sequence of Quantity
        One for each sample, at least two.
    identity : tuple of str
        Names the spread as a source.
    trials : Trials
        The laboratory's trials.

    Returns
    -------
    Quantity
        What the samples differ by holds both their spread and what was drawn for each of them alone (mounting,
        scatter, reading), so these are counted once, as s / sqrt(n) with n - 1 degrees of freedom (Student);
        what all samples share stays as it is. Its draws have the degrees of freedom of :func:`drawn_degrees`.
    """
    owners: dict[tuple[str, ...], int] = {}
    for sample in samples:
        for part in sample.parts:
            owners[part.source.identity] = owners.get(part.source.identity, 0) + 1
    alone = {key for key, count in owners.items() if count == 1}
    own = float(np.mean([sample.share_of(alone) ** 2 for sample in samples])) ** 0.5
    spread = max(float(np.std([sample.value for sample in samples], ddof=1)), LEAST_SPREAD * own)
    middle = mean(*(sample.without(alone) for sample in samples))  # each has told its sources apart already
    if not spread:
        return middle
    standard = spread / len(samples) ** 0.5
    df = len(samples) - 1
    shape = Shape("student", df, drawn_degrees(df, standard, _core(middle)))
    apart = Quantity.of(0.0, standard, Source(identity, "spread of samples", shape), trials)
    return combine(np.add, middle, apart)


def _core(quantity: Quantity) -> float:
    """Return half the width of the middle 68 % of trials, which no heavy tail of a sample's own scatter reaches."""
    low, high = quantity.interval(CORE)
    return min((high - low) / 2, quantity.standard_uncertainty)


def drawn_degrees(df: float, standard: float, known: float) -> float:
    """Return the degrees of freedom a spread is drawn with beside errors that are known.

    Parameters
    ----------
    df : float
        Degrees of freedom the spread is known with.
    standard : float
        Its standard uncertainty of the mean, s / sqrt(n).
    known : float
        Standard uncertainty of everything else.

    Returns
    -------
    float
        ``df (1 + (c known / standard)^6)``, c = 0.32 for one degree of freedom and 0.4 for more; at most 240.

    Notes
    -----
    A Student draw of ``df`` degrees added to a known error covers too much (0.95 to 0.99 for two samples, the more
    the known error dominates), the effective degrees of Welch and Satterthwaite too little (0.87 to 0.95). With this
    rule, found by simulation of normal samples at any ratio of the two, a 95 % interval holds the truth in 94.4 to
    96.5 % for two samples and in 94.9 to 96.6 % for three to six. It is plain Student for as long as the known error is
    not far larger: two samples that agree by luck look as if they did not differ. Samples whose own errors are of very
    unlike size, such as logs ten times apart in rate, are covered more often (0.98 where they do not differ).
    """
    share = BESIDE_KNOWN[0] if df < 2 else BESIDE_KNOWN[1]
    return min(df * (1 + (share * known / standard) ** 6), MOST_DEGREES)
