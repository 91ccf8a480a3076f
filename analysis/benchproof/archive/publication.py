"""What became of each campaign of a publication, and the words that go with it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from benchproof.archive.outcome import Outcome
from benchproof.errors import RequestError

if TYPE_CHECKING:
    from benchproof.report.changes import Changes

State = Literal["published", "revised", "unchanged", "withdrawn", "failed"]

LONGEST_REASON: Final = 2000
_TOLD: Final = 5


@dataclass(frozen=True, slots=True)
class Publication:
    """What became of one campaign.

    Parameters
    ----------
    campaign : str
        The campaign.
    state : State
        ``published``: for the first time, or again after it was withdrawn; ``revised``: a revision was added;
        ``unchanged``: figures and words are those of the last revision; ``withdrawn``; ``failed``: see problems.
    revision : int or None
        Number of the revision that is in force.
    said : str
        What changed, in short.
    problems : tuple of str
        What went wrong, a line each.
    """

    campaign: str
    state: State
    revision: int | None = None
    said: str = ""
    problems: tuple[str, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """The publication as an outcome, for the exit code."""
        return Outcome(self.campaign, "failed" if self.state == "failed" else "unchanged", self.problems)

    def record(self) -> dict[str, Any]:
        """Return it as plain data for ``--json``."""
        return asdict(self)


def usable_reason(reason: str) -> str:
    """Return a reason as one line.

    Raises
    ------
    RequestError
        If there is nothing in it, or what no page can print.
    """
    line = " ".join(reason.split())
    if not line:
        message = 'a revision needs a reason that readers can understand: -m "what was wrong and what was done"'
        raise RequestError(message)
    if len(line) > LONGEST_REASON or not line.isprintable():
        message = f"the reason must be at most {LONGEST_REASON} printable characters"
        raise RequestError(message)
    return line


def summary(found: Changes) -> str:
    """Return what changed in one line: verdicts first."""
    told = [f"“{flip.say}” {flip.old or 'new'} to {flip.new or 'gone'}" for flip in found.flips[:_TOLD]]
    count = len(found.pairs)
    told += [f"{count} figures changed" if count > 1 else "1 figure changed"] if count else []
    told += ["comparisons in the text"] if found.compared else []
    told += ["what the whole archive tells"] if found.archive else []
    told += [f"words: {', '.join(found.words)}"] if found.words else []
    return "; ".join([*told, *found.made_by[:_TOLD]])
