"""Where a workspace is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from benchproof.errors import RequestError

if TYPE_CHECKING:
    from pathlib import Path

LAB: Final = "runs/lab.yaml"


def workspace_root(start: Path) -> Path:
    """Return the workspace around a folder: the nearest parent with ``runs/lab.yaml``.

    Raises
    ------
    RequestError
        If there is none.
    """
    here = start.absolute()
    for folder in (here, *here.parents):
        if (folder / LAB).is_file():
            return folder
    message = f"no {LAB} in {here} or above it; name the workspace with --workspace, or make that file"
    raise RequestError(message)
