"""Repeats of one test on one sample, and what other tests of the same sample came to."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.records import NO_POINT
from benchproof.trials.quantity import Quantity, combine, mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.methods import MethodModule
    from benchproof.methods.bench import Bench
    from benchproof.methods.records import Figure

AGREE: Final = 0.9973
"""Repeats disagree where this coverage interval of their difference does not hold zero; three sigma, were it normal."""


def combined(name: str, sample: str, repeats: Sequence[Quantity]) -> tuple[Quantity, tuple[Remark, ...]]:
    """Return the mean of a sample's repeats, and a remark where they disagree."""
    return mean(*repeats), tuple(_disagreement(name, sample, repeats))


def _disagreement(name: str, sample: str, repeats: Sequence[Quantity]) -> Iterator[Remark]:
    for one, other in combinations(repeats, 2):
        apart = combine(np.subtract, one, other)
        low, high = apart.interval(AGREE)
        if low < high and not low <= 0 <= high:
            sentence = (
                f"repeats of {name} differ by {abs(apart.value / one.value):.2%}, more than stated errors and scatter "
                "allow; look at temperature, contacts and supply"
            )
            yield Remark("repeats_disagree", f"sample {sample}", sentence)
            return


def figure_of(
    module: MethodModule, name: str, sample: str, bench: Bench, at: Mapping[str, str] = NO_POINT
) -> Figure | None:
    """Return a figure that another test gives of the same sample.

    It is the figure that test publishes, repeats combined, drawn from the same trials; so what both tests share stays
    correlated in whatever is made of it.

    Parameters
    ----------
    module : module
        The other test's method.
    name : str
        The figure.
    sample : str
        The sample.
    bench : Bench
        The campaign.
    at : Mapping of str to str
        Operating point of the figure.

    Returns
    -------
    Figure or None
        None where the campaign has no such test of the sample.
    """
    inputs = [module.gather(test, bench) for test in bench.tests(module.METHOD.key) if test.sample == sample]
    if not inputs:
        return None
    figures = module.reduce(inputs, bench).figures
    return next((figure for figure in figures if figure.name == name and dict(figure.at) == dict(at)), None)
