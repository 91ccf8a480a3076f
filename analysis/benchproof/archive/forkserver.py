"""The warm process: it has imported what notebooks use, and forks into a kernel or a worker whenever it is asked.

Run as ``python -m benchproof.archive.forkserver FD WORKSPACE`` with one end of a socket pair, whose other end is
`benchproof.archive.warm`'s. The process has one thread, no event loop and no messaging context, so that forking it is
safe; each child becomes an ordinary ipykernel with a state of its own, or a worker that carries out steps of a build
and asks for kernels of its own. When the end of whoever asked closes, also because it was killed, its children are
killed and what it would have cleaned up is removed; when it is the owner's, every child is, and the process ends.
"""

from __future__ import annotations

import contextlib
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
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Kind = Literal["kernel", "worker", "none"]
"""What a child is to be; none is asked for where only folders are told that are to be removed."""

IDLE_LIMIT: Final = 60.0
"""Seconds without a kernel and without a request after which the process ends by itself."""

_IMPORTED: Final = (
    "ipykernel.kernelapp",
    "ipykernel.ipkernel",
    # What a kernel imports when it starts or is first asked something.
    *("ipykernel.debugger", "IPython.core.completerlib", "IPython.core.logger", "IPython.extensions.storemagic"),
    *("IPython.core.debugger", "IPython.core.oinspect", "IPython.utils.wildcard", "faulthandler", "zmq.utils.garbage"),
    *(
        "importlib.readers",
        "importlib.resources.readers",
        "sqlite3",
        "stringprep",
        "tornado.platform.asyncio",
        "tornado.queues",
    ),
    "pyarrow.csv",
    "benchproof.archive.streams",
    "benchproof.notebooks.session",
    "benchproof.notebooks.comparing",
)

_SELDOM: Final = (100_000, 50, 50)
"""How often children look for unreachable cycles: they do not live long enough to gather many."""

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


def prepare(workspace: str = "") -> None:
    """Import what kernels import and do once what each would do again, without starting a thread.

    Parameters
    ----------
    workspace : str
        Folder of the workspace whose lab and rig files are read ahead, where it is known.
    """
    for name in _IMPORTED:
        importlib.import_module(name)
    from benchproof.methods import registry
    from benchproof.notebooks import session
    from benchproof.trials.threads import single_threaded

    registry()
    session.software()
    if workspace:
        _read_ahead(workspace)
    with single_threaded():  # looks for the numerical libraries that are loaded
        pass


class Child(NamedTuple):
    """What a forked child is to do.

    Parameters
    ----------
    order : Mapping
        The order: ``kind``, ``argv``, ``env``, ``cwd``, ``litter``.
    sockets : tuple of socket
        A worker's: the one its steps come by, and the one by which it asks for kernels; a kernel has none.
    """

    order: Mapping[str, Any]
    sockets: tuple[socket.socket, ...]


@dataclass(slots=True)
class _Asker:
    """One that asks for children: the owner, or a worker.

    Parameters
    ----------
    channel : socket
        Where it asks.
    children : dict of int to int
        Process descriptor to process of each child that lives.
    litter : set of str
        Folders to remove when it is gone.
    """

    channel: socket.socket
    children: dict[int, int] = field(default_factory=dict)
    litter: set[str] = field(default_factory=set)

    def reap(self, watch: int) -> None:
        """Take note of a child's end."""
        os.waitpid(self.children.pop(watch), 0)
        os.close(watch)

    def end(self) -> None:
        """Kill every child with all it started, and remove the litter."""
        for watch, pid in self.children.items():
            try:
                os.killpg(pid, signal.SIGKILL)
            except OSError:  # it has not made its group yet
                signal.pidfd_send_signal(watch, signal.SIGKILL)
        for watch in tuple(self.children):
            self.reap(watch)
        for folder in self.litter:
            shutil.rmtree(folder, ignore_errors=True)


def _read_ahead(folder: str) -> None:
    """Read what a workspace's campaigns share; what is wrong with it is told where it is used."""
    from benchproof.campaign.workspace import Workspace
    from benchproof.errors import BenchproofError
    from benchproof.trials.distributions import tabulate
    from benchproof.trials.engine import stock

    workspace = Workspace(Path(folder))
    for rig in sorted(workspace.runs.glob("rigs/*/rig.yaml")):
        with contextlib.suppress(BenchproofError):
            workspace.rig(rig.parent.name)
    with contextlib.suppress(BenchproofError):
        lab = workspace.lab()
        tabulate(lab.trials)
        stock(lab.seed, lab.trials)


def serve(owner: socket.socket) -> Child | None:
    """Fork on every request until the owner is gone.

    Returns
    -------
    Child or None
        In a forked child, what it is to do; None in the server, when it is to end.
    """
    askers = {owner.fileno(): _Asker(owner)}
    while True:
        watches = {watch: asker for asker in askers.values() for watch in asker.children}
        ready, _, _ = select.select([*askers, *watches], [], [], IDLE_LIMIT)
        if not ready and not watches:
            return None
        for ended in set(ready) & watches.keys():
            watches[ended].reap(ended)
        for number in set(ready) & askers.keys():
            asker = askers[number]
            received = receive(asker.channel)
            if received is not None:
                child = _fork(received[0], asker, askers)
                if child is not None:
                    return child
            elif asker.channel is owner:
                # Workers first: they must not see their kernels die and go on.
                for each in (asker, *(found for found in askers.values() if found is not asker)):
                    each.end()
                return None
            else:
                askers.pop(number).end()
                asker.channel.close()


def _fork(order: Mapping[str, Any], asker: _Asker, askers: dict[int, _Asker]) -> Child | None:
    """Take the litter in and fork, and tell the asker of the child; in the child, return what it is to do."""
    asker.litter |= set(order["litter"])
    if order["kind"] == "none":
        return None
    pairs = [socket.socketpair() for _ in range(2 if order["kind"] == "worker" else 0)]
    pid = os.fork()
    if pid == 0:
        return Child(order, tuple(child for _, child in pairs))
    for _, child in pairs:
        child.close()
    watch = os.pidfd_open(pid)
    asker.children[watch] = pid
    send(asker.channel, {"pid": pid}, watch, *(ours.fileno() for ours, _ in pairs[:1]))
    for ours, _ in pairs[:1]:
        ours.close()
    for ours, _ in pairs[1:]:
        askers[ours.fileno()] = _Asker(ours)
    return None


def begin_anew(order: Mapping[str, Any], server: int, kept: Sequence[int] = ()) -> None:
    """Give a forked child what a started process has: group, signals, files, environment, folder, random state.

    Parameters
    ----------
    order : Mapping
        Its order.
    server : int
        The warm process.
    kept : sequence of int
        Open files it keeps beside the standard ones.
    """
    os.setsid()
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != server:  # the server was gone before the line above
        os._exit(1)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    edges = [2, *sorted(kept), os.sysconf("SC_OPEN_MAX")]
    for below, above in pairwise(edges):
        os.closerange(below + 1, above)
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
    """Be the warm process, and in each child a kernel or a worker."""
    del sys.path[0]  # the folder it was started in, which a kernel has not on its path either
    channel = socket.socket(fileno=int(sys.argv[1]))
    channel.set_inheritable(False)
    server = os.getpid()
    # ipykernel reads this once, at import: its children watch over it.
    os.environ["JPY_PARENT_PID"] = str(server)
    prepare(sys.argv[2])
    gc.collect()
    gc.freeze()
    gc.set_threshold(*_SELDOM)
    send(channel, {"threads": sum(1 for _ in Path("/proc/self/task").iterdir())})
    child = serve(channel)
    if child is None:
        return
    channel.detach()
    begin_anew(child.order, server, [each.fileno() for each in child.sockets])
    if child.order["kind"] == "worker":
        from benchproof.archive.workers import work

        work(*child.sockets)
    else:
        from ipykernel.kernelapp import launch_new_instance

        launch_new_instance()


if __name__ == "__main__":
    main()
