"""The rows of a log as numbers, a block at a time: fast where a block is clean, cell by cell where it is not.

A clean block is parsed by pyarrow, in two threads. Whatever pyarrow refuses, or might read otherwise than meant, is
read again by plain code, which defines what a log may hold and names the line and cell of every fault.
"""

from __future__ import annotations

import math
import re
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from benchproof.campaign.log_dialect import NUMBER, WHITE_SPACE, Dialect, cells
from benchproof.campaign.log_faults import MOST, quoted
from benchproof.campaign.log_text import NULS, NULS_REMEDY
from benchproof.errors import Fault

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchproof.campaign.log_text import Block

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]

_THREADS: Final = 2
_AT_ONCE: Final = 2
"""Blocks read before threads are worth starting."""

_WAITING: Final = 8
"""Blocks parsed ahead."""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """The mapped columns of a block.

    Parameters
    ----------
    columns : tuple of ndarray, each of shape (n,)
        In the log's own units, in the order asked for.
    first_line : int
        Line of the block's first line.
    offsets : ndarray of int, shape (n,), or None
        Lines from there to each row; None where every line is a row.
    faults : tuple of Fault
        What is wrong with the block's lines, for a file without a name.
    comma_meant : bool
        Whether a cell that is no number would be one with a decimal comma.
    """

    columns: tuple[FloatArray, ...]
    first_line: int
    offsets: IndexArray | None = None
    faults: tuple[Fault, ...] = ()
    comma_meant: bool = False

    def line_of(self, row: int) -> int:
        """Return the line of a row."""
        return self.first_line + (row if self.offsets is None else int(self.offsets[row]))


@dataclass(slots=True)
class RowReader:
    """Reads the rows of a log.

    Parameters
    ----------
    dialect : Dialect
        How the log is written.
    wanted : sequence of str
        The mapped column names, as faults name them.
    """

    dialect: Dialect
    wanted: Sequence[str]
    _options: dict[str, Any] = field(init=False)
    _comment: re.Pattern[bytes] = field(init=False)

    def __post_init__(self) -> None:
        self._options = _arrow_options(self.dialect)
        marks = b"|".join(re.escape(mark.encode()) for mark in self.dialect.comments)
        self._comment = re.compile(rb"^[ \t]*(?:" + marks + rb")", re.MULTILINE)

    def rows(self, blocks: Iterator[Block]) -> Iterator[Rows]:
        """Yield the rows of every block, in order."""
        for block in islice(blocks, _AT_ONCE):
            yield self.read(block)
        following = next(blocks, None)
        if following is None:
            return
        with ThreadPoolExecutor(_THREADS) as pool:
            waiting = deque([pool.submit(self.read, following)])
            for block in blocks:
                waiting.append(pool.submit(self.read, block))
                if len(waiting) > _WAITING:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()

    def read(self, block: Block) -> Rows:
        """Return the rows of a block."""
        return self._fast(block) or self._plain(block)

    def _fast(self, block: Block) -> Rows | None:
        """Return the rows of a block by pyarrow, or None where it cannot be trusted with it.

        It skips blank lines, and lets a quote that is never closed swallow lines: rows and lines must agree.
        """
        import pyarrow as pa
        from pyarrow import csv

        if b"\0" in block.data or self._has_comments(block.data):
            return None
        text = _single_spaced(block.data) if self.dialect.delimiter == WHITE_SPACE else block.data
        try:
            table = csv.read_csv(pa.BufferReader(text), **self._options)
        except pa.ArrowInvalid:
            return None
        offsets = None
        if table.num_rows != block.count:
            offsets = _filled_lines(block.data)
            if b'"' in block.data or table.num_rows != offsets.size:
                return None
        found = [table.column(str(place)) for place in self.dialect.columns]
        if any(column.null_count for column in found):
            return None
        columns = tuple(_numbers(column) for column in found)
        # A sum is finite only if every term is, and costs one pass without a temporary array.
        finite = all(math.isfinite(values.sum()) for values in columns)
        return Rows(columns, block.line, offsets) if finite else None

    def _has_comments(self, data: bytes) -> bool:
        # One byte is looked for a hundred times faster than two or a pattern, and most logs have none of them.
        begins = (mark[:1].encode() for mark in self.dialect.comments)
        return any(begin in data for begin in begins) and self._comment.search(data) is not None

    def _plain(self, block: Block) -> Rows:
        """Return the rows of a block, read line by line up to the fault that is one too many."""
        rows: list[list[float]] = []
        offsets: list[int] = []
        faults: list[Fault] = []
        for offset, raw in enumerate(block.data.split(b"\n")):
            line = raw.decode("utf-8", "replace")
            if self.dialect.is_comment(line):
                continue
            found, values = self._row(line, block.line + offset)
            faults += found
            if not found:
                rows.append(values)
                offsets.append(offset)
            if len(faults) >= MOST:
                break
        table = np.array(rows, np.float64).reshape(-1, len(self.wanted))
        comma_meant = not self.dialect.decimal_sure and any(_COMMA.fullmatch(fault.found) for fault in faults)
        columns = tuple(np.ascontiguousarray(column) for column in table.T)
        return Rows(columns, block.line, np.array(offsets, np.intp), tuple(faults), comma_meant)

    def _row(self, line: str, number: int) -> tuple[list[Fault], list[float]]:
        """Return what is wrong with a line, and its mapped cells as numbers."""
        if "\0" in line:
            return [Fault("", "", NULS, "a row of cells", NULS_REMEDY, number)], []
        row = cells(line, self.dialect.delimiter)
        names = len(self.dialect.names)
        if len(row) < names or any(row[names:]):
            return [_wrong_width(len(row), names, number)], []
        values = [_number(row[place], self.dialect.decimal) for place in self.dialect.columns]
        bad = {
            column: row[place]
            for column, place, value in zip(self.wanted, self.dialect.columns, values, strict=True)
            if not math.isfinite(value)
        }
        return [self._no_number(column, cell, number) for column, cell in bad.items()], values

    def _no_number(self, column: str, cell: str, line: int) -> Fault:
        mark = "comma" if self.dialect.decimal == "," else "point"
        found = quoted(cell) if cell else "an empty cell"
        remedy = "Export the log again, or exclude the run; a missing value is never filled in."
        if "," in cell or "." in cell:
            remedy = "Write all numbers with one decimal mark and none between thousands, or state it in the dialect."
        return Fault("", f"column {quoted(column)}", found, f"a finite number with a decimal {mark}", remedy, line)


_COMMA: Final = re.compile(r'"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?"')


def _arrow_options(dialect: Dialect) -> dict[str, Any]:
    import pyarrow as pa
    from pyarrow import csv

    wanted = list(dict.fromkeys(str(place) for place in dialect.columns))
    return {
        "read_options": csv.ReadOptions(
            column_names=[str(place) for place in range(dialect.width)], use_threads=False, block_size=1 << 24
        ),
        "parse_options": csv.ParseOptions(delimiter=dialect.delimiter),
        "convert_options": csv.ConvertOptions(
            include_columns=wanted,
            column_types=dict.fromkeys(wanted, pa.float64()),
            decimal_point=dialect.decimal,
            null_values=[],
            check_utf8=False,
        ),
    }


def _filled_lines(data: bytes) -> IndexArray:
    """Return the numbers, from 0, of the lines that are not empty."""
    letters = np.frombuffer(data, np.uint8)
    ends = np.flatnonzero(letters == ord("\n"))
    if not data.endswith(b"\n"):
        ends = np.append(ends, len(data))
    starts = np.concatenate(([0], ends[:-1] + 1))
    lengths = ends - starts
    empty = (lengths == 0) | ((lengths == 1) & (letters[starts] == ord("\r")))
    return np.flatnonzero(~empty)


def _single_spaced(text: bytes) -> bytes:
    """Return lines whose cells stand one space apart, without spaces at either end."""
    text = text.replace(b"\t", b" ").replace(b"\r\n", b"\n")
    while b"  " in text:
        text = text.replace(b"  ", b" ")
    return text.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")


def _numbers(column: Any) -> FloatArray:
    """Return an Arrow column without missing values; Arrow's own way to numpy would first import pandas."""
    chunks = [np.asarray(np.from_dlpack(chunk), np.float64) for chunk in column.chunks]
    return chunks[0] if len(chunks) == 1 else np.concatenate([np.empty(0), *chunks])


def _wrong_width(found: int, expected: int, line: int) -> Fault:
    if found < expected:
        what, remedy = (
            "a row cut short",
            "Copy the log off the logger again; if the logger stopped here, delete the line.",
        )
    else:
        what, remedy = (
            "a row with more cells than the header",
            "Name every column once, and keep delimiter and decimal mark apart.",
        )
    return Fault("", "", f"{what}: {found} cells", f"{expected} cells, as the header has", remedy, line)


def _number(cell: str, decimal: str) -> float:
    """Return a cell's number; NaN where it is none."""
    text = cell if decimal == "." else cell.replace(".", "?").replace(decimal, ".")
    return float(text) if NUMBER.fullmatch(text) else math.nan
