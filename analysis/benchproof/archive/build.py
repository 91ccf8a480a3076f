"""Building the preview: run what is stale, assemble every report, put the new tree in place whole."""

from __future__ import annotations

import shutil
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, as_completed, wait
from dataclasses import dataclass
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, Literal

from benchproof.archive.kept import Kept
from benchproof.archive.outcome import Outcome
from benchproof.archive.running import Run, execute, scratch_workspace
from benchproof.archive.second_pass import referred_to, second_pass
from benchproof.archive.staleness import run_key
from benchproof.archive.tree import exchange, heal, link_tree
from benchproof.campaign.check import check_campaign
from benchproof.errors import BenchproofError, InputError, unforeseen
from benchproof.methods import built_tests, known_choices, registry
from benchproof.report.site import assemble_index, assemble_report, read_report

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from benchproof.archive.outcome import State
    from benchproof.campaign.check import Checked
    from benchproof.campaign.workspace import Workspace
    from benchproof.report.collect import Collected


@dataclass(frozen=True, slots=True)
class First:
    """What the first pass made of one campaign; its notebook and figures are kept on disk.

    Parameters
    ----------
    campaign : str
        The campaign.
    state : State
        As its outcome will say.
    refers_to : frozenset of str
        Campaigns it is compared with.
    problems : tuple of str
        What went wrong, a line each.
    """

    campaign: str
    state: State
    refers_to: frozenset[str] = frozenset()
    problems: tuple[str, ...] = ()


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

    @property
    def kept(self) -> Kept:
        """Executed notebooks of this and earlier builds."""
        return Kept(self.folder / "kept")

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
        """Run every notebook that is asked for or referred to, then assemble what is asked for."""
        with ThreadPoolExecutor(max_workers=self.workers) as pool:
            first = self._first_pass(pool)
            waiting = {pool.submit(self._report, first[name], fresh) for name in self.names}
            for done in as_completed(waiting):
                tell(done.result())
                yield done.result()

    def _first_pass(self, pool: ThreadPoolExecutor) -> dict[str, First]:
        """Run what is stale, of the campaigns asked for and of those they refer to."""
        known = frozenset(self.workspace.campaign_names())
        begun = set(self.names)
        waiting = {pool.submit(self._first, name, known) for name in self.names}
        found: dict[str, First] = {}
        while waiting:
            ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for each in (future.result() for future in ready):
                found[each.campaign] = each
                more = each.refers_to - begun
                begun |= more
                waiting |= {pool.submit(self._first, name, known) for name in more}
        return found

    def _first(self, name: str, known: frozenset[str]) -> First:
        """Run one campaign's notebook where it is stale; say what went wrong instead of raising."""
        try:
            checked = self._checked(name)
            state = self._notebook(checked)
        except Exception as error:  # noqa: BLE001 - one campaign must not stop the others
            return First(name, "failed", problems=_problems(name, error))
        return First(name, state, referred_to(checked.campaign, known) - {name})

    def _notebook(self, checked: Checked) -> Literal["built", "unchanged"]:
        """Keep a campaign's executed notebook: the earlier one where nothing it depends on has changed."""
        name = checked.campaign.campaign
        key = run_key(checked.inputs, checked.values)
        if self.kept.holds(name, key):
            return "unchanged"
        present = frozenset(test.test for test in checked.campaign.tests if test.exclude is None)
        run = Run(name, checked.campaign.kind, checked.values, present & set(registry()))
        with scratch_workspace(self.workspace.root, self.folder / "scratch", checked.inputs) as scratch:
            done = execute(run, scratch, self.folder / "failed")
        self.kept.keep(name, key, done.notebook, done.trials)
        (self.folder / "failed" / f"{name}.ipynb").unlink(missing_ok=True)
        return "built"

    def _report(self, first: First, fresh: Path) -> Outcome:
        """Write one campaign's report; say what went wrong instead of raising."""
        if first.state == "failed":
            return Outcome(first.campaign, "failed", first.problems)
        target = fresh / "reports" / first.campaign
        try:
            collected = self._assembled(first.campaign, target)
        except Exception as error:  # noqa: BLE001 - one campaign must not stop the others
            shutil.rmtree(target, ignore_errors=True)
            return Outcome(first.campaign, "failed", _problems(first.campaign, error))
        return Outcome(first.campaign, first.state, warnings=len(collected.results.warnings))

    def _checked(self, name: str) -> Checked:
        """Return the campaign's files, judged; its logs are judged where they are read, in the notebook."""
        return check_campaign(
            self.workspace, name, built_tests=built_tests(), known_choices=known_choices(), logs=False
        )

    def _assembled(self, name: str, target: Path) -> Collected:
        checked = self._checked(name)
        inside = f"{checked.folder}/"
        declared = [path.removeprefix(inside) for path in checked.inputs if path.startswith(inside)]
        folder = self.workspace.root / checked.folder
        addition = second_pass(checked, self.kept)
        notebook = self.kept.notebook(name)
        return assemble_report(target, notebook, folder, declared, preview=True, claims=addition.claims)

    def _carry_over(self, preview: Path, fresh: Path) -> None:
        """Keep the last good report of every campaign that was not built this time and still exists."""
        existing = set(self.workspace.campaign_names())
        earlier = sorted((preview / "reports").iterdir()) if (preview / "reports").is_dir() else []
        for report in earlier:
            target = fresh / "reports" / report.name
            if report.name in existing and not target.exists() and _readable(report):
                link_tree(report, target)


def _problems(name: str, error: Exception) -> tuple[str, ...]:
    """Return what went wrong with a campaign, a line each."""
    if isinstance(error, BenchproofError):
        return tuple(str(error).splitlines())
    if isinstance(error, OSError):
        return (f"{name}: a file could not be read or written: {error.strerror or error}; check the disk",)
    return (unforeseen(name, error),)  # a mistake of ours


def _readable(report: Path) -> bool:
    try:
        read_report(report)
    except InputError:
        return False
    return True
