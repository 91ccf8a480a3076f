"""Repeats of one test on one sample, and what other tests of the same sample came to."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any, Final, Protocol

import numpy as np

from benchproof.errors import Remark
from benchproof.methods.records import NO_POINT
from benchproof.trials.quantity import Quantity, combine, mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from benchproof.methods.bench import Bench
    from benchproof.methods.method import Method
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


class Giving(Protocol):
    """A method whose figures go into those of other tests."""

    METHOD: Method

    def gather(self, test: Any, bench: Bench) -> Any:
        """Return one test as typed input."""

    def figures_of(self, inputs: Sequence[Any], bench: Bench) -> tuple[tuple[Figure, ...], tuple[Remark, ...]]:
        """Return the figures of all tests of the kind, without charts and tables, and remarks on them."""


def figures_from(module: Giving, sample: str, bench: Bench) -> tuple[Figure, ...]:
    """Return the figures that another test gives of the same sample; none where the campaign has no such test of it.

    They are the figures that test publishes, repeats combined, drawn from the same trials; so what both tests share
    stays correlated in whatever is made of them.

    Parameters
    ----------
    module : module
        The other test's method.
    sample : str
        The sample.
    bench : Bench
        The campaign.
    """
    inputs = [module.gather(test, bench) for test in bench.tests(module.METHOD.key) if test.sample == sample]
    return module.figures_of(inputs, bench)[0] if inputs else ()


def named(figures: Iterable[Figure], name: str, at: Mapping[str, str] = NO_POINT) -> Figure | None:
    """Return a figure by its name and operating point; None where there is none."""
    return next((figure for figure in figures if figure.name == name and dict(figure.at) == dict(at)), None)


def figure_of(module: Giving, name: str, sample: str, bench: Bench, at: Mapping[str, str] = NO_POINT) -> Figure | None:
    """Return one of the figures that another test gives of the same sample; see :func:`figures_from`."""
    return named(figures_from(module, sample, bench), name, at)
