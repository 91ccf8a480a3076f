"""Errors with place and remedy, and warnings as data.

::

    BenchproofError
    +-- BundleRefused(ValueError)     a bundle cannot be unpacked safely, or is damaged
    +-- InputError(ValueError)        something a person wrote cannot be used; carries every fault found
    +-- MethodError(ValueError)       a method was given data it cannot reduce
    +-- NotebookFailed(RuntimeError)  a cell of a campaign's notebook raised
    +-- RequestError(ValueError)      the command itself asks for something that is not there
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with an input, and what to do about it.

    Parameters
    ----------
    file : str
        The file, relative to the workspace.
    place : str
        The field (``tests[2].readings[0]``), column or row inside the file; empty for the file as a whole.
    found : str
        What stands there, shortened.
    expected : str
        What should stand there, with a right spelling.
    remedy : str
        What to do.
    line : int or None
        Line number counted from 1, where the file has lines.
    """

    file: str
    place: str
    found: str
    expected: str
    remedy: str
    line: int | None = None

    def __str__(self) -> str:
        """Return the fault as one sentence a person can act on."""
        where = self.file if self.line is None else f"{self.file}:{self.line}"
        field = f": {self.place}" if self.place else ""
        return f"{where}{field}: found {self.found}; expected {self.expected}. {self.remedy}"


class BenchproofError(Exception):
    """Base of every error the tool raises on purpose."""


class InputError(BenchproofError, ValueError):
    """Something a person wrote cannot be used.

    Parameters
    ----------
    *faults : Fault
        All the faults found, in the order of the file.
    """

    def __init__(self, *faults: Fault) -> None:
        super().__init__(*faults)
        self.faults = faults

    def __str__(self) -> str:
        """Return one line a fault."""
        return "\n".join(str(fault) for fault in self.faults)


class MethodError(BenchproofError, ValueError):
    """A method was given data it cannot reduce.

    Parameters
    ----------
    where : str
        The log or test.
    message : str
        What is missing and what to do.
    """

    def __init__(self, where: str, message: str) -> None:
        super().__init__(where, message)
        self.where = where
        self.message = message

    def __str__(self) -> str:
        """Return place and message."""
        return f"{self.where}: {self.message}"


class NotebookFailed(BenchproofError, RuntimeError):  # noqa: N818 - it says what happened
    """A cell of a campaign's notebook raised.

    Parameters
    ----------
    campaign : str
        The campaign whose notebook failed.
    cell : str
        The cell, by section and number.
    error : str
        The name and text of what was raised, one line.
    kept : str
        Where the failed notebook is kept, relative to the workspace.
    """

    def __init__(self, campaign: str, cell: str, error: str, kept: str) -> None:
        super().__init__(campaign, cell, error, kept)
        self.campaign = campaign
        self.cell = cell
        self.error = error
        self.kept = kept

    def __str__(self) -> str:
        """Return the cell, the error and where to look."""
        return f"{self.campaign}: {self.cell} failed: {self.error}. The notebook as far as it ran: {self.kept}"


class BundleRefused(BenchproofError, ValueError):  # noqa: N818 - it says what happened
    """A bundle cannot be unpacked safely, or is damaged.

    Parameters
    ----------
    *reasons : str
        What is wrong with it, a sentence each.
    """

    def __init__(self, *reasons: str) -> None:
        super().__init__(*reasons)
        self.reasons = reasons

    def __str__(self) -> str:
        """Return one line a reason."""
        return "\n".join(self.reasons)


class RequestError(BenchproofError, ValueError):
    """The command asks for something that is not there."""


def unforeseen(where: str, error: Exception) -> str:
    """Return a sentence for an error nobody thought of: a mistake of ours, not of the reader's."""
    said = " ".join(str(error).split())[:200]
    return (
        f"{where}: something unforeseen happened ({type(error).__name__}: {said}). This is a mistake in benchproof, "
        "not in your files; please report it with the campaign's files."
    )


@dataclass(frozen=True, slots=True)
class Remark:
    """A warning as data: it travels with the figures and is printed on the page.

    Parameters
    ----------
    code : str
        A short fixed name, ``like_this``.
    where : str
        The log, test or field it concerns.
    message : str
        A sentence for the reader.
    """

    code: str
    where: str
    message: str
