"""Figures of the campaign's other tests, for a method that cannot do without them.

They are reduced anew from the same readings under the same names of error sources, so what is borrowed shares its
draws with what the other test publishes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.methods import registry

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.methods.bench import Bench
    from benchproof.methods.records import Figure
    from benchproof.trials.quantity import Quantity


def figures(bench: Bench, key: str) -> tuple[Figure, ...]:
    """Return the figures of all tests of one kind; none where the campaign has no such test that counts."""
    module, tests = registry().get(key), bench.tests(key)
    if module is None or not tests:
        return ()
    return module.reduce([module.gather(test, bench) for test in tests], bench).figures


def figure(found: tuple[Figure, ...], name: str, sample: str, at: Mapping[str, str] | None = None) -> Quantity | None:
    """Return a sample's figure by name and operating point; None where there is none or it is withheld."""
    wanted = dict(at or {})
    for each in found:
        if each.name == name and each.sample == sample and dict(each.at) == wanted:
            return each.quantity
    return None
