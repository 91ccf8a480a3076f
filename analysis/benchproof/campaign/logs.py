"""Reading a log as recorded into channels in SI units, and judging it on the way.

A log is read once, a block at a time, into arrays of about their final size, so that a gigabyte takes bounded memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from benchproof.campaign.log_dialect import Dialect, Stated, find_dialect, read_stated
from benchproof.campaign.log_faults import FaultList, TimeOrder, quoted
from benchproof.campaign.log_remarks import gap_remarks, repeat_remarks, standing_remarks, unit_remarks
from benchproof.campaign.log_rows import RowReader, Rows
from benchproof.campaign.log_text import BLOCK, Block, find_encoding, line_blocks
from benchproof.campaign.models.layout import channel_dimension
from benchproof.campaign.units import Scale, UnitError, scale_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path
    from typing import IO

    from benchproof.errors import Remark

FloatArray = NDArray[np.float64]

DOUBLE: Final = 1_000_000_000
"""Bytes of readings above which all but time are kept in single precision, still finer than any logger's converter."""

MOST: Final = 3_000_000_000
"""Bytes of readings above which a log is refused instead of filling the machine's memory."""

_SPARE: Final = 1.02
_GROWTH: Final = 1.1


class Channel(Protocol):
    """What the layout says of a channel."""

    @property
    def column(self) -> str:
        """Name in the header."""

    @property
    def unit(self) -> str:
        """Unit of the column."""

    @property
    def divide_by(self) -> str | None:
        """``pole_pairs`` for an electrical speed."""


@dataclass(frozen=True, slots=True, eq=False)
class Log:
    """A log that can be used.

    Parameters
    ----------
    channels : Mapping of str to ndarray, each of shape (rows,)
        SI, read-only; ``time`` increases. Logs of more than DOUBLE bytes of readings keep all but time in single
        precision.
    rows : int
        Rows kept.
    remarks : tuple of Remark
        Units that differ, dropped duplicates, gaps, channels that stood still.
    """

    channels: Mapping[str, FloatArray]
    rows: int
    remarks: tuple[Remark, ...]


def read_log(
    path: Path,
    layout: Mapping[str, Channel],
    *,
    pole_pairs: int | None,
    name: str,
    dialect: Mapping[str, object] | None = None,
) -> Log:
    """Read a log.

    Parameters
    ----------
    path : Path
        The file.
    layout : Mapping of str to Channel
        Our channels, ``time`` among them.
    pole_pairs : int or None
        Of the motor, for an electrical speed.
    name : str
        How faults name the file.
    dialect : Mapping or None
        What the lab states of delimiter, decimal, comment, encoding and header.

    Raises
    ------
    InputError
        With every fault found, at most twenty.
    """
    faults = FaultList(name)
    stated = read_stated(dialect, faults)
    scales = _scales(layout, pole_pairs, faults)
    try:
        return _read(path, layout, scales, stated, faults)
    except _DecimalCommaError:
        return _read(path, layout, scales, replace(stated, decimal=","), faults)


class _DecimalCommaError(Exception):
    """The first decimal mark, a comma, came after the head of the log, which had whole numbers only."""


def _scales(layout: Mapping[str, Channel], pole_pairs: int | None, faults: FaultList) -> list[Scale]:
    """Return how each channel's column becomes SI."""
    if "time" not in layout:
        faults.refuse("", "a layout without the channel time", "the channel time", "Add time: to the log's layout.")
    scales = []
    for key, channel in layout.items():
        dimension = channel_dimension(key)
        if dimension is None:
            faults.refuse(key, "an unknown channel", "a channel of the documentation", "Correct the log's layout.")
        try:
            scale = scale_of(channel.unit, dimension)
        except UnitError as error:
            faults.refuse(f"{key}, unit", error.found, error.expected, error.remedy)
        if channel.divide_by and not pole_pairs:
            remedy = "State pole_pairs: of the specimen, or map a column with the speed of the shaft."
            faults.refuse(key, "an electrical speed", "the motor's pole pairs, to divide it by", remedy)
        scales.append(Scale(scale.factor / (pole_pairs or 1) if channel.divide_by else scale.factor, scale.offset))
    return scales


def _read(path: Path, layout: Mapping[str, Channel], scales: Sequence[Scale], stated: Stated, faults: FaultList) -> Log:
    try:
        with path.open("rb") as file:
            size = path.stat().st_size
            return _read_open(file, size, layout, scales, stated, faults)
    except OSError as error:
        remedy = "Check the name and that the file can be read."
        faults.refuse("", f"no readable file ({error.strerror or 'unknown reason'})", "a text log", remedy)


def _read_open(
    file: IO[bytes],
    size: int,
    layout: Mapping[str, Channel],
    scales: Sequence[Scale],
    stated: Stated,
    faults: FaultList,
) -> Log:
    head = file.read(BLOCK)
    encoding = stated.encoding or find_encoding(head, faults)
    blocks = line_blocks(file, head, encoding, faults)
    first = next(blocks, None)
    if first is None or not first.data.strip():
        faults.refuse("", "an empty file", "a header row and rows of data", "Record the run again, or exclude it.")
    wanted = [channel.column for channel in layout.values()]
    found = find_dialect(first.data, wanted, stated, faults)
    table = _Table(list(layout), scales, int(first.count * size / len(head) * _SPARE) + 16)
    order = TimeOrder(f"column {quoted(layout['time'].column)}", faults)
    for rows in RowReader(found, wanted).rows(_from(first.after(found.skip), blocks)):
        if rows.comma_meant:
            raise _DecimalCommaError
        faults.take(rows.faults)
        table.add(rows, order, faults)
        if faults.full:
            break
    order.finish()
    _judge(table, faults)
    faults.raise_any()
    return _log(table, found, layout, order)


def _from(first: Block, blocks: Iterator[Block]) -> Iterator[Block]:
    yield first
    yield from blocks


class _Table:
    """Channels in SI that grow block by block, without a second copy of them.

    Parameters
    ----------
    keys : sequence of str
        The channels.
    scales : sequence of Scale
        How each column becomes SI.
    capacity : int
        Rows to make room for; room that is not used costs no memory.
    """

    def __init__(self, keys: Sequence[str], scales: Sequence[Scale], capacity: int) -> None:
        single = np.float32 if 8 * capacity * len(keys) > DOUBLE else np.float64
        self._columns: list[NDArray[Any]] = [
            np.empty(capacity, np.float64 if key == "time" else single) for key in keys
        ]
        self._keys = keys
        self._scales = scales
        self._row_bytes = sum(column.itemsize for column in self._columns)
        self._first: list[float | None] = [None] * len(keys)
        self.changing: set[str] = set()
        self.rows = 0

    def add(self, rows: Rows, order: TimeOrder, faults: FaultList) -> None:
        """Add a block's rows, but those that repeat a time stamp."""
        stamps = rows.columns[self._keys.index("time")]
        if not stamps.size:
            return
        keep = order.keep(stamps, rows.line_of)
        stop = self.rows + (stamps.size if keep is None else int(np.count_nonzero(keep)))
        if stop * self._row_bytes > MOST:
            remedy = "Cut the log into runs, or map fewer channels."
            faults.refuse("", f"a log of more than {self.rows} rows", f"at most {MOST:_} bytes of readings", remedy)
        for place, column in enumerate(rows.columns):
            self._put(place, column if keep is None else column[keep], stop)
        self.rows = stop

    def _put(self, place: int, values: FloatArray, stop: int) -> None:
        column, scale = self._columns[place], self._scales[place]
        if stop > column.size:
            # Grows in place where the system can; no other name holds the array.
            column.resize(int(stop * _GROWTH) + 1024, refcheck=False)
        target = column[self.rows : stop]
        np.multiply(values, scale.factor, out=target, casting="same_kind")
        if scale.offset:
            target += scale.offset
        if self._keys[place] not in self.changing and values.size:
            first = self._first[place] = values[0] if self._first[place] is None else self._first[place]
            if np.any(values != first):
                self.changing.add(self._keys[place])

    def channels(self) -> Mapping[str, FloatArray]:
        """Return the channels, read-only, each of shape (rows,); nothing can be added after."""
        for column in self._columns:
            column.resize(self.rows, refcheck=False)
            column.setflags(write=False)
        return MappingProxyType(dict(zip(self._keys, self._columns, strict=True)))

    def constant(self) -> tuple[str, ...]:
        """Return the channels with one value throughout."""
        return tuple(key for key in self._keys if key not in self.changing)


def _judge(table: _Table, faults: FaultList) -> None:
    """Note a log without data, or with nothing in it."""
    if faults.faults:
        return
    if table.rows < 2:
        remedy = "Record the run again, or exclude it."
        faults.add("", f"{table.rows} rows of data", "two rows or more", remedy)
    elif table.changing == {"time"} and len(table.constant()) > 0:
        remedy = "Check that the logger was connected; record the run again, or exclude it."
        faults.add("", "every row alike", "channels that change during the run", remedy)


def _log(table: _Table, found: Dialect, layout: Mapping[str, Channel], order: TimeOrder) -> Log:
    name = order.faults.file
    channels = table.channels()
    shown = zip(layout, found.units, strict=True) if found.units else ()
    units = {key: (layout[key].unit, unit) for key, unit in shown}
    remarks = (
        *unit_remarks(units, name),
        *repeat_remarks(order, name),
        *gap_remarks(channels["time"], name),
        *standing_remarks(channels, table.constant(), name),
    )
    return Log(channels, table.rows, remarks)
