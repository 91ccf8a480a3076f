"""The kernels of this process, so that an interrupted build can end them at once."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from benchproof.archive.kernels import CleanKernelManager


class _Running:
    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.managers: set[CleanKernelManager] = set()
        self.closed = False


RUNNING: Final = _Running()
"""The managers of kernels that run, and whether any more may start."""


def open_kernels() -> None:
    """Let kernels start again after `end_kernels`."""
    RUNNING.closed = False


def end_kernels() -> None:
    """Kill every kernel of this process with all it started, and let none start any more."""
    RUNNING.closed = True
    with RUNNING.lock:
        running = tuple(RUNNING.managers)
    for manager in running:
        group = getattr(manager.provisioner, "pgid", None)
        if group and manager.has_kernel:
            with contextlib.suppress(OSError):
                os.killpg(group, signal.SIGKILL)
