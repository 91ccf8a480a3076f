"""What a reader should know of a log that can be used: dropped rows, gaps, channels that stood still, odd units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from benchproof.campaign.log_faults import quoted
from benchproof.campaign.models.layout import channel_dimension
from benchproof.campaign.stuck import standing
from benchproof.campaign.units import UnitError, scale_of
from benchproof.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.campaign.log_faults import TimeOrder

FloatArray = NDArray[np.float64]

GAP: Final = 5.0
"""A spacing this many times the usual one is a gap."""

_NOT_MEASURED: Final = ("time", "throttle", "once_per_turn")
"""Channels that stand still by nature: stamps, commands, marks."""

_SAMPLE: Final = 1 << 20
_STRETCHES: Final = 5


def unit_remarks(units: Mapping[str, tuple[str, str]], name: str) -> Iterator[Remark]:
    """Remark on units that the log's own row of units contradicts.

    Parameters
    ----------
    units : Mapping of str to (str, str)
        Channel to the unit of the layout and that of the log's row, which may be blank or no spelling of ours.
    name : str
        The log.
    """
    for channel, (stated, shown) in units.items():
        dimension = channel_dimension(channel)
        unit = shown.strip("[]() ")
        try:
            if dimension is None or not unit or scale_of(unit, dimension) == scale_of(stated, dimension):
                continue
        except UnitError:
            continue
        sentence = f"{channel}: the log's row of units says {quoted(unit)}, the layout {quoted(stated)}, which is used"
        yield Remark("unit_differs", name, sentence)


def repeat_remarks(order: TimeOrder, name: str) -> Iterator[Remark]:
    """Remark on rows dropped because they repeat a time stamp."""
    if order.repeats:
        rows = "1 row" if order.repeats == 1 else f"{order.repeats} rows"
        sentence = f"{rows} with the time stamp of the row before left out, the first on line {order.first_repeat}"
        yield Remark("duplicate_time", name, sentence)


def gap_remarks(time: FloatArray, name: str) -> Iterator[Remark]:
    """Remark on spacings more than GAP times the usual one, the median.

    Parameters
    ----------
    time : ndarray, shape (n,), n > 1
        Stamps [s]. Of more than a million, the median is that of an even sample.
    name : str
        The log.
    """
    pairs = np.arange(0, time.size - 1, max(time.size // _SAMPLE, 1))
    usual = float(np.median(time[pairs + 1] - time[pairs]))
    count, longest, where = 0, 0.0, 0.0
    for first in range(0, time.size - 1, _SAMPLE):
        spacing = np.diff(time[first : first + _SAMPLE + 1])
        count += int(np.count_nonzero(spacing > GAP * usual))
        if spacing.max() > longest:
            longest, where = float(spacing.max()), float(time[first + int(spacing.argmax())])
    if count:
        many = "a gap" if count == 1 else f"{count} gaps, the longest"
        sentence = f"{many} of {longest:.3g} s from {where:.6g} s (rows are usually {usual:.3g} s apart)"
        yield Remark("gap", name, sentence)


def standing_remarks(channels: Mapping[str, FloatArray], constant: Sequence[str], name: str) -> Iterator[Remark]:
    """Remark on measured channels that stood still.

    Parameters
    ----------
    channels : Mapping of str to ndarray, each of shape (n,)
        SI, ``time`` among them.
    constant : sequence of str
        Channels with one value throughout.
    name : str
        The log.
    """
    time = channels["time"]
    for channel in (key for key in channels if key not in _NOT_MEASURED):
        if channel in constant:
            yield Remark("constant", name, f"{channel} has one value in all {time.size} rows")
            continue
        stretches = standing(channels[channel])
        for stretch in stretches[:_STRETCHES]:
            code, word = ("saturated", "at its limit") if stretch.saturated else ("stuck", "stuck")
            span = f"{time[stretch.start]:.6g} s to {time[stretch.stop - 1]:.6g} s"
            yield Remark(code, name, f"{channel} {word} from {span}; these rows are left out of means")
        if len(stretches) > _STRETCHES:
            more = len(stretches) - _STRETCHES
            yield Remark("stuck", name, f"{channel} stood still {more} more times; these rows are left out of means")
