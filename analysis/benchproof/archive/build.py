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
from benchproof.archive.tree import exchange, heal, link_tree
from benchproof.campaign.check import check_campaign
from benchproof.errors import BenchproofError, InputError, unforeseen
from benchproof.methods import built_tests, known_choices, registry
from benchproof.report.site import assemble_index, assemble_report, read_report

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from benchproof.campaign.check import Checked
    from benchproof.campaign.workspace import Workspace
    from benchproof.report.collect import Collected


@dataclass(frozen=True, slots=True)
class Build:
    """A build of some campaigns of a workspace.

    Parameters
    ----------
    workspace : Workspace
        Where.
    names : tuple of str
        Which campaigns.
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
            Hears of each campaign's outcome as soon as it is known.

        Returns
        -------
        tuple of Outcome
            One a campaign, by name. A failing campaign keeps its last good report and stops no other.

        Raises
        ------
        InputError
            If the lab file cannot be used.
        """
        lab = self.workspace.lab()
        preview = self.folder / "preview"
        self.folder.mkdir(parents=True, exist_ok=True)
        heal(preview)
        fresh = Path(mkdtemp(prefix=".preview-", dir=self.folder))
        try:
            (fresh / "reports").mkdir()
            outcomes = tuple(sorted(self._reports(fresh, tell), key=lambda outcome: outcome.campaign))
            self._carry_over(preview, fresh)
            listed = [read_report(path) for path in sorted((fresh / "reports").iterdir())]
            assemble_index(fresh, lab, listed, preview=True)
            exchange(fresh, preview)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
            shutil.rmtree(self.folder / "scratch", ignore_errors=True)
        return outcomes

    def _reports(self, fresh: Path, tell: Callable[[Outcome], None]) -> Iterator[Outcome]:
        with ThreadPoolExecutor(max_workers=self.workers) as pool:
            waiting = {pool.submit(self._report, name, fresh) for name in self.names}
            for done in as_completed(waiting):
                tell(done.result())
                yield done.result()

    def _report(self, name: str, fresh: Path) -> Outcome:
        """Run one campaign where it is stale and write its report; say what went wrong instead of raising."""
        target = fresh / "reports" / name
        try:
            notebook, state = self._notebook(name)
            collected = self._assembled(name, notebook, target)
        except BenchproofError as error:
            shutil.rmtree(target, ignore_errors=True)
            return Outcome(name, "failed", tuple(str(error).splitlines()))
        except OSError as error:
            shutil.rmtree(target, ignore_errors=True)
            sentence = f"{name}: a file could not be read or written: {error.strerror or error}; check the disk"
            return Outcome(name, "failed", (sentence,))
        except Exception as error:  # noqa: BLE001 - a mistake of ours in one campaign must not stop the others
            shutil.rmtree(target, ignore_errors=True)
            return Outcome(name, "failed", (unforeseen(name, error),))
        return Outcome(name, state, warnings=len(collected.results.warnings))

    def _notebook(self, name: str) -> tuple[dict[str, Any], Any]:
        """Return a campaign's executed notebook: the kept one where nothing it depends on has changed."""
        checked = self._checked(name)
        kept = Kept(self.folder / "kept")
        key = run_key(checked.inputs, checked.values)
        found = kept.find(name, key)
        if found is not None:
            return found, "unchanged"
        present = frozenset(test.test for test in checked.campaign.tests if test.exclude is None)
        run = Run(name, checked.campaign.kind, checked.values, present & set(registry()))
        with scratch_workspace(self.workspace.root, self.folder / "scratch", checked.inputs) as scratch:
            notebook = execute(run, scratch, self.folder / "failed")
        kept.keep(name, key, notebook)
        (self.folder / "failed" / f"{name}.ipynb").unlink(missing_ok=True)
        return notebook, "built"

    def _checked(self, name: str) -> Checked:
        """Return the campaign's files, judged; its logs are judged where they are read, in the notebook."""
        return check_campaign(
            self.workspace, name, built_tests=built_tests(), known_choices=known_choices(), logs=False
        )

    def _assembled(self, name: str, notebook: dict[str, Any], target: Path) -> Collected:
        checked = self._checked(name)
        inside = f"{checked.folder}/"
        declared = [path.removeprefix(inside) for path in checked.inputs if path.startswith(inside)]
        folder = self.workspace.root / checked.folder
        return assemble_report(target, notebook, folder, declared, preview=True)

    def _carry_over(self, preview: Path, fresh: Path) -> None:
        """Keep the last good report of every campaign that was not built this time and still exists."""
        existing = set(self.workspace.campaign_names())
        earlier = sorted((preview / "reports").iterdir()) if (preview / "reports").is_dir() else []
        for report in earlier:
            target = fresh / "reports" / report.name
            if report.name in existing and not target.exists() and _readable(report):
                link_tree(report, target)


def _readable(report: Path) -> bool:
    try:
        read_report(report)
    except InputError:
        return False
    return True
