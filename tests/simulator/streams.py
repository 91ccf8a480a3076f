"""Random streams of the simulator, each found by its own key, so that a new run never disturbs an old one."""

from __future__ import annotations

import hashlib

import numpy as np
from scipy.signal import lfilter


def stream(entropy: int, *key: str) -> np.random.Generator:
    """Return the generator that belongs to a key.

    Parameters
    ----------
    entropy : int
        Seed of the bench.
    *key : str
        What is drawn: instrument, statement, scope. The same key always gives the same draws.
    """
    digest = hashlib.blake2b("\x1f".join((str(entropy), *key)).encode(), digest_size=16).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest, "big")))


def coloured(rng: np.random.Generator, times: int, interval: float, memory: float) -> np.ndarray:
    """Return noise of unit standard deviation whose correlation decays with a time constant.

    Parameters
    ----------
    rng : numpy.random.Generator
        Where the draws come from.
    times : int
        Number of values.
    interval : float
        Time between values [s].
    memory : float
        Time constant of the correlation [s].
    """
    keep = np.exp(-interval / memory)
    white = rng.standard_normal(times)
    white[0] /= np.sqrt(1 - keep**2)
    return lfilter([np.sqrt(1 - keep**2)], [1, -keep], white)
