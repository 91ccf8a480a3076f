"""What every method says about itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchproof.campaign.units import UnitError, read_measured

if TYPE_CHECKING:
    from benchproof.campaign.spellings import Dimension


@dataclass(frozen=True, slots=True)
class Choice:
    """An analysis choice a campaign may override under ``choices:``.

    Parameters
    ----------
    name : str
        Key in the campaign file.
    default : str
        What is used when the campaign says nothing.
    meaning : str
        What it changes, in one sentence.
    allowed : tuple of str
        The values it may take; empty for a quantity.
    dimension : Dimension or None
        Dimension of a quantity; None for a closed list.
    """

    name: str
    default: str
    meaning: str
    allowed: tuple[str, ...] = ()
    dimension: Dimension | None = None

    def expected(self, value: str) -> str:
        """Return what the value should be, or nothing where it is right."""
        if self.dimension is None:
            return "" if value in self.allowed else f"one of {', '.join(self.allowed)} ({self.meaning})"
        try:
            read_measured(value, self.dimension)
        except UnitError as error:
            return f"{error.expected} ({self.meaning})"
        return ""


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of a method's history."""

    version: str
    note: str


@dataclass(frozen=True, slots=True)
class Method:
    """Description of a method.

    Parameters
    ----------
    key : str
        Name of the test in campaign files, and of the module.
    version : str
        Changes whenever a figure may change.
    title : str
        Heading on pages.
    summary : str
        What is done, for a reader who knows motors.
    equations : tuple of str
        The equations used, one a line, in plain text.
    sources : tuple of str
        Where they come from; remembered ones say so.
    history : tuple of Change
        Newest first; the first is the current version.
    choices : tuple of Choice
        What a campaign may change.
    cautions : tuple of str
        Keys of the cautions that belong to the test.
    order : int
        Place on the page.
    """

    key: str
    version: str
    title: str
    summary: str
    sources: tuple[str, ...]
    history: tuple[Change, ...]
    order: int
    equations: tuple[str, ...] = ()
    choices: tuple[Choice, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        """Return ``key/version``, as results print it."""
        return f"{self.key}/{self.version}"
