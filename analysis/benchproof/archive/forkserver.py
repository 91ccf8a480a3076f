"""The warm process: it has imported what notebooks use, and forks into a kernel whenever its owner asks.

Run as ``python -m benchproof.archive.forkserver FD`` with one end of a socket pair; `benchproof.archive.warm` is the
other end. The process has one thread, no event loop and no messaging context, so that forking it is safe; each
child becomes an ordinary ipykernel with a state of its own. When the owner's end closes, also because the owner was
killed, every kernel is killed, what the owner would have cleaned up is removed, and the process ends.
"""

from __future__ import annotations

import ctypes
import gc
import importlib
import json
import os
import random
import select
import shutil
import signal
import socket
import struct
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

IDLE_LIMIT: Final = 60.0
"""Seconds without a kernel and without a request after which the process ends by itself."""

_IMPORTED: Final = (
    "ipykernel.kernelapp",
    "ipykernel.ipkernel",
    # What a kernel imports when it starts or is first asked something.
    *("ipykernel.debugger", "IPython.core.completerlib", "IPython.core.logger", "IPython.extensions.storemagic"),
    *("importlib.resources.readers", "sqlite3", "stringprep", "tornado.platform.asyncio", "tornado.queues"),
    "benchproof.notebooks.session",
    "benchproof.notebooks.comparing",
)

_LENGTH: Final = struct.Struct("!I")
_PR_SET_PDEATHSIG: Final = 1


def send(channel: socket.socket, message: Mapping[str, Any], *descriptors: int) -> None:
    """Send a message, with open files where given."""
    data = json.dumps(message).encode()
    channel.sendall(_LENGTH.pack(len(data)))
    if descriptors:
        # A message that carries files fits a socket's buffer many times over, so it goes out in one piece.
        socket.send_fds(channel, [data], list(descriptors))
    else:
        channel.sendall(data)


def receive(channel: socket.socket, descriptors: int = 0) -> tuple[dict[str, Any], list[int]] | None:
    """Return the next message and the files it carries; None where the other end is closed."""
    head = _exactly(channel, _LENGTH.size)
    if head is None:
        return None
    (length,) = _LENGTH.unpack(head)
    if descriptors:
        data, files, _flags, _address = socket.recv_fds(channel, length, descriptors)
        return json.loads(data), files
    body = _exactly(channel, length)
    return None if body is None else (json.loads(body), [])


def _exactly(channel: socket.socket, count: int) -> bytes | None:
    found = b""
    while len(found) < count:
        try:
            more = channel.recv(count - len(found))
        except ConnectionError:
            return None
        if not more:
            return None
        found += more
    return found


def prepare() -> None:
    """Import what notebooks import and do once what each would do again, without starting a thread."""
    for name in _IMPORTED:
        importlib.import_module(name)
    from benchproof.methods import registry
    from benchproof.trials.threads import single_threaded

    registry()
    with single_threaded():  # looks for the numerical libraries that are loaded
        pass


def serve(channel: socket.socket) -> Mapping[str, Any] | None:
    """Fork on every request until the owner is gone.

    Returns
    -------
    Mapping or None
        In a forked child, the order it is to carry out; None in the server, when it is to end.
    """
    kernels: dict[int, int] = {}
    litter: set[str] = set()
    while True:
        ready, _, _ = select.select([channel.fileno(), *kernels], [], [], IDLE_LIMIT)
        for ended in set(ready) & kernels.keys():
            os.waitpid(kernels.pop(ended), 0)
            os.close(ended)
        if not ready and not kernels:
            return None
        if channel.fileno() in ready:
            received = receive(channel)
            if received is None:
                _end_all(kernels)
                for folder in litter:
                    shutil.rmtree(folder, ignore_errors=True)
                return None
            order = received[0]
            litter |= set(order["litter"])
            pid = os.fork()
            if pid == 0:
                return order
            watch = os.pidfd_open(pid)
            kernels[watch] = pid
            send(channel, {"pid": pid}, watch)


def _end_all(kernels: Mapping[int, int]) -> None:
    """Kill every kernel with all it started."""
    for watch, pid in kernels.items():
        try:
            os.killpg(pid, signal.SIGKILL)
        except OSError:  # it has not made its group yet
            signal.pidfd_send_signal(watch, signal.SIGKILL)
        os.waitpid(pid, 0)


def begin_anew(order: Mapping[str, Any], server: int) -> None:
    """Give a forked child what a started process has: group, signals, files, environment, folder, random state."""
    os.setsid()
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != server:  # the server was gone before the line above
        os._exit(1)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    os.closerange(3, os.sysconf("SC_OPEN_MAX"))
    os.environ.clear()
    os.environ.update(order["env"])
    os.environ["JPY_PARENT_PID"] = str(server)
    os.chdir(order["cwd"])
    sys.argv = ["ipykernel_launcher", *order["argv"]]
    _reseed()


def _reseed() -> None:
    """Draw the global random states anew: every child would begin with the parent's."""
    import numpy as np

    random.seed()
    np.random.seed()  # noqa: NPY002 - the old global state is what a fork would share


def main() -> None:
    """Be the warm process, and in each child a kernel."""
    del sys.path[0]  # the folder it was started in, which a kernel has not on its path either
    channel = socket.socket(fileno=int(sys.argv[1]))
    channel.set_inheritable(False)
    server = os.getpid()
    # ipykernel reads this once, at import: its children watch over it.
    os.environ["JPY_PARENT_PID"] = str(server)
    prepare()
    gc.collect()
    gc.freeze()
    send(channel, {"threads": sum(1 for _ in Path("/proc/self/task").iterdir())})
    order = serve(channel)
    if order is not None:
        channel.detach()
        begin_anew(order, server)
        from ipykernel.kernelapp import launch_new_instance

        launch_new_instance()


if __name__ == "__main__":
    main()
