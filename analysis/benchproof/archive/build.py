"""Building the preview: run what is stale, assemble every report, put the new tree in place whole."""

from __future__ import annotations

import shutil
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, Any

from benchproof.archive.kept import Kept
from benchproof.archive.outcome import Outcome
from benchproof.archive.running import Run, execute, scratch_workspace
from benchproof.archive.staleness import run_key
from benchproof.archive.tree import exchange, heal
from benchproof.errors import BenchproofError, RequestError
from benchproof.methods import registry

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from benchproof.campaign.check import Checked
    from benchproof.campaign.workspace import Workspace


@dataclass(frozen=True, slots=True)
class Build:
    """A build of some campaigns of a workspace.

    Parameters
    ----------
    workspace : Workspace
        Where.
    names : tuple of str
        Which campaigns, sorted.
    workers : int
        How many notebooks may run at once.
    """

    workspace: Workspace
    names: tuple[str, ...]
    workers: int

    @property
    def folder(self) -> Path:
        """The workspace's build folder."""
        return self.workspace.root / "build"

    def run(self, tell: Callable[[Outcome], None]) -> tuple[Outcome, ...]:
        """Run what is stale, assemble, and put the new preview in place.

        Parameters
        ----------
        tell : callable
            Hears of each campaign's outcome when it is known.

        Returns
        -------
        tuple of Outcome
            One a campaign, by name. A failing campaign keeps its last good report and stops no other.
        """
        from benchproof.report.site import assemble_index

        preview = self.folder / "preview"
        heal(preview)
        self.folder.mkdir(parents=True, exist_ok=True)
        fresh = Path(mkdtemp(prefix="new-preview-", dir=self.folder))
        try:
            outcomes = self._reports(fresh, tell)
            self._carry_over(preview, fresh, outcomes)
            assemble_index(fresh, self.workspace.lab(), preview=True)
            exchange(fresh, preview)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
        return outcomes
