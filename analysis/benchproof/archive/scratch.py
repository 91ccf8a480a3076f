"""Folders that live as long as a run: the scratch workspace a notebook works in, and its sockets.

A killed process cannot remove its own. Its warm process does where there is one; what is left after that, the next
build removes.
"""

from __future__ import annotations

import contextlib
import fcntl
import shutil
import tempfile
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, Final

from benchproof.archive.forks import removed_if_killed

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_SOCKETS: Final = "benchproof-sockets-"
_ALIVE: Final = "alive"

LONGEST: Final = 60
"""Longest path in which sockets can lie: with folder and name theirs must stay under some hundred characters."""


@contextlib.contextmanager
def scratch_workspace(root: Path, parent: Path, declared: Mapping[str, str]) -> Iterator[Path]:
    """Make a workspace that holds only declared files; it is gone afterwards.

    Parameters
    ----------
    root : Path
        The workspace.
    parent : Path
        Folder to make it in.
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
        with removed_if_killed(str(folder)):
            for name in declared:
                target = folder / "workspace" / name
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(root / name, target)  # a link would let a cell write into the lab's own file
            yield folder / "workspace"
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextlib.contextmanager
def socket_folder() -> Iterator[str]:
    """Make a folder for a kernel's sockets that only this user can enter; it is gone afterwards.

    A lock on a file in it says that its maker lives.
    """
    folder = Path(mkdtemp(prefix=_SOCKETS, dir=_short()))
    try:
        with removed_if_killed(str(folder)), (folder / _ALIVE).open("w") as alive:
            fcntl.flock(alive, fcntl.LOCK_EX)
            yield str(folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _short() -> str:
    """Return where sockets go: the folder for temporary files, or the system's own where that has too long a path."""
    usual = tempfile.gettempdir()
    return usual if len(usual) <= LONGEST else "/tmp"  # noqa: S108 - mkdtemp makes a folder that is this user's alone


def remove_dead_sockets() -> None:
    """Remove socket folders of this user whose makers were killed."""
    for folder in Path(_short()).glob(f"{_SOCKETS}*"):
        with contextlib.suppress(OSError), (folder / _ALIVE).open() as alive:
            fcntl.flock(alive, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(folder, ignore_errors=True)
