"""Building the preview: run what is stale, assemble what changed, put the new tree in place whole."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING

from benchproof.archive.kept import Kept
from benchproof.archive.lock import sole_use
from benchproof.archive.manifest import read_manifest, write_manifest
from benchproof.archive.reading import Reading
from benchproof.archive.running import TIME_LIMIT, Kernels
from benchproof.archive.schedule import Schedule
from benchproof.archive.scratch import remove_dead_sockets
from benchproof.archive.staleness import index_key, software
from benchproof.archive.steps import Place
from benchproof.archive.tree import Contents, Linking, Placed, contents_of, exchange, heal, link_tree, write_contents
from benchproof.archive.workers import crew
from benchproof.campaign.location import LAB
from benchproof.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from benchproof.archive.outcome import Outcome
    from benchproof.campaign.models.lab import Lab
    from benchproof.campaign.workspace import Workspace


@dataclass(frozen=True, slots=True)
class Manner:
    """How a build works; none of it changes what comes out.

    Parameters
    ----------
    workers : int
        How many notebooks may run at once on this machine.
    scheduler : str or None
        Address of a Dask scheduler whose workers take the place of this machine's.
    recheck : bool
        Read every input and assemble every report, whatever an earlier build saw.
    limit : float
        Seconds a notebook may take.
    kernels : Kernels
        How notebooks get their kernels.
    """

    workers: int = 1
    scheduler: str | None = None
    recheck: bool = False
    limit: float = TIME_LIMIT
    kernels: Kernels = "warm"


@dataclass(frozen=True, slots=True)
class Build:
    """A build of some campaigns of a workspace.

    Parameters
    ----------
    workspace : Workspace
        Where.
    names : tuple of str
        Which campaigns.
    manner : Manner
        How.
    """

    workspace: Workspace
    names: tuple[str, ...]
    manner: Manner = field(default_factory=Manner)

    @property
    def folder(self) -> Path:
        """The workspace's build folder."""
        return self.workspace.root / "build"

    @property
    def preview(self) -> Path:
        """Where the pages are read from."""
        return self.folder / "preview"

    def run(self, tell: Callable[[Outcome], None], note: Callable[[str], None]) -> tuple[Outcome, ...]:
        """Run what is stale, assemble what changed, and put the new preview in place.

        Parameters
        ----------
        tell : callable
            Hears of each campaign's outcome as soon as it is known.
        note : callable
            Hears what else the user should know.

        Returns
        -------
        tuple of Outcome
            One a campaign, by name. A failing campaign keeps its last good report and stops no other.

        Raises
        ------
        InputError
            If the lab file cannot be used.
        RequestError
            If another build is at work, or the cluster asked for is not there.
        """
        with sole_use(self.folder, "build"):
            lab = self.workspace.lab()
            self._tidy()
            fresh = Path(mkdtemp(prefix=f".{self.preview.name}-", dir=self.folder))
            try:
                return self._run(lab, fresh, tell, note)
            finally:
                shutil.rmtree(fresh, ignore_errors=True)
                shutil.rmtree(self.folder / "scratch", ignore_errors=True)

    def _tidy(self) -> None:
        """Remove what killed builds left behind; nothing of a living one can be there."""
        heal(self.preview)
        shutil.rmtree(self.folder / "scratch", ignore_errors=True)
        for unfinished in (self.folder / "kept").glob("*.new"):
            unfinished.unlink(missing_ok=True)
        remove_dead_sockets()

    def _run(
        self, lab: Lab, fresh: Path, tell: Callable[[Outcome], None], note: Callable[[str], None]
    ) -> tuple[Outcome, ...]:
        earlier = contents_of(self.preview)
        reading = self._reading()
        place = Place(str(self.workspace.root), reading.software, self.manner.kernels, self.manner.limit)
        reports = {} if self.manner.recheck else earlier.reports
        (fresh / "reports").mkdir()
        linking = Linking(self.preview / "reports", fresh / "reports")
        try:
            with crew(place, self.manner.workers, self.manner.scheduler) as found:
                schedule = Schedule(place, found, reading, reports, fresh / "reports", linking)
                outcomes = schedule.run(self.names, tell, note)
        finally:
            linking.stop()
        self._put_in_place(
            lab, fresh, earlier, schedule.placed, index_key(reading.digests.of(LAB)), assembled=schedule.assembled
        )
        write_manifest(self._manifest, reading.manifest())
        return tuple(sorted(outcomes, key=lambda outcome: outcome.campaign))

    @property
    def _manifest(self) -> Path:
        return Kept(self.folder / "kept").manifest

    def _reading(self) -> Reading:
        found = read_manifest(self._manifest)
        return Reading(self.workspace, found, software(), recheck=self.manner.recheck)

    def _put_in_place(
        self, lab: Lab, fresh: Path, earlier: Contents, placed: Mapping[str, Placed], index: str, *, assembled: bool
    ) -> None:
        """Put the new tree in place, unless it would be the earlier one again."""
        reports = {**dict(self._last_good(earlier)), **placed}
        contents = Contents(index, dict(sorted(reports.items())))
        if contents == earlier and not assembled:
            return
        from benchproof.report.site import assemble_index  # a build that changes nothing has no use for it

        for name in contents.reports:
            target = fresh / "reports" / name
            if not target.exists():
                link_tree(self.preview / "reports" / name, target)
        assemble_index(fresh, lab, [each.row for each in contents.reports.values()], preview=True)
        write_contents(fresh, contents)
        exchange(fresh, self.preview)

    def _last_good(self, earlier: Contents) -> Iterator[tuple[str, Placed]]:
        """Yield the earlier report of every campaign that still exists."""
        reports = self.preview / "reports"
        existing = set(self.workspace.campaign_names())
        for folder in sorted(reports.iterdir()) if reports.is_dir() else ():
            if folder.name in existing:
                found = earlier.reports.get(folder.name) or _read(folder)
                if found is not None:
                    yield folder.name, found


def _read(folder: Path) -> Placed | None:
    """Return what an earlier report shows, where the tree does not say; None if it cannot be read."""
    from benchproof.report.page import index_row
    from benchproof.report.site import read_report

    try:
        collected = read_report(folder)
    except InputError:
        return None
    return Placed("", len(collected.results.warnings), index_row(collected))
