"""What became of each campaign of a build."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

State = Literal["built", "unchanged", "failed"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """One campaign's result.

    Parameters
    ----------
    campaign : str
        The campaign.
    state : State
        ``built``: its notebook ran; ``unchanged``: nothing it depends on changed, so its notebook was not run again;
        ``failed``: see problems, its last good report stays.
    problems : tuple of str
        What went wrong, a line each.
    warnings : int
        Warnings its page carries.
    """

    campaign: str
    state: State
    problems: tuple[str, ...] = ()
    warnings: int = 0

    def record(self) -> dict[str, Any]:
        """Return the outcome as plain data for ``--json``."""
        return asdict(self)


def exit_code(outcomes: Sequence[Outcome]) -> int:
    """Return 0 where all went well, 1 where part failed, 2 where every campaign did."""
    failed = sum(outcome.state == "failed" for outcome in outcomes)
    if not failed:
        return 0
    return 2 if failed == len(outcomes) else 1
