"""Kernels forked from a warm process, behind jupyter_client's own interface for starting them.

papermill and nbclient stay as they are: they ask jupyter_client for a kernel, and this provisioner, registered in
the entry point group ``jupyter_client.kernel_provisioners``, forks one where it can and starts one where it cannot.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from jupyter_client.provisioning.local_provisioner import LocalProvisioner

from benchproof.archive.forks import forked_kernel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jupyter_client.connect import KernelConnectionInfo

NAME: Final = "benchproof-warm"
"""The provisioner's name, as a kernel specification or ``JUPYTER_DEFAULT_PROVISIONER_NAME`` gives it."""

_LAUNCHER: Final = "ipykernel_launcher"


class WarmProvisioner(LocalProvisioner):
    """Forks kernels from a warm process; starts them as usual where that cannot be."""

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> KernelConnectionInfo:
        """Fork a kernel, or start one.

        A command that is not this interpreter's own ipykernel is started as usual.
        """
        argv, folder = _kernel_arguments(cmd), Path(kwargs.get("cwd") or "").absolute()
        process = None if argv is None else forked_kernel(argv, kwargs.get("env") or os.environ, str(folder))
        if process is None:
            return await super().launch_kernel(cmd, **kwargs)
        self.process: Any = process
        self.pid: Any = process.pid
        self.pgid: Any = process.pid
        self.cwd: Any = folder
        return self.connection_info


def _kernel_arguments(command: Sequence[str]) -> Sequence[str] | None:
    """Return what follows the launcher in a command that starts this interpreter's ipykernel."""
    if command[0] != sys.executable or _LAUNCHER not in command:
        return None
    return command[command.index(_LAUNCHER) + 1 :]
