"""Figures with their trials, handed from a campaign's notebook to what looks at several campaigns.

A figure's trials are kept as deviations from its value in its own standard uncertainty, in half precision: a relative
error of 5e-4 in each deviation, far under the noise of any number of trials in use, at a quarter of the room. A model's
figure that rests on one sample shares that sample's. Sources are not kept: campaigns of one lab share draws by the
sources' identities, so their trials are paired as they stand.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.methods.records import Figure
from benchproof.nomenclature import term
from benchproof.trials.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

_WIDEST: Final = 6e4
"""Half precision ends at 65504; a Student draw of one degree of freedom may lie that far out."""


def packed(figures: Iterable[Figure]) -> bytes:
    """Return the trials of the figures that have a value.

    Parameters
    ----------
    figures : iterable of Figure
        In the order of results.json.

    Returns
    -------
    bytes
        A line of JSON with ``count`` (trials), ``rows`` (for each figure, which of the following is its own) and
        ``scales`` (SI); then the deviations one after the other, little-endian, in half precision.
    """
    known = [figure.quantity for figure in figures if figure.quantity is not None]
    unlike = {id(quantity): quantity for quantity in known}
    number = {key: k for k, key in enumerate(unlike)}
    scales = [quantity.standard_uncertainty for quantity in unlike.values()]
    rows = [_deviations(quantity, scale) for quantity, scale in zip(unlike.values(), scales, strict=True)]
    count = len(known[0].trials) if known else 0
    head = {"count": count, "rows": [number[id(quantity)] for quantity in known], "scales": scales}
    return b"".join([json.dumps(head).encode(), b"\n", *(row.tobytes() for row in rows)])


def _deviations(quantity: Quantity, scale: float) -> NDArray[np.float16]:
    apart = quantity.trials - quantity.value
    apart /= scale or 1.0
    return np.clip(apart, -_WIDEST, _WIDEST, out=apart).astype("<f2")


def unpacked(quantities: Sequence[Mapping[str, Any]], data: bytes) -> tuple[Figure, ...]:
    """Return figures with their trials again.

    Parameters
    ----------
    quantities : sequence of Mapping
        ``quantities`` of results.json.
    data : bytes
        What :func:`packed` gave for the same figures.

    Raises
    ------
    ValueError
        If the trials do not belong to the figures.
    """
    known = sum(each["value"] is not None for each in quantities)
    begun = data.index(b"\n") + 1
    head = json.loads(data[:begun])
    scales, numbers = head["scales"], head["rows"]
    flat = np.frombuffer(data, dtype="<f2", offset=begun) if len(data) > begun else np.zeros(0, dtype="<f2")
    if flat.size != len(scales) * head["count"] or len(numbers) != known:
        message = f"{flat.size} kept trials for {len(numbers)} figures of {known}"
        raise ValueError(message)
    deviations = flat.reshape(len(scales), -1) if scales else flat
    rows = iter([(deviations[number], scales[number]) for number in numbers])
    return tuple(_figure(each, None if each["value"] is None else next(rows)) for each in quantities)


def _figure(each: Mapping[str, Any], row: tuple[Any, float] | None) -> Figure:
    quantity = None
    if row is not None:
        deviations, scale = row
        value = each["value"] * term(each["name"]).si_per_unit
        quantity = Quantity(value, value + scale * deviations.astype(np.float64))
    return Figure(each["name"], each["at"], each["sample"], quantity, each["method"], tuple(each["flags"]))


def without_trials(quantities: Sequence[Mapping[str, Any]]) -> tuple[Figure, ...]:
    """Return the figures of results.json with their values alone."""
    return tuple(
        Figure(
            each["name"],
            each["at"],
            each["sample"],
            None if each["value"] is None else Quantity.exact(each["value"] * term(each["name"]).si_per_unit, 1),
            each["method"],
            tuple(each["flags"]),
        )
        for each in quantities
    )
