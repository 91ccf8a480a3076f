"""Kernels of our own: over local sockets, with no file of the user's read at their start."""

from __future__ import annotations

import os
from pathlib import Path
from subprocess import DEVNULL
from typing import Any

from jupyter_client.manager import AsyncKernelManager
from traitlets.config import Config


def local_sockets(folder: str) -> Config:
    """Return the configuration of a kernel that talks over sockets in a folder of its own.

    Local sockets take no ports: many kernels can start at once without two of them meeting on one. The folder's
    path must be short (a socket's is limited to some hundred characters) and absolute (the kernel works elsewhere).
    """
    return Config({"KernelManager": {"transport": "ipc", "ip": f"{folder}/kernel"}})


class CleanKernelManager(AsyncKernelManager):
    """An ordinary kernel that runs nothing from the user's own IPython folder.

    A user's start-up files must not change a figure, and a build must leave no history behind.
    """

    async def _async_pre_start_kernel(self, **kw: Any) -> tuple[list[str], dict[str, Any]]:
        environment = dict(kw.pop("env", None) or os.environ)
        environment["IPYTHONDIR"] = str(Path(kw["cwd"]).parent / "ipython")
        environment.pop("PYTHONSTARTUP", None)
        # What a cell prints comes back as a message; what the kernel itself says is for nobody.
        kw |= {"stdout": DEVNULL, "stderr": DEVNULL}
        command, keywords = await super()._async_pre_start_kernel(env=environment, **kw)
        return command, keywords
