"""Progress: a bar on a terminal, plain lines elsewhere."""

from __future__ import annotations

import sys
import time
from collections import Counter
from typing import TYPE_CHECKING, Final, Self

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.archive.outcome import Outcome, State

_SAID: Final[dict[State, str]] = {"built": "built", "unchanged": "unchanged", "failed": "FAILED"}


class Progress:
    """Tells of each campaign as it is done.

    Parameters
    ----------
    total : int
        How many campaigns there are.
    quiet : bool
        Say nothing.
    """

    def __init__(self, total: int, *, quiet: bool) -> None:
        self.quiet = quiet
        self.begun = time.monotonic()
        self.console = Console(file=sys.stderr)
        self.bar: Bar | None = None
        if self.console.is_terminal and not quiet:
            columns = (
                TextColumn("[bold]campaigns"),
                BarColumn(),
                MofNCompleteColumn(),
                TimeRemainingColumn(),
            )
            self.bar = Bar(*columns, console=self.console, transient=True)
            self.task = self.bar.add_task("campaigns", total=total)

    def __enter__(self) -> Self:
        if self.bar is not None:
            self.bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self.bar is not None:
            self.bar.stop()

    def note(self, sentence: str) -> None:
        """Say what else the user should know."""
        if not self.quiet:
            self._say(f"note: {sentence}")

    def _say(self, line: str) -> None:
        if self.bar is not None:
            self.console.print(escape(line), highlight=False, soft_wrap=True)
        else:
            sys.stderr.write(f"{line}\n")

    def summary(self, outcomes: Sequence[Outcome]) -> str:
        """Return what became of all of them, and how long it took."""
        counts = Counter(outcome.state for outcome in outcomes)
        said = ", ".join(f"{counts[state]} {word}" for state, word in _SAID.items() if counts[state])
        return f"{said or 'nothing to do'} in {time.monotonic() - self.begun:.1f} s"

    def tell(self, outcome: Outcome) -> None:
        """Say what became of a campaign."""
        if self.quiet:
            return
        count = f", {outcome.warnings} warnings" if outcome.warnings > 1 else ", 1 warning" if outcome.warnings else ""
        lines = [
            f"{outcome.campaign}: {_SAID[outcome.state]}{count}",
            *(f"  {line}" for line in outcome.problems),
        ]
        for line in lines:
            self._say(line)
        if self.bar is not None:
            self.bar.advance(self.task)
