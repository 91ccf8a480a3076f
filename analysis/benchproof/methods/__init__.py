"""One module a test: physics and statistics, arrays in, quantities and curves out.

A module here that has a ``METHOD`` is a method; nothing else registers it.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from benchproof.methods.bench import Bench
    from benchproof.methods.method import Method
    from benchproof.methods.records import Reduction


class MethodModule(Protocol):
    """The face every method module has."""

    METHOD: Method

    def gather(self, test: Any, bench: Bench) -> Any:
        """Return one test as typed input: arrays, instruments, where and when."""

    def reduce(self, inputs: Sequence[Any], bench: Bench) -> Reduction:
        """Return what all tests of the kind come to."""


@cache
def registry() -> dict[str, MethodModule]:
    """Return the methods by key, in page order."""
    modules = [import_module(f"{__name__}.{found.name}") for found in iter_modules(__path__)]
    methods = [module for module in modules if hasattr(module, "METHOD")]
    return {module.METHOD.key: module for module in sorted(methods, key=lambda each: each.METHOD.order)}


def built_tests() -> tuple[str, ...]:
    """Return the tests that have a method."""
    return tuple(registry())


def known_choices() -> dict[str, Callable[[str], str]]:
    """Return the analysis choices of all methods; each takes a value and returns what it should be, or nothing."""
    return {choice.name: choice.expected for module in registry().values() for choice in module.METHOD.choices}
