"""Running a campaign's notebook with papermill, in a scratch workspace, to bytes that depend on nothing else."""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import os
import shutil
import warnings
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp
from typing import TYPE_CHECKING, Any, Final

import nbformat

from benchproof.archive.notebook_files import notebook_path
from benchproof.errors import NotebookFailed

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

START_TIMEOUT: Final = 120
"""Seconds a kernel may take to answer; many may be starting at once."""

_KEPT_CELL_METADATA: Final = ("tags", "benchproof")
_HANDED_OUT: Final = "handed-out"
_TRIALS: Final = "application/vnd.benchproof.trials+json"


@contextlib.contextmanager
def scratch_workspace(root: Path, parent: Path, declared: Mapping[str, str]) -> Iterator[Path]:
    """Make a workspace that holds only declared files; it is gone afterwards.

    Parameters
    ----------
    root : Path
        The workspace.
    parent : Path
        Folder on the same file system to make it in.
    declared : Mapping of str to str
        Files by path relative to the workspace.

    Yields
    ------
    Path
        The scratch workspace. An undeclared input is not in it, so using one fails instead of going unnoticed.
    """
    parent.mkdir(parents=True, exist_ok=True)
    folder = Path(mkdtemp(prefix="scratch-", dir=parent))
    try:
        for name in declared:
            target = folder / "workspace" / name
            target.parent.mkdir(parents=True, exist_ok=True)
            _link(root / name, target)
        yield folder / "workspace"
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _link(source: Path, target: Path) -> None:
    """Give a file a second name; copy it where the file system has no links."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)


@dataclass(frozen=True, slots=True)
class Run:
    """One campaign's notebook to run.

    Parameters
    ----------
    campaign : str
        The campaign.
    kind : str
        Its notebook.
    parameters : Mapping
        The campaign file's values, as papermill would read them.
    sections : frozenset of str
        Tests the campaign has; cells of other sections are left out.
    """

    campaign: str
    kind: str
    parameters: Mapping[str, Any]
    sections: frozenset[str]


@dataclass(frozen=True, slots=True)
class Executed:
    """What came of a run.

    Parameters
    ----------
    notebook : dict
        The executed notebook, without times, paths and random names.
    trials : dict
        The figures' trials (see :mod:`benchproof.findings.stored`), handed out by a cell that no reader sees.
    """

    notebook: dict[str, Any]
    trials: dict[str, Any]


def execute(run: Run, workspace: Path, failed: Path) -> Executed:
    """Run a campaign's notebook in a workspace.

    Parameters
    ----------
    run : Run
        What to run.
    workspace : Path
        The scratch workspace; the kernel's working folder.
    failed : Path
        Where the notebook is kept, as far as it ran, if a cell fails.

    Returns
    -------
    Executed
        The notebook and its figures' trials.

    Raises
    ------
    NotebookFailed
        If a cell raised, or the kernel did not start or died.
    """
    import papermill

    from benchproof.archive.kernels import CleanKernelManager, local_sockets

    source = workspace.parent / f"{run.kind}.ipynb"
    target = workspace.parent / "executed.ipynb"
    source.write_text(nbformat.writes(_with_handing_out(prepared(run))), encoding="utf-8")
    try:
        with _quiet(), TemporaryDirectory(prefix="benchproof-") as sockets:
            papermill.execute_notebook(
                str(source),
                str(target),
                parameters=dict(run.parameters),
                kernel_name="python3",
                progress_bar=False,
                start_timeout=START_TIMEOUT,
                record_timing=False,
                kernel_manager_class=CleanKernelManager,
                config=local_sockets(sockets),
                resources={"metadata": {"path": str(workspace)}},
            )
    except Exception as error:
        raise _failure(run, error, target, failed) from error
    notebook: dict[str, Any] = json.loads(target.read_text(encoding="utf-8"))
    trials = _taken_out(notebook)
    return Executed(cleaned(notebook, run.parameters), trials)


def _with_handing_out(notebook: nbformat.NotebookNode) -> nbformat.NotebookNode:
    """Add a cell that shows the figures' trials, which are for the build and not for the page."""
    cell = nbformat.v4.new_code_cell("bench.trials()", metadata={"tags": [_HANDED_OUT]})
    notebook.cells.append(cell)
    return notebook


def _taken_out(notebook: dict[str, Any]) -> dict[str, Any]:
    """Take that cell out of the executed notebook and return what it showed."""
    cell = notebook["cells"].pop()
    record: dict[str, Any] = cell["outputs"][0]["data"][_TRIALS]
    return record


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep what the notebook machinery says to itself; what matters comes back as an error."""
    for name in ("papermill", "traitlets", "asyncio"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def _failure(run: Run, error: Exception, target: Path, failed: Path) -> NotebookFailed:
    """Return what went wrong in one line, with the cell's name; keep the notebook as far as it ran."""
    where = failed / f"{run.campaign}.ipynb"
    kept = "nothing, the kernel never ran"
    if target.exists():
        failed.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(target, where)
        kept = f"build/failed/{where.name}"
    name, value = getattr(error, "ename", type(error).__name__), getattr(error, "evalue", str(error))
    index = getattr(error, "cell_index", None)
    return NotebookFailed(run.campaign, _cell_name(target, index), f"{name}: {value}", kept)


def _cell_name(target: Path, index: int | None) -> str:
    if index is None or not target.exists():
        return "the kernel"
    cells = json.loads(target.read_text(encoding="utf-8"))["cells"]
    broken = [k for k, cell in enumerate(cells) if _raised(cell)]
    place = broken[0] if broken else index
    return f"cell {cells[place].get('id', place)!r} (number {place + 1})"


def _raised(cell: Mapping[str, Any]) -> bool:
    return any(output.get("output_type") == "error" for output in cell.get("outputs", ()))


def prepared(run: Run) -> nbformat.NotebookNode:
    """Return the installed notebook without the sections of tests the campaign does not have."""
    notebook: nbformat.NotebookNode = nbformat.read(notebook_path(run.kind), as_version=4)
    notebook.cells = [cell for cell in notebook.cells if _section(cell) in run.sections | {None}]
    return notebook


def _section(cell: Mapping[str, Any]) -> str | None:
    section = cell["metadata"].get("benchproof", {}).get("section")
    return None if section is None else str(section)


def cleaned(notebook: dict[str, Any], parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Return an executed notebook without times, paths and random names, so that equal runs are equal bytes."""
    notebook["metadata"] = {
        "kernelspec": notebook["metadata"]["kernelspec"],
        "language_info": {"name": "python"},
    }
    digest = hashlib.sha256(json.dumps(parameters, sort_keys=True).encode()).hexdigest()
    for cell in notebook["cells"]:
        if "injected-parameters" in cell["metadata"].get("tags", ()):
            cell["id"] = f"parameters-{digest[:12]}"
        cell["metadata"] = {k: v for k, v in cell["metadata"].items() if k in _KEPT_CELL_METADATA}
        if cell["cell_type"] == "code":
            cell["outputs"] = [output for output in cell["outputs"] if output["output_type"] != "stream"]
    return notebook
