"""Starting the warm process before it is asked for, while the build itself is still being imported."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.archive.forks import begin_warm_process
from benchproof.archive.kept import Kept
from benchproof.archive.staleness import software

if TYPE_CHECKING:
    from pathlib import Path

_INPUTS = ("*/campaign.yaml", "lab.yaml", "rigs/*/rig.yaml")


def warm_ahead(root: Path) -> None:
    """Start the warm process where a notebook will run by all appearances; a wrong guess costs time alone.

    Parameters
    ----------
    root : Path
        The workspace's folder.
    """
    if _looks_stale(root):
        begin_warm_process(str(root))


def _looks_stale(root: Path) -> bool:
    """Say whether nothing was built before, or with other software, or a file was written since."""
    manifest = Kept(root / "build" / "kept").manifest
    try:
        with manifest.open("rb") as stream:
            head = stream.read(200)
        since = manifest.stat().st_mtime_ns
        written = [path.stat().st_mtime_ns for inputs in _INPUTS for path in (root / "runs").glob(inputs)]
    except OSError:
        return True
    return software().encode() not in head or max(written, default=0) > since
