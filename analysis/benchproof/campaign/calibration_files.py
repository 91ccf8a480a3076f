"""Reading calibration files: known loads and what the instruments showed."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchproof.campaign.units import shortened
from benchproof.campaign.yaml import read_text
from benchproof.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

_BRANCH: Final = "direction"
COLUMNS: Final = ("applied", "indicated", _BRANCH)
LOADING_COLUMNS: Final = ("thrust_applied", "torque_applied", "thrust_indicated", "torque_indicated")
DIRECTIONS: Final = ("up", "down")
FEWEST_ROWS: Final = 3
_MOST_FAULTS: Final = 20


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationTable:
    """A calibration file as it was read: numbers in the file's units, and the branch of each row."""

    applied: FloatArray
    indicated: FloatArray
    direction: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class LoadingTable:
    """A cross-talk file as it was read, in the file's units: columns thrust and torque, shape (n, 2)."""

    applied: FloatArray
    indicated: FloatArray


def read_calibration(path: Path, file: str) -> CalibrationTable:
    """Read a calibration file.

    Parameters
    ----------
    path : Path
        The file.
    file : str
        How faults name it.

    Raises
    ------
    InputError
        With every fault found: columns, numbers, directions, too few rows.
    """
    rows = _rows(path, file, COLUMNS)
    applied, indicated, direction = zip(*rows, strict=True)
    return CalibrationTable(np.array(applied), np.array(indicated), tuple(direction))


def read_loadings(path: Path, file: str) -> LoadingTable:
    """Read a cross-talk file: what both cells of a stand showed under known thrust and torque.

    Parameters
    ----------
    path : Path
        The file.
    file : str
        How faults name it.

    Raises
    ------
    InputError
        With every fault found: columns, numbers, too few rows.
    """
    rows = np.array(_rows(path, file, LOADING_COLUMNS))
    return LoadingTable(rows[:, :2], rows[:, 2:])


def _rows(path: Path, file: str, columns: Sequence[str]) -> list[tuple[Any, ...]]:
    """Return the cells of the named columns, row by row: the branch as a word, all else as numbers."""
    text = read_text(path, file).removeprefix("\N{BYTE ORDER MARK}").replace("\0", "\N{REPLACEMENT CHARACTER}")
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if _is_data(line)]
    named = ",".join(columns)
    if not lines:
        raise InputError(Fault(file, "", "an empty file", "a header and rows", f"Write {named}."))
    faults: list[Fault] = []
    header = [name.strip() for name in _cells(lines[0][1])]
    for name in columns:
        if header.count(name) != 1:
            found = f"the columns {shortened(', '.join(header))}"
            remedy = f"Name the columns {', '.join(columns)}."
            faults.append(Fault(file, name, found, f"one column {name}", remedy, lines[0][0]))
    if faults:
        raise InputError(*faults)
    for number, line in lines[1:]:
        if any(cell.strip() for cell in _cells(line)[len(header) :]):
            remedy = "Write decimal points, and commas between cells only."
            faults.append(Fault(file, "", "more cells than columns", f"{len(header)} cells", remedy, number))
    rows = [
        _row(number, dict(zip(header, _cells(line), strict=False)), file, columns, faults) for number, line in lines[1:]
    ]
    if len(rows) < FEWEST_ROWS and not faults:
        remedy = "Add loads; five or more up and down are usual."
        faults.append(Fault(file, "", f"{len(rows)} rows", f"at least {FEWEST_ROWS} rows", remedy))
    if faults:
        raise InputError(*faults[:_MOST_FAULTS])
    return rows


def _is_data(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _cells(line: str) -> list[str]:
    try:
        return next(csv.reader(io.StringIO(line)), [])
    except csv.Error:
        return line.split(",")


def _row(
    number: int, cells: dict[str, str], file: str, columns: Sequence[str], faults: list[Fault]
) -> tuple[float | str, ...]:
    faults.extend(_problems(number, cells, file, columns))
    return tuple(cells.get(name, "").strip() if name == _BRANCH else _number(cells.get(name)) for name in columns)


def _problems(number: int, cells: dict[str, str], file: str, columns: Sequence[str]) -> Iterator[Fault]:
    for name in columns:
        if name != _BRANCH and not math.isfinite(_number(cells.get(name))):
            found = f'"{shortened(cells[name])}"' if name in cells else "a row cut short"
            yield Fault(file, name, found, "a finite number with a decimal point", "Correct the cell.", number)
    direction = cells.get(_BRANCH, "").strip()
    if _BRANCH in columns and direction not in DIRECTIONS:
        found = f'"{shortened(direction)}"' if direction else "nothing"
        yield Fault(file, _BRANCH, found, "up or down", "Write the branch the load was on.", number)


def _number(text: str | None) -> float:
    if text is None or "_" in text:  # Python reads 1_000, a calibration file does not
        return math.nan
    try:
        return float(text)
    except ValueError:
        return math.nan
