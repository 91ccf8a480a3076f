"""Reading a log as recorded into channels in SI units, and judging it on the way.

Most logs go through pyarrow's streaming reader, a block at a time into arrays of their final size, so that a log as
large as a gigabyte is read in bounded memory. A log that this reader refuses (comments among the rows, columns by
white space, a cell that is no number) is read line by line, which also finds the line of every fault.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, Protocol

import numpy as np

from benchproof.campaign.log_dialect import (
    NUMBER,
    WHITE_SPACE,
    Dialect,
    Stated,
    cells,
    find_dialect,
    read_stated,
)
from benchproof.campaign.log_faults import FaultList, TimeOrder, quoted
from benchproof.campaign.models.layout import channel_dimension
from benchproof.campaign.stuck import standing
from benchproof.campaign.units import Scale, scale_of
from benchproof.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

GAP: Final = 5.0
"""A spacing this many times the usual one is a gap."""

LARGE: Final = 8_000_000
"""Rows above which readings are kept in single precision: 24 bits are more than any logger's converter has."""

_HEAD: Final = 1 << 18
_BLOCK: Final = 1 << 21
_LONGEST_LINE: Final = 1 << 16
_SPARE: Final = 1.02
_SAMPLE: Final = 1 << 20
_MOST_STRETCHES: Final = 5
_PACKED: Final = {
    b"\x1f\x8b": "gzip",
    b"PK": "zip",
    b"BZh": "bzip2",
    b"\xfd7zXZ": "xz",
    b"\x28\xb5\x2f\xfd": "zstd",
}
_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


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
    channels : Mapping of str to array
        SI, read-only, each of shape (rows,); ``time`` increases. Logs of more than LARGE rows keep all but time in
        single precision.
    rows : int
        Rows kept.
    remarks : tuple of Remark
        Gaps, dropped duplicates, stuck and saturated stretches.
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
    head, encoding = _head(path, stated, faults)
    wanted = [channel.column for channel in layout.values()]
    found = find_dialect(head, wanted, stated, faults)
    time_place = list(layout).index("time")
    order = TimeOrder(f"column {quoted(layout['time'].column)}", faults)
    scales = [_scale(key, channel, pole_pairs) for key, channel in layout.items()]
    table = _Table(scales, _estimated_rows(path, head), time_place)
    if not _read_blocks(path, found, encoding, time_place, order, table):
        order = TimeOrder(order.column, faults)
        table = _Table(scales, 0, time_place)
        _read_lines(path, found, encoding, wanted, time_place, order, table, faults)
    order.finish()
    _refuse_empty(table, time_place, faults)
    faults.raise_any()
    channels = {key: table.column(place) for place, key in enumerate(layout)}
    remarks = (*_duplicates(order, name), *_gaps(channels["time"], name), *_standing(channels, name))
    for values in channels.values():
        values.setflags(write=False)
    return Log(MappingProxyType(channels), table.rows, remarks)


def _head(path: Path, stated: Stated, faults: FaultList) -> tuple[bytes, str]:
    """Return whole lines from the beginning of a log, in UTF-8, and the log's encoding."""
    with path.open("rb") as stream:
        raw = stream.read(_HEAD)
    if not raw.strip():
        msg = ""
        raise faults.stop(msg, "an empty file", "a header row and rows of data", "Record the run again, or exclude it.")
    for mark, kind in _PACKED.items():
        if raw.startswith(mark):
            msg = ""
            raise faults.stop(msg, f"a file packed with {kind}", "text", "Unpack the log and put the text under raw/.")
    encoding = stated.encoding or next((name for mark, name in _MARKS if raw.startswith(mark)), "utf-8")
    whole = raw if len(raw) < _HEAD else raw[: raw.rfind(b"\n") + 1] or raw
    text = whole.decode(encoding, "replace").removeprefix("\N{BYTE ORDER MARK}")
    if "\0" in text:
        msg = ""
        raise faults.stop(msg, "bytes that are no text", "a text log", "Export the log as text (CSV) from the logger.")
    if max(len(line) for line in text.split("\n")) > _LONGEST_LINE:
        remedy = "Export the log with one row a line."
        msg = ""
        raise faults.stop(msg, f"a line of more than {_LONGEST_LINE} characters", "rows of a few cells", remedy)
    return text.replace("\r\n", "\n").replace("\r", "\n").encode(), encoding


def _estimated_rows(path: Path, head: bytes) -> int:
    lines = max(head.count(b"\n"), 1)
    return int(path.stat().st_size / max(len(head) / lines, 1.0) * _SPARE) + 16


class _Table:
    """Channels in SI that grow block by block, without a second copy of them all.

    Parameters
    ----------
    scales : sequence of Scale
        How each column becomes SI.
    capacity : int
        Rows to make room for.
    time_place : int
        The column of time stamps; it keeps double precision whatever the size of the log.
    """

    def __init__(self, scales: Sequence[Scale], capacity: int, time_place: int) -> None:
        single = np.float32 if capacity > LARGE else np.float64
        kinds = [np.float64 if place == time_place else single for place in range(len(scales))]
        self._columns: list[NDArray[Any]] = [np.empty(max(capacity, 16), kind) for kind in kinds]
        self._scales = scales
        # Looked after only until a channel is seen to change.
        self.lowest = np.full(len(scales), np.inf)
        self.highest = np.full(len(scales), -np.inf)
        self.rows = 0

    def append(self, block: Sequence[FloatArray]) -> None:
        """Add rows, given by column in the log's own units."""
        stop = self.rows + block[0].size
        for place, values in enumerate(block):
            if stop > self._columns[place].size:
                self._grow(place, int(stop * 1.2) + 1024)
            target, scale = self._columns[place][self.rows : stop], self._scales[place]
            np.multiply(values, scale.factor, out=target, casting="same_kind")
            if scale.offset:
                target += scale.offset
            if not self.lowest[place] < self.highest[place]:
                self.lowest[place] = min(self.lowest[place], values.min())
                self.highest[place] = max(self.highest[place], values.max())
        self.rows = stop

    def _grow(self, place: int, size: int) -> None:
        grown = np.empty(size, self._columns[place].dtype)
        grown[: self.rows] = self._columns[place][: self.rows]
        self._columns[place] = grown

    def column(self, place: int) -> FloatArray:
        """Return a column, SI, shape (rows,)."""
        return self._columns[place][: self.rows]


def _read_blocks(path: Path, found: Dialect, encoding: str, time_place: int, order: TimeOrder, table: _Table) -> bool:
    """Read with pyarrow, block by block; return False where this reader cannot, or a value is not finite."""
    if found.delimiter == WHITE_SPACE or encoding not in ("utf-8", "utf-16-le", "utf-16-be"):
        return False
    import pyarrow as pa
    from pyarrow import csv

    names = [str(place) for place in range(found.width)]
    wanted = [str(place) for place in found.columns]
    try:
        reader = csv.open_csv(
            path,
            csv.ReadOptions(column_names=names, skip_rows=found.skip, block_size=_BLOCK, encoding=encoding),
            csv.ParseOptions(delimiter=found.delimiter),
            csv.ConvertOptions(
                include_columns=list(dict.fromkeys(wanted)),
                column_types=dict.fromkeys(wanted, pa.float64()),
                decimal_point=found.decimal,
                null_values=[],
            ),
        )
        for batch in reader:
            block = [batch.column(name).to_numpy(zero_copy_only=False) for name in wanted]
            if not _take(block, found.skip + 1 + order.rows, time_place, order, table):
                return False
    except (pa.ArrowInvalid, pa.ArrowKeyError, UnicodeDecodeError):
        return False
    return True


def _take(block: list[FloatArray], first_line: int, time_place: int, order: TimeOrder, table: _Table) -> bool:
    """Add a block of rows to the table; return False where a value is not finite or time does not run on."""
    if not block[0].size:
        return True
    # The sum is finite only if every value is, and costs one pass without a temporary array.
    if not all(np.isfinite(values.sum()) for values in block):
        return False
    keep = order.keep(block[time_place], lambda row: first_line + row)
    table.append(block if keep is None else [values[keep] for values in block])
    return not order.faults.faults


def _read_lines(
    path: Path,
    found: Dialect,
    encoding: str,
    wanted: Sequence[str],
    time_place: int,
    order: TimeOrder,
    table: _Table,
    faults: FaultList,
) -> None:
    """Read line by line, noting the line of every fault."""
    rows: list[list[float]] = []
    places: list[int] = []
    for line, text in _lines(path, encoding, faults):
        if line <= found.skip or found.is_comment(text):
            continue
        row = _row(text, line, found, wanted, faults)
        if row is not None:
            rows.append(row)
            places.append(line)
        if faults.full:
            return
        if len(rows) >= _LONGEST_LINE:
            _flush(rows, places, time_place, order, table)
    _flush(rows, places, time_place, order, table)


def _lines(path: Path, encoding: str, faults: FaultList) -> Iterator[tuple[int, str]]:
    """Yield the lines of a log with their numbers, never holding more than a few."""
    with path.open(encoding=encoding, errors="replace", newline=None) as stream:
        line = 0
        while text := stream.readline(_LONGEST_LINE + 1):
            line += 1
            if len(text) > _LONGEST_LINE:
                found = f"a line of more than {_LONGEST_LINE} characters"
                msg = ""
                raise faults.stop(msg, found, "rows of a few cells", "Export the log with one row a line.", line)
            yield line, text.removeprefix("\N{BYTE ORDER MARK}") if line == 1 else text


def _row(text: str, line: int, found: Dialect, wanted: Sequence[str], faults: FaultList) -> list[float] | None:
    """Return the mapped cells of a row as numbers; note what is wrong with it."""
    row = cells(text.rstrip("\r\n"), found.delimiter)
    if len(row) != found.width:
        what = "a row cut short" if len(row) < found.width else "a row with more cells than the header"
        remedy = "Delete the line if the logger stopped in it; else record the run again, or exclude it."
        faults.add("", f"{what}: {len(row)} of {found.width} cells", f"{found.width} cells", remedy, line)
        return None
    values = [_number(row[place], found) for place in found.columns]
    for column, place, value in zip(wanted, found.columns, values, strict=True):
        if value is None or not np.isfinite(value):
            remedy = "Correct the logger's export; a missing value must not be filled in. Else exclude the run."
            cell = quoted(row[place]) if row[place] else "an empty cell"
            faults.add(f"column {quoted(column)}", cell, _a_number(found), remedy, line)
    return None if any(value is None for value in values) else [float(value or 0.0) for value in values]


def _a_number(found: Dialect) -> str:
    return f"a finite number with a decimal {'comma' if found.decimal == ',' else 'point'}"


def _number(text: str, found: Dialect) -> float | None:
    plain = text.replace(",", ".") if found.decimal == "," and "." not in text else text
    return float(plain) if NUMBER.fullmatch(plain) else None


def _flush(rows: list[list[float]], places: list[int], time_place: int, order: TimeOrder, table: _Table) -> None:
    if rows:
        block = list(np.array(rows).T)
        lines = list(places)
        keep = order.keep(block[time_place], lambda row: lines[row])
        table.append(block if keep is None else [values[keep] for values in block])
        rows.clear()
        places.clear()


def _refuse_empty(table: _Table, time_place: int, faults: FaultList) -> None:
    if faults.faults:
        return
    if table.rows < 2:
        remedy = "Record the run again, or exclude it."
        faults.add("", f"{table.rows} rows of data", "two rows or more", remedy)
        return
    others = [place for place in range(table.lowest.size) if place != time_place]
    if others and all(table.lowest[place] == table.highest[place] for place in others):
        remedy = "Check that the logger was connected; record the run again, or exclude it."
        faults.add("", "every row alike", "channels that change during the run", remedy)


def _scale(key: str, channel: Channel, pole_pairs: int | None) -> Scale:
    """Return how a channel's column becomes SI."""
    dimension = channel_dimension(key)
    scale = scale_of(channel.unit, dimension) if dimension else Scale(1.0, 0.0)
    return Scale(scale.factor / (pole_pairs or 1 if channel.divide_by else 1), scale.offset)


def _duplicates(order: TimeOrder, name: str) -> Iterator[Remark]:
    if order.repeats:
        rows = "1 row" if order.repeats == 1 else f"{order.repeats} rows"
        sentence = f"{rows} with the time stamp of the row before left out, the first on line {order.first_repeat}"
        yield Remark("duplicate_time", name, sentence)


def _gaps(time: FloatArray, name: str) -> Iterator[Remark]:
    """Remark on spacings more than five times the usual one."""
    stride = max(time.size // _SAMPLE, 1)
    pairs = np.arange(0, time.size - 1, stride)
    usual = float(np.median(time[pairs + 1] - time[pairs]))
    count, longest, where = 0, 0.0, 0.0
    for first in range(0, time.size - 1, _SAMPLE):
        spacing = np.diff(time[first : first + _SAMPLE + 1])
        far = spacing > GAP * usual
        count += int(far.sum())
        if far.any() and spacing.max() > longest:
            longest, where = float(spacing.max()), float(time[first + int(spacing.argmax())])
    if count:
        many = "a gap" if count == 1 else f"{count} gaps, the longest"
        yield Remark(
            "gap",
            name,
            f"{many} of {longest:.3g} s from {where:.6g} s (rows are usually {usual:.3g} s apart)",
        )


def _standing(channels: Mapping[str, FloatArray], name: str) -> Iterator[Remark]:
    time = channels["time"]
    for key, values in channels.items():
        if key in ("time", "throttle", "once_per_turn"):
            continue
        for stretch in standing(values)[:_MOST_STRETCHES]:
            code = "saturated" if stretch.saturated else "stuck"
            word = "at its limit" if stretch.saturated else "stuck"
            span = f"{time[stretch.start]:.6g} s to {time[stretch.stop - 1]:.6g} s"
            yield Remark(code, name, f"{key} {word} from {span}; these rows are left out of means")
