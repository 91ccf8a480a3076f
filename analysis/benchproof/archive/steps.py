"""The two steps of a campaign: its notebook run and kept, its report assembled.

Both are plain functions of plain data and of the workspace on disk, so that any worker that sees the workspace can
carry them out, on this machine or another. Carried out twice, they leave the same behind.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Literal

from benchproof.archive.forks import why_not_warm
from benchproof.archive.kept import Kept
from benchproof.archive.manifest import Digests
from benchproof.archive.running import TIME_LIMIT, Kernels, Run, execute
from benchproof.archive.scratch import scratch_workspace
from benchproof.archive.staleness import run_key, software
from benchproof.campaign.location import LAB
from benchproof.campaign.workspace import Workspace
from benchproof.errors import BenchproofError, Fault, InputError, RequestError, unforeseen

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.archive.manifest import Stamp
    from benchproof.campaign.checked import Checked, CheckedComparison
    from benchproof.findings.archive import Glance, Traits
    from benchproof.report.views import IndexRow


@dataclass(frozen=True, slots=True)
class Place:
    """Where and how a build's steps are carried out.

    Parameters
    ----------
    root : str
        The workspace's folder, absolute, the same for every worker.
    software : str
        Digest of the software that asks; a worker with another would make other figures.
    kernels : Kernels
        How notebooks get their kernels.
    limit : float
        Seconds a notebook may take.
    """

    root: str
    software: str
    kernels: Kernels = "warm"
    limit: float = TIME_LIMIT

    @property
    def workspace(self) -> Workspace:
        """The workspace."""
        return Workspace(Path(self.root))

    @property
    def build(self) -> Path:
        """The workspace's build folder."""
        return Path(self.root) / "build"

    @property
    def kept(self) -> Kept:
        """Executed notebooks of this and earlier builds."""
        return Kept(self.build / "kept")


@dataclass(frozen=True, slots=True)
class First:
    """What the first step made of one campaign; its notebook and figures are kept on disk.

    Parameters
    ----------
    campaign : str
        The campaign.
    state : str
        As its outcome will say.
    key : str
        Its run key; empty where it failed.
    refers_to : tuple of str
        Campaigns that its claims and quotes name, sorted.
    compares : tuple of str
        The campaigns of a comparison, in its order.
    traits : Traits or None
        What it tells the archive; None where it is no motor campaign.
    stamps : Mapping of str to Stamp
        The files it declares, as they were digested.
    problems : tuple of str
        What went wrong, a line each.
    note : str
        What the user should know about how it ran.
    """

    campaign: str
    state: Literal["built", "unchanged", "failed"]
    key: str = ""
    refers_to: tuple[str, ...] = ()
    compares: tuple[str, ...] = ()
    traits: Traits | None = None
    stamps: Mapping[str, Stamp] = field(default_factory=dict)
    problems: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Second:
    """What the second step made of one campaign: a report on disk, or problems.

    Parameters
    ----------
    campaign : str
        The campaign.
    warnings : int
        Warnings its page carries.
    row : IndexRow or None
        Its row in the list of reports; None where it failed.
    problems : tuple of str
        What went wrong, a line each.
    """

    campaign: str
    warnings: int = 0
    row: IndexRow | None = None
    problems: tuple[str, ...] = ()


def run_step(place: Place, name: str) -> First:
    """Run one campaign's notebook where it is stale, and keep it; say what went wrong instead of raising."""
    # A build that runs nothing needs none of these.
    from benchproof.archive.assembling import checked_files
    from benchproof.archive.second_pass import looked_at, traits_in

    try:
        _refuse_strangers(place)
        checked = checked_files(place.workspace, name)
        digests = Digests(Path(place.root), {})
        inputs = digests.by_file(checked.files())
        key = run_key(inputs, checked.values)
        state, results = _notebook(place, checked, inputs, key)
        others = looked_at(place.workspace, checked.campaign) - {name}
        traits = traits_in(results, checked)
    except Exception as error:  # noqa: BLE001 - one campaign must not stop the others
        return First(name, "failed", problems=problems_of(name, error), note=why_not_warm())
    compares = checked.campaign.campaigns
    return First(name, state, key, tuple(sorted(others)), compares, traits, digests.stamps, note=why_not_warm())


def is_stale(place: Place, name: str) -> bool:
    """Say whether a campaign's notebook must run; what cannot be judged is left to the step itself to tell."""
    if not place.kept.has(name):
        return True
    from benchproof.archive.assembling import checked_files

    try:
        checked = checked_files(place.workspace, name)
        inputs = Digests(Path(place.root), {}).by_file(checked.files())
        return not place.kept.whole(name, run_key(inputs, checked.values))
    except (BenchproofError, OSError):
        return False


def assemble_step(place: Place, name: str, target: str, glance: Glance) -> Second:
    """Write one campaign's report into a folder that is not there yet; say what went wrong instead of raising."""
    from benchproof.archive.assembling import previewed

    scratch = place.build / "scratch"
    try:
        scratch.mkdir(exist_ok=True)
        with TemporaryDirectory(prefix="report-", dir=scratch) as made:
            collected, row = previewed(place.workspace, place.kept, name, glance, Path(made) / name)
            shutil.rmtree(target, ignore_errors=True)  # of a worker that was lost after it
            (Path(made) / name).rename(target)
    except Exception as error:  # noqa: BLE001 - one campaign must not stop the others
        return Second(name, problems=problems_of(name, error))
    return Second(name, len(collected.results.warnings), row)


def beside(name: str) -> tuple[str, ...]:
    """Return the files that a campaign's page shows and its notebook does not read, relative to the workspace."""
    return (f"runs/{name}/record.jsonl",)


def problems_of(name: str, error: Exception) -> tuple[str, ...]:
    """Return what went wrong with a campaign, a line each."""
    if isinstance(error, BenchproofError):
        return tuple(str(error).splitlines())
    if isinstance(error, OSError):
        return (f"{name}: a file could not be read or written: {error.strerror or error}; check the disk",)
    return (unforeseen(name, error),)  # a mistake of ours


def _refuse_strangers(place: Place) -> None:
    """Refuse to work where the workspace cannot be seen, or with software other than the build's."""
    if not (Path(place.root) / LAB).is_file():
        message = f"worker {os.uname().nodename} finds no {place.root}/{LAB}; workers need the workspace at that path"
        raise RequestError(message)
    if software() != place.software:
        message = (
            f"worker {os.uname().nodename} has other software than this machine and would make other figures; "
            "install the same packages there, and start it again"
        )
        raise RequestError(message)


def _notebook(
    place: Place, checked: Checked | CheckedComparison, inputs: Mapping[str, str], key: str
) -> tuple[Literal["built", "unchanged"], Mapping[str, Any]]:
    """Keep a campaign's executed notebook, the earlier one where nothing has changed, and tell its results."""
    from benchproof.report.collect import results_of

    name = checked.campaign.campaign
    if place.kept.whole(name, key):
        return "unchanged", results_of(place.kept.notebook(name))
    run = Run(name, checked.campaign.kind, checked.values, checked.sections, place.kernels, place.limit)
    failed = place.build / "failed"
    with scratch_workspace(Path(place.root), place.build / "scratch", inputs) as scratch:
        done = execute(run, scratch, failed)
    results = results_of(done.notebook)
    _refuse_changed(inputs, results)
    place.kept.keep(name, key, done.notebook, done.trials)
    (failed / f"{name}.ipynb").unlink(missing_ok=True)
    return "built", results


def _refuse_changed(inputs: Mapping[str, str], results: Mapping[str, Any]) -> None:
    """Refuse figures of a file that was changed after it was digested."""
    for file, digest in results["inputs"].items():
        if inputs.get(file, digest) != digest:
            remedy = "Build again."
            raise InputError(Fault(file, "", "a file that changed during the build", "one that stays", remedy))
