"""Bridging from one version of a method to the next: the ratio of new to old figures, over campaigns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from benchproof.findings.moves import Entry, Key


@dataclass(frozen=True, slots=True)
class Bridge:
    """What a method's new version makes of a quantity, against the old one.

    Parameters
    ----------
    method : str
        The method's key.
    old, new : str
        Its versions.
    name : str
        Quantity.
    ratio : float
        New over old: geometric mean over campaigns, each campaign's operating points averaged first.
    interval : tuple of float or None
        95 % interval of that mean, Student's t over campaigns on the log scale; None for a single campaign.
    campaigns : int
        How many.
    """

    method: str
    old: str
    new: str
    name: str
    ratio: float
    interval: tuple[float, float] | None
    campaigns: int


def log_ratios(old: Mapping[Key, Entry], new: Mapping[Key, Entry]) -> dict[tuple[str, str, str, str], float]:
    """Return one campaign's mean log ratios of the model's figures.

    Parameters
    ----------
    old, new : Mapping
        Entries of results.json by :func:`benchproof.findings.moves.key_of`.

    Returns
    -------
    dict
        Mean of ln(new/old) over operating points, by method, old version, new version and quantity, for methods whose
        version changed. Figures that did not move count too.
    """
    found: dict[tuple[str, str, str, str], list[float]] = {}
    for key, was in old.items():
        now = new.get(key)
        if now is None or key[2:] != (None, None) or was["value"] is None or now["value"] is None:
            continue
        (method, _, before), (same, _, after) = (str(each["method"]).partition("/") for each in (was, now))
        if method == same and before != after and was["value"] * now["value"] > 0:
            found.setdefault((method, before, after, key[0]), []).append(math.log(now["value"] / was["value"]))
    return {key: math.fsum(ratios) / len(ratios) for key, ratios in found.items()}


def bridges(campaigns: Iterable[Mapping[tuple[str, str, str, str], float]]) -> tuple[Bridge, ...]:
    """Return the bridging summary over campaigns, by method and quantity.

    Parameters
    ----------
    campaigns : iterable of Mapping
        What :func:`log_ratios` gave for each.
    """
    together: dict[tuple[str, str, str, str], list[float]] = {}
    for each in campaigns:
        for key, ratio in each.items():
            together.setdefault(key, []).append(ratio)
    return tuple(_bridge(key, ratios) for key, ratios in sorted(together.items()))


def _bridge(key: tuple[str, str, str, str], ratios: Sequence[float]) -> Bridge:
    middle, count = math.fsum(ratios) / len(ratios), len(ratios)
    interval = None
    if count > 1:
        half = float(special.stdtrit(count - 1, 0.975) * np.std(ratios, ddof=1) / math.sqrt(count))
        interval = (math.exp(middle - half), math.exp(middle + half))
    return Bridge(*key, ratio=math.exp(middle), interval=interval, campaigns=count)
