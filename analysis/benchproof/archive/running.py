"""Running a campaign's notebook with papermill, in a scratch workspace, to bytes that depend on nothing else."""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import shutil
import time
import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, Literal

from benchproof.archive.notebook_files import notebook_path
from benchproof.archive.scratch import socket_folder
from benchproof.errors import NotebookFailed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

    from nbformat import NotebookNode

START_TIMEOUT: Final = 120
"""Seconds a kernel may take to answer; many may be starting at once."""

TIME_LIMIT: Final = 1800.0
"""Seconds a campaign's notebook may take, where nothing else is asked for."""

Kernels = Literal["warm", "plain"]

_KEPT_CELL_METADATA: Final = ("tags", "benchproof")
_TRIALS: Final = "trials"
_HAND_OUT: Final = f"""\
import pathlib
pathlib.Path("../{_TRIALS}").write_bytes(bench.trials())
"""


def chosen_kernels(environment: Mapping[str, str]) -> Kernels:
    """Return how notebooks get their kernels: forked, unless ``BENCHPROOF_KERNELS=plain`` asks for plain ones."""
    return "plain" if environment.get("BENCHPROOF_KERNELS") == "plain" else "warm"


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
    kernels : Kernels
        ``warm``: forked from a process that has imported what notebooks use; ``plain``: started anew. The figures
        are the same.
    limit : float
        Seconds it may take.
    notebook : Path, optional
        A notebook to run in place of the installed one.
    """

    campaign: str
    kind: str
    parameters: Mapping[str, Any]
    sections: frozenset[str]
    kernels: Kernels = "warm"
    limit: float = TIME_LIMIT
    notebook: Path | None = None


@dataclass(frozen=True, slots=True)
class Executed:
    """What came of a run.

    Parameters
    ----------
    notebook : dict
        The executed notebook, without times, paths and random names.
    trials : bytes
        The figures' trials (see :mod:`benchproof.findings.stored`), handed out by a cell that no reader
        sees.
    """

    notebook: dict[str, Any]
    trials: bytes


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
        If a cell raised, the kernel did not start or died, or it took too long.
    """
    from nbclient.exceptions import CellTimeoutError

    source = workspace.parent / f"{run.kind}.ipynb"
    target = workspace.parent / "executed.ipynb"
    installed = run.notebook or notebook_path(run.kind)
    source.write_bytes(_to_run(installed, installed.stat().st_mtime_ns, run.sections))
    try:
        handed = _papermill(run, source, target, workspace)
    except CellTimeoutError:
        sentence = f"it took longer than the limit of {run.limit:g} s; --time-limit SECONDS gives it more"
        raise NotebookFailed(run.campaign, "the notebook", sentence, "nothing, it was stopped") from None
    except Exception as error:
        raise _failure(run, error, target, failed) from error
    del handed["cells"][-1]
    trials = (workspace.parent / _TRIALS).read_bytes()
    return Executed(cleaned(handed, run.parameters), trials)


def _papermill(run: Run, source: Path, target: Path, workspace: Path) -> dict[str, Any]:
    import papermill

    from benchproof.archive import engine
    from benchproof.archive.kernels import CleanKernelManager, WarmKernelManager, local_sockets

    handed: list[NotebookNode] = []
    with _quiet(), _closed_loop(), socket_folder() as sockets:
        papermill.execute_notebook(
            str(source),
            str(target),
            parameters=dict(run.parameters),
            engine_name=engine.NAME,
            handed=handed,
            kernel_name="python3",
            progress_bar=False,
            request_save_on_cell_execute=False,  # it would write the whole notebook twice a cell
            start_timeout=START_TIMEOUT,
            record_timing=False,
            kernel_manager_class=WarmKernelManager if run.kernels == "warm" else CleanKernelManager,
            config=local_sockets(sockets),
            resources={"metadata": {"path": str(workspace)}},
            timeout_func=_remaining(run.limit),
            shutdown_kernel="immediate",  # nothing in a finished kernel is worth a polite end
        )
    return engine.as_written(handed[0])


def _remaining(limit: float) -> Callable[[object], int]:
    """Return a function that gives each cell what is left of the notebook's time."""
    end = time.monotonic() + limit
    return lambda _cell: max(1, round(end - time.monotonic()))


@lru_cache(maxsize=16)
def _to_run(installed: Path, _stamp: int, sections: frozenset[str]) -> bytes:
    """Return a notebook to run, with a cell that hands out the figures' trials, which are not for the page."""
    import nbformat

    notebook = _of_sections(installed, sections)
    notebook.cells.append(nbformat.v4.new_code_cell(_HAND_OUT, metadata={"tags": ["handed-out"]}))
    return str(nbformat.writes(notebook)).encode()


@contextlib.contextmanager
def _closed_loop() -> Iterator[None]:
    """Close the event loop that the notebook machinery makes for a thread and never closes."""
    from jupyter_core.utils import ensure_event_loop

    try:
        yield
    finally:
        ensure_event_loop().close()


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


def prepared(run: Run) -> NotebookNode:
    """Return the installed notebook without the sections of tests the campaign does not have."""
    return _of_sections(run.notebook or notebook_path(run.kind), run.sections)


def _of_sections(installed: Path, sections: frozenset[str]) -> NotebookNode:
    import nbformat

    notebook: NotebookNode = nbformat.read(installed, as_version=4)
    notebook.cells = [cell for cell in notebook.cells if _section(cell) in sections | {None}]
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
