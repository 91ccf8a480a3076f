"""A validator's complaint, before it knows its file and line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pydantic_core import PydanticCustomError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from benchproof.campaign.yaml import Step

CUSTOM: str = "benchproof"
"""Type of our own errors among pydantic's."""


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a field, seen from the model that checks it.

    Parameters
    ----------
    found, expected, remedy : str
        As in `benchproof.errors.Fault`.
    inside : tuple
        Path from the checked model down to the field.
    """

    found: str
    expected: str
    remedy: str
    inside: tuple[Step, ...] = ()

    def under(self, *above: Step) -> Problem:
        """Return the problem as seen from a model further up."""
        return replace(self, inside=(*above, *self.inside))


def refuse(problems: Iterable[Problem]) -> None:
    """Raise one pydantic error that carries all the problems; do nothing if there are none.

    Raises
    ------
    PydanticCustomError
        If there is a problem.
    """
    found = tuple(problems)
    if found:
        raise PydanticCustomError(CUSTOM, "not usable", {"problems": found})
