"""Progress: a bar on a terminal, plain lines elsewhere."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Self

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

if TYPE_CHECKING:
    from benchproof.archive.outcome import Outcome

_SAID = {"built": "built", "unchanged": "unchanged", "failed": "FAILED"}


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
            if self.bar is not None:
                self.console.print(escape(line), highlight=False, soft_wrap=True)
            else:
                sys.stderr.write(f"{line}\n")
        if self.bar is not None:
            self.bar.advance(self.task)
