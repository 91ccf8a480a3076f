"""One numerical thread inside the library, so that figures do not depend on how many the machine offers.

Matrix products differ in their last bits between one thread and two. The limit holds while library code runs
and is lifted afterwards, so a notebook's own numerics keep their threads.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import scipy.linalg
from threadpoolctl import ThreadpoolController

if TYPE_CHECKING:
    from collections.abc import Iterator


class _Limit:
    """The limit in force and how many callers hold it."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.holders = 0
        self.context: Any = None


_LIMIT = _Limit()


@lru_cache(maxsize=1)
def _controller() -> ThreadpoolController:
    # The controller sees only what is loaded: numpy and scipy each bring a linear algebra library.
    scipy.linalg.inv(np.linalg.inv(np.eye(2)))
    return ThreadpoolController()


@contextmanager
def single_threaded() -> Iterator[None]:
    """Run the body, or the decorated function, with one numerical thread; nested and concurrent use is safe.

    The first caller in sets the limit and the last one out restores what was before.
    """
    with _LIMIT.lock:
        if _LIMIT.holders == 0:
            _LIMIT.context = _controller().limit(limits=1)
            _LIMIT.context.__enter__()
        _LIMIT.holders += 1
    try:
        yield
    finally:
        with _LIMIT.lock:
            _LIMIT.holders -= 1
            if _LIMIT.holders == 0:
                _LIMIT.context.__exit__(None, None, None)
                _LIMIT.context = None
