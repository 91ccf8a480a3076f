"""Kernels forked from a warm process, behind jupyter_client's own interface for starting them.

papermill and nbclient stay as they are: they ask jupyter_client for a kernel, and this provisioner, registered in
the entry point group ``jupyter_client.kernel_provisioners``, forks one where it can and starts one where it cannot.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import select
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from jupyter_client.provisioning.local_provisioner import LocalProvisioner

from benchproof.archive.forkserver import receive, send

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from jupyter_client.connect import KernelConnectionInfo

NAME: Final = "benchproof-warm"
"""The provisioner's name, as a kernel specification or ``JUPYTER_DEFAULT_PROVISIONER_NAME`` gives it."""

ONE_THREAD: Final = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Numerical libraries start their threads at import; the warm process must have none beside its own."""

_START_LIMIT: Final = 60.0
_LAUNCHER: Final = "ipykernel_launcher"


class CannotForkError(Exception):
    """Kernels cannot be forked here; the message is a sentence for the user."""


_KEEPS_MEMORY: Final = {"MALLOC_TRIM_THRESHOLD_": "1000000000", "MALLOC_MMAP_THRESHOLD_": "1000000000"}
"""Trials come and go by the megabyte. The C library would hand each back and fetch it again, page by page, which costs
a fifth of the time; other C libraries pass over these names."""


class ForkedProcess:
    """A forked kernel, with as much of `subprocess.Popen` as a local provisioner uses.

    Parameters
    ----------
    pid : int
        Its process.
    watch : int
        An open process descriptor: it never stands for another process that was given the same number later.
    """

    stdin = stdout = stderr = None

    def __init__(self, pid: int, watch: int) -> None:
        self.pid = pid
        self.watch = watch
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """Return None while it runs; its exit status is its parent's to know, so 0 stands for any end."""
        if self.returncode is None and select.select([self.watch], [], [], 0)[0]:
            self._ended()
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Wait for its end.

        Raises
        ------
        subprocess.TimeoutExpired
            If it still runs after that many seconds.
        """
        if self.returncode is None:
            if not select.select([self.watch], [], [], timeout)[0]:
                raise subprocess.TimeoutExpired(_LAUNCHER, timeout or 0.0)
            self._ended()
        return 0

    def _ended(self) -> None:
        self.returncode = 0
        os.close(self.watch)

    def send_signal(self, signum: int) -> None:
        """Send it a signal, unless it has ended."""
        if self.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                signal.pidfd_send_signal(self.watch, signum)

    def kill(self) -> None:
        """Kill it."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)


class ForkServer:
    """The owner's end of the warm process.

    Raises
    ------
    CannotForkError
        If this system cannot fork safely, or the process did not come up.
    """

    def __init__(self) -> None:
        if not sys.platform.startswith("linux") or not hasattr(os, "pidfd_open"):
            message = "this system cannot fork kernels safely"
            raise CannotForkError(message)
        self.lock = threading.Lock()
        self.channel, theirs = socket.socketpair()
        with theirs:
            self.process = subprocess.Popen(  # noqa: S603 - our own module in our own interpreter
                [sys.executable, "-m", "benchproof.archive.forkserver", str(theirs.fileno())],
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                cwd="/",
                env=_KEEPS_MEMORY | os.environ | dict.fromkeys(ONE_THREAD, "1"),
                start_new_session=True,
            )
        self.channel.settimeout(_START_LIMIT)
        try:
            self._await_ready()
        except BaseException:
            self.stop()
            raise
        self.channel.settimeout(None)

    def _await_ready(self) -> None:
        try:
            received = receive(self.channel)
        except TimeoutError:
            received = None
        if received is None:
            message = "the warm process did not start"
            raise CannotForkError(message)
        if (count := received[0]["threads"]) != 1:
            message = f"the warm process has {count} threads, and only one can be forked safely"
            raise CannotForkError(message)

    @property
    def alive(self) -> bool:
        """Whether it can be asked for a kernel."""
        return self.process.poll() is None

    def spawn(self, argv: Sequence[str], env: Mapping[str, str], cwd: str, litter: Sequence[str]) -> ForkedProcess:
        """Fork a kernel.

        Parameters
        ----------
        argv : sequence of str
            Its arguments, as ipykernel's launcher takes them.
        env : Mapping of str to str
            Its whole environment.
        cwd : str
            Its working folder, absolute.
        litter : sequence of str
            Folders to remove if this process is killed.

        Raises
        ------
        CannotForkError
            If the warm process has ended.
        """
        order = {"argv": list(argv), "env": dict(env), "cwd": cwd, "litter": list(litter)}
        try:
            with self.lock:
                send(self.channel, order)
                received = receive(self.channel, 1)
        except OSError:
            received = None
        if received is None:
            self.process.kill()
            self.process.wait()
            message = "the warm process has ended"
            raise CannotForkError(message)
        reply, files = received
        return ForkedProcess(reply["pid"], files[0])

    def stop(self) -> None:
        """End it and every kernel it forked, and wait until they are gone."""
        self.channel.close()
        try:
            self.process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


class _Shared:
    """The one warm process of this process, started when it is first needed."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.server: ForkServer | None = None
        self.note = ""
        self.litter: set[str] = set()

    def spawn(self, argv: Sequence[str], env: Mapping[str, str], cwd: str) -> ForkedProcess | None:
        """Fork a kernel; None where that cannot be, and the note says why."""
        while not self.note:
            try:
                server = self._started()
            except CannotForkError as error:
                self.note = str(error)
            else:
                with contextlib.suppress(CannotForkError):  # it ended since, perhaps for being idle: start another
                    return server.spawn(argv, env, cwd, tuple(self.litter))
        return None

    def _started(self) -> ForkServer:
        with self.lock:
            if self.server is not None and not self.server.alive:
                self.server.stop()
                self.server = None
            if self.server is None:
                self.server = ForkServer()
            return self.server

    def stop(self) -> None:
        with self.lock:
            if self.server is not None:
                self.server.stop()
            self.server = None
            self.note = ""


_SHARED: Final = _Shared()
atexit.register(_SHARED.stop)


def stop_warm_process() -> None:
    """End this process's warm process, if there is one."""
    _SHARED.stop()


def why_not_warm() -> str:
    """Return why kernels are started one by one instead of forked; empty where they are forked."""
    return _SHARED.note


@contextlib.contextmanager
def removed_if_killed(folder: str) -> Iterator[None]:
    """Have a folder removed by the warm process if this process is killed while the body runs."""
    _SHARED.litter.add(folder)
    try:
        yield
    finally:
        _SHARED.litter.discard(folder)


class WarmProvisioner(LocalProvisioner):
    """Forks kernels from a warm process; starts them as usual where that cannot be."""

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> KernelConnectionInfo:
        """Fork a kernel, or start one.

        A command that is not this interpreter's own ipykernel is started as usual.
        """
        argv, folder = _kernel_arguments(cmd), Path(kwargs.get("cwd") or "").absolute()
        process = None if argv is None else _SHARED.spawn(argv, kwargs.get("env") or os.environ, str(folder))
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
