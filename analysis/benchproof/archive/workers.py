"""Who carries a build's steps out: threads of this process, or the workers of an existing Dask cluster."""

from __future__ import annotations

import contextlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from benchproof.archive.kernels import end_kernels, open_kernels
from benchproof.archive.warm import stop_warm_process
from benchproof.errors import RequestError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from concurrent.futures import Executor

RETRIES: Final = 3
"""How often a step is given to another worker after one was lost with it."""

_CONNECTING: Final = 10


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
def crew(workers: int, scheduler: str | None) -> Iterator[Crew]:
    """Give the workers of a build.

    Parameters
    ----------
    workers : int
        How many notebooks may run at once on this machine.
    scheduler : str or None
        Address of a Dask scheduler whose workers take their place.

    Raises
    ------
    RequestError
        If there is no such cluster.
    """
    with _threads(workers) if scheduler is None else _cluster(scheduler) as found:
        yield found


@contextlib.contextmanager
def _threads(workers: int) -> Iterator[Crew]:
    """Give threads: a notebook is a process of its own anyway. Whatever happens, no kernel outlives them."""
    open_kernels()
    with ThreadPoolExecutor(max_workers=workers) as pool:
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
