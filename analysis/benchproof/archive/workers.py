"""Who carries a build's steps out: processes forked from the warm one, or the workers of an existing Dask cluster."""

from __future__ import annotations

import contextlib
import itertools
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any, Final

from benchproof.archive.forks import ask_here, forked_worker, is_warm, stop_warm_process, warm_for
from benchproof.archive.running_kernels import end_kernels, open_kernels
from benchproof.archive.steps import is_stale, run_step
from benchproof.errors import RequestError

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable, Iterator
    from concurrent.futures import Executor, Future

    from benchproof.archive.steps import Place

RETRIES: Final = 3
"""How often a step is given to another worker after one was lost with it."""

_CONNECTING: Final = 10

_ALONE: Final = 8
"""So many steps that run no notebook are carried out by this process before a warm process is started for more."""


@dataclass(frozen=True, slots=True)
class Crew:
    """Workers behind the standard interface.

    Parameters
    ----------
    executor : Executor
        Takes a step.
    slots : callable
        Says how many steps can be under way at once; a cluster may grow.
    """

    executor: Executor
    slots: Callable[[], int]


@contextlib.contextmanager
def crew(place: Place, workers: int, scheduler: str | None) -> Iterator[Crew]:
    """Give the workers of a build.

    Parameters
    ----------
    place : Place
        Where, and how notebooks get their kernels.
    workers : int
        How many notebooks may run at once on this machine.
    scheduler : str or None
        Address of a Dask scheduler whose workers take their place.

    Raises
    ------
    RequestError
        If there is no such cluster.
    """
    with _here(place, workers) if scheduler is None else _cluster(scheduler) as found:
        yield found


class ForkedWorkers(ThreadPoolExecutor):
    """Workers on this machine: threads, each with a process of its own that carries its steps out.

    Where nothing can be forked, and for the first few steps while there is no warm process and none is needed, the
    thread carries the step out itself. A warm process is needed where a notebook must run, or for many steps.

    Parameters
    ----------
    workers : int
        How many.
    """

    def __init__(self, workers: int) -> None:
        super().__init__(max_workers=workers)
        self._mine = threading.local()
        self._alone = itertools.count(1)
        self._closed = False

    def submit(self, function: Callable[..., Any], /, *arguments: Any, **named: Any) -> Future[Any]:
        """Have a step carried out."""
        return super().submit(self._carried_out, partial(function, *arguments, **named))

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Take no more steps; where those that wait are cancelled, what is under way is not begun again either."""
        self._closed = self._closed or cancel_futures
        super().shutdown(wait, cancel_futures=cancel_futures)

    def _carried_out(self, step: partial[Any]) -> Any:
        for _ in range(RETRIES):
            worker = self._worker(step)
            if worker is None:
                return step()
            try:
                worker.send(step)
                return worker.recv()
            except (EOFError, OSError):  # it was killed
                worker.close()
                self._mine.worker = None
        message = "the process that worked on it was killed each time; is there memory enough?"
        raise RequestError(message)

    def _worker(self, step: partial[Any]) -> Connection | None:
        """Return this thread's worker; None where the thread is to do it."""
        if self._closed:
            message = "the build was interrupted"
            raise RequestError(message)
        worker: Connection | None = getattr(self._mine, "worker", None)
        if worker is None and (is_warm() or _runs(step) or next(self._alone) > _ALONE):
            worker = self._mine.worker = forked_worker()
        return worker


def _runs(step: partial[Any]) -> bool:
    """Say whether a step runs a notebook."""
    return step.func is run_step and is_stale(*step.args)


def work(steps: socket.socket, kernels: socket.socket) -> None:
    """Carry out steps until no more can come: a worker's life.

    Parameters
    ----------
    steps : socket
        Where they come from and answers go to.
    kernels : socket
        Where the warm process is asked for kernels.
    """
    ask_here(kernels)
    with Connection(steps.detach()) as orders, contextlib.suppress(EOFError, OSError):
        while True:
            orders.send(orders.recv()())


@contextlib.contextmanager
def _here(place: Place, workers: int) -> Iterator[Crew]:
    """Give this machine's workers; threads where kernels are not to be forked. No kernel outlives them."""
    open_kernels()
    warm_for(place.root)
    with ForkedWorkers(workers) if place.kernels == "warm" else ThreadPoolExecutor(workers) as pool:
        try:
            yield Crew(pool, lambda: workers)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            end_kernels()
            raise
        finally:
            stop_warm_process()


@contextlib.contextmanager
def _cluster(address: str) -> Iterator[Crew]:
    """Give a cluster's workers. Their warm processes may serve others too, and end by themselves when idle."""
    try:
        import distributed
    except ImportError:
        message = "--scheduler needs Dask: pip install 'benchproof[cluster]'"
        raise RequestError(message) from None
    try:
        client: Any = distributed.Client(address, timeout=_CONNECTING, set_as_default=False)
    except (OSError, ValueError) as error:
        message = f"no Dask scheduler answers at {address} ({error}); start one, or leave --scheduler out"
        raise RequestError(message) from None
    with client:
        if not client.nthreads():
            message = f"the Dask scheduler at {address} has no workers; start some with: dask worker {address}"
            raise RequestError(message)
        executor = client.get_executor(retries=RETRIES, pure=False)
        try:
            yield Crew(executor, lambda: sum(client.nthreads().values()))
        except BaseException:
            executor.shutdown(wait=False)
            raise
