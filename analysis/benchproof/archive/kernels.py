"""Kernels of our own: over local sockets, with no file of the user's read at their start, and no waiting on a clock."""

from __future__ import annotations

import asyncio
import os
import time
from importlib.metadata import EntryPoint
from pathlib import Path
from queue import Empty
from subprocess import DEVNULL
from typing import Any, Final

import zmq.asyncio
from jupyter_client.asynchronous.client import AsyncKernelClient
from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning.factory import KernelProvisionerFactory
from traitlets import default
from traitlets.config import Config

from benchproof.archive import warm
from benchproof.archive.running_kernels import RUNNING
from benchproof.archive.streams import PromptStream

_POLL: Final = 0.003
_SILENCE: Final = 0.02
"""Seconds after which a kernel is asked again: what it said before this client had subscribed is lost."""

_RETRY: Final = 2
"""Milliseconds after which a socket of the client tries again to reach a kernel that is still starting; usually 100."""

_OPTIONS: Final = (
    "--HistoryManager.enabled=False",
    "--Kernel._execute_sleep=0",
    f"--IPKernelApp.outstream_class={PromptStream.__module__}.{PromptStream.__name__}",
    "--IPKernelApp.capture_fd_output=False",
)
"""No history is left behind. No half millisecond is slept before each answer: this client waits for the outputs. What
is printed costs nothing where nothing is, and what is written to the process's own outputs is for nobody."""

_GROUP: Final = KernelProvisionerFactory.GROUP_NAME


def local_sockets(folder: str) -> Config:
    """Return the configuration of a kernel that talks over sockets in a folder of its own.

    Local sockets take no ports: many kernels can start at once without two of them meeting on one. The folder's
    path must be short (a socket's is limited to some hundred characters) and absolute (the kernel works elsewhere).
    """
    return Config({"KernelManager": {"transport": "ipc", "ip": f"{folder}/kernel"}})


class PromptClient(AsyncKernelClient):
    """A client that goes on as soon as the kernel has answered.

    The library's own waits 0.2 s for a silence after the answer; here the kernel's word that it is idle again after
    that very question ends the wait, and nothing can follow it.
    """

    @default("context")
    def _context_default(self) -> zmq.asyncio.Context:
        self._created_context = True
        context = zmq.asyncio.Context()
        context.setsockopt(zmq.RECONNECT_IVL, _RETRY)
        return context

    async def _async_wait_for_ready(self, timeout: float | None = None) -> None:
        limit = float("inf") if timeout is None else time.monotonic() + timeout
        while time.monotonic() < limit:
            if await self._answers(self.kernel_info()):
                return
            if not await self._async_is_alive():
                message = "Kernel died before replying to kernel_info"
                raise RuntimeError(message)
        message = f"Kernel didn't respond in {timeout:.0f} seconds"
        raise RuntimeError(message)

    wait_for_ready = _async_wait_for_ready

    async def _answers(self, question: str) -> bool:
        try:
            reply = await self.shell_channel.get_msg(timeout=1)
            while not _is_idle_after(question, await self.iopub_channel.get_msg(timeout=_SILENCE)):
                pass
        except Empty:
            return False
        if reply["msg_type"] == "kernel_info_reply":
            self._handle_kernel_info_reply(reply)
        return True


def _is_idle_after(question: str, message: dict[str, Any]) -> bool:
    about = message["parent_header"].get("msg_id")
    return bool(about == question and message["content"].get("execution_state") == "idle")


class CleanKernelManager(AsyncKernelManager):
    """Starts kernels that run nothing from the user's own IPython folder, without waiting where nothing is to wait for.

    A user's start-up files must not change a figure, and a build must leave no history behind.
    """

    client_factory = PromptClient

    async def _async_pre_start_kernel(self, **kw: Any) -> tuple[list[str], dict[str, Any]]:
        environment = dict(kw.pop("env", None) or os.environ)
        environment["IPYTHONDIR"] = str(Path(kw["cwd"]).parent / "ipython")
        environment.pop("PYTHONSTARTUP", None)
        # What a cell prints comes back as a message; what the kernel itself says is for nobody.
        kw |= {"stdout": DEVNULL, "stderr": DEVNULL}
        command, keywords = await super()._async_pre_start_kernel(env=environment, **kw)
        return [*command, *_OPTIONS], keywords

    pre_start_kernel = _async_pre_start_kernel

    async def _async_launch_kernel(self, kernel_cmd: list[str], **kw: Any) -> None:
        with RUNNING.lock:
            if RUNNING.closed:
                message = "the build was interrupted"
                raise RuntimeError(message)
            RUNNING.managers.add(self)
        await super()._async_launch_kernel(kernel_cmd, **kw)
        if RUNNING.closed:
            await self._async_kill_kernel()

    async def _async_cleanup_resources(self, restart: bool = False) -> None:
        RUNNING.managers.discard(self)
        await super()._async_cleanup_resources(restart=restart)

    cleanup_resources = _async_cleanup_resources

    async def _async_wait(self, pollinterval: float = _POLL) -> None:
        while await self._async_is_alive():
            await asyncio.sleep(min(pollinterval, _POLL))


class WarmKernelManager(CleanKernelManager):
    """The same, with kernels forked from the warm process."""

    async def _async_pre_start_kernel(self, **kw: Any) -> tuple[list[str], dict[str, Any]]:
        provisioner = f"{warm.__name__}:{warm.WarmProvisioner.__name__}"
        # The entry point of the installed package; also where the package runs from its sources.
        KernelProvisionerFactory.instance().provisioners.setdefault(
            warm.NAME, EntryPoint(warm.NAME, provisioner, _GROUP)
        )
        if self.kernel_spec is not None:
            self.kernel_spec.metadata["kernel_provisioner"] = {"provisioner_name": warm.NAME, "config": {}}
        return await super()._async_pre_start_kernel(**kw)

    pre_start_kernel = _async_pre_start_kernel
