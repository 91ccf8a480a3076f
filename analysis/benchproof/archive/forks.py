"""Children of the warm process: kernels, and workers beside them.

`ForkServer` starts `benchproof.archive.forkserver` and asks it; a worker, which is such a child itself, asks the same
process by a channel of its own.
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
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

from benchproof.archive.forkserver import receive, send

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from benchproof.archive.forkserver import Kind

_Child = TypeVar("_Child", "ForkedProcess", Connection)

ONE_THREAD: Final = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Numerical libraries start their threads at import; the warm process must have none beside its own."""

_START_LIMIT: Final = 60.0
_KERNEL: Final = "a forked kernel"

_KEEPS_MEMORY: Final = {"MALLOC_TRIM_THRESHOLD_": "1000000000", "MALLOC_MMAP_THRESHOLD_": "1000000000"}
"""Trials come and go by the megabyte. The C library would hand each back and fetch it again, page by page, which costs
a fifth of the time; other C libraries pass over these names."""

_NO_THREAD: Final = {"JE_ARROW_MALLOC_CONF": "background_thread:false"}
"""The memory allocator inside pyarrow would start a thread at import."""


class CannotForkError(Exception):
    """Kernels cannot be forked here; the message is a sentence for the user."""


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
                raise subprocess.TimeoutExpired(_KERNEL, timeout or 0.0)
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


class Forks:
    """An end of the warm process, to ask it for children.

    Parameters
    ----------
    channel : socket
        Where to ask.
    """

    def __init__(self, channel: socket.socket) -> None:
        self.lock = threading.Lock()
        self.channel = channel

    @property
    def alive(self) -> bool:
        """Whether it can be asked."""
        return self.channel.fileno() >= 0

    def kernel(self, argv: Sequence[str], env: Mapping[str, str], cwd: str, litter: Sequence[str]) -> ForkedProcess:
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
        process, _ = self._child("kernel", argv, env, cwd, litter)
        return process

    def worker(self) -> Connection:
        """Fork a worker; return where it takes steps and answers.

        Raises
        ------
        CannotForkError
            If the warm process has ended.
        """
        process, (steps,) = self._child("worker", (), os.environ, str(Path.cwd()), ())
        os.close(process.watch)  # the connection closes when it ends
        return Connection(steps)

    def remember(self, folder: str) -> None:
        """Have a folder removed if this process is killed."""
        with contextlib.suppress(OSError), self.lock:  # where it has ended, the next order says so
            send(self.channel, {"kind": "none", "litter": [folder]})

    def _child(
        self, kind: Kind, argv: Sequence[str], env: Mapping[str, str], cwd: str, litter: Sequence[str]
    ) -> tuple[ForkedProcess, list[int]]:
        order = {"kind": kind, "argv": list(argv), "env": dict(env), "cwd": cwd, "litter": list(litter)}
        try:
            with self.lock:
                send(self.channel, order)
                received = receive(self.channel, 2)
        except OSError:
            received = None
        if received is None:
            self.stop()
            message = "the warm process has ended"
            raise CannotForkError(message)
        reply, (watch, *more) = received
        return ForkedProcess(reply["pid"], watch), more

    def stop(self) -> None:
        """Ask no more; every child this end asked for is ended."""
        self.channel.close()


class ForkServer(Forks):
    """The owner's end of the warm process, which it starts.

    Parameters
    ----------
    workspace : str
        Folder of the workspace whose lab and rig files it reads ahead; empty where it serves any.

    Raises
    ------
    CannotForkError
        If this system cannot fork safely.
    """

    def __init__(self, workspace: str = "") -> None:
        if not sys.platform.startswith("linux") or not hasattr(os, "pidfd_open"):
            message = "this system cannot fork kernels safely"
            raise CannotForkError(message)
        ours, theirs = socket.socketpair()
        super().__init__(ours)
        with theirs:
            self.process = subprocess.Popen(  # noqa: S603 - our own module in our own interpreter
                [sys.executable, "-m", "benchproof.archive.forkserver", str(theirs.fileno()), workspace],
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                cwd="/",
                env=_KEEPS_MEMORY | _NO_THREAD | os.environ | dict.fromkeys(ONE_THREAD, "1"),
                start_new_session=True,
            )
        self._ready = False

    def await_ready(self) -> None:
        """Wait until it can be asked.

        Raises
        ------
        CannotForkError
            If it did not come up, or cannot be forked safely.
        """
        if self._ready:
            return
        self.channel.settimeout(_START_LIMIT)
        try:
            self._hear_of_it()
        except BaseException:
            self.stop()
            raise
        self.channel.settimeout(None)
        self._ready = True

    def _hear_of_it(self) -> None:
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
        """Whether it can be asked."""
        return super().alive and self.process.poll() is None

    def stop(self) -> None:
        """End it and every child it forked, and wait until they are gone."""
        super().stop()
        if not self._ready:  # it has no child, and would go on importing
            self.process.kill()
        try:
            self.process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


class _Shared:
    """The one warm process of this process, started when it is first needed."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.server: Forks | None = None
        self.note = ""
        self.workspace = ""
        self.litter: set[str] = set()

    def asked(self, request: Callable[[Forks], _Child]) -> _Child | None:
        """Ask it for a child; None where that cannot be, and the note says why."""
        while not self.note:
            try:
                server = self._started()
            except CannotForkError as error:
                self.note = str(error)
            else:
                with contextlib.suppress(CannotForkError):  # it ended since, perhaps for being idle: start another
                    return request(server)
        return None

    def _started(self) -> Forks:
        with self.lock:
            if self.server is not None and not self.server.alive:
                self.server.stop()
                self.server = None
            if self.server is None:
                self.server = ForkServer(self.workspace)
            if isinstance(self.server, ForkServer):
                self.server.await_ready()
            return self.server

    def stop(self) -> None:
        with self.lock:
            if self.server is not None:
                self.server.stop()
            self.server = None
            self.note = self.workspace = ""


_SHARED: Final = _Shared()
atexit.register(_SHARED.stop)


def ask_here(channel: socket.socket) -> None:
    """Ask for children by a channel to another process's warm process, as a worker does."""
    _SHARED.server = Forks(channel)


def begin_warm_process(workspace: str) -> None:
    """Start a warm process, unless there is one, for a workspace (see `warm_for`), and do not wait for it."""
    warm_for(workspace)
    with _SHARED.lock, contextlib.suppress(CannotForkError):  # whoever asks for a child hears why
        _SHARED.server = _SHARED.server or ForkServer(workspace)


def warm_for(workspace: str) -> None:
    """Have the warm process, when it is needed, read a workspace's lab and rig files ahead."""
    _SHARED.workspace = workspace


def forked_kernel(argv: Sequence[str], env: Mapping[str, str], cwd: str) -> ForkedProcess | None:
    """Return a new kernel (see `Forks.kernel`); None where nothing can be forked."""
    litter = tuple(_SHARED.litter)
    return _SHARED.asked(lambda forks: forks.kernel(argv, env, cwd, litter))


def forked_worker() -> Connection | None:
    """Return a connection to a new worker; None where nothing can be forked."""
    return _SHARED.asked(Forks.worker)


def is_warm() -> bool:
    """Say whether there is a warm process to fork from."""
    return _SHARED.server is not None and _SHARED.server.alive


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
    server = _SHARED.server
    if server is not None and server.alive:
        server.remember(folder)
    try:
        yield
    finally:
        _SHARED.litter.discard(folder)
