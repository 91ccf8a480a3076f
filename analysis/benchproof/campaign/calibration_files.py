"""Reading a calibration file: columns applied, indicated, direction."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.campaign.units import shortened
from benchproof.campaign.yaml import read_text
from benchproof.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

COLUMNS: Final = ("applied", "indicated", "direction")
DIRECTIONS: Final = ("up", "down")
FEWEST_ROWS: Final = 3
_MOST_FAULTS: Final = 20


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationTable:
    """A calibration file as it was read: numbers in the file's units, and the branch of each row."""

    applied: FloatArray
    indicated: FloatArray
    direction: tuple[str, ...]


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
    text = read_text(path, file).removeprefix("\N{BYTE ORDER MARK}").replace("\0", "\N{REPLACEMENT CHARACTER}")
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if _is_data(line)]
    if not lines:
        raise InputError(Fault(file, "", "an empty file", "a header and rows", "Write applied,indicated,direction."))
    faults: list[Fault] = []
    header = [name.strip() for name in _cells(lines[0][1])]
    for name in COLUMNS:
        if header.count(name) != 1:
            found = f"the columns {shortened(', '.join(header))}"
            remedy = f"Name the columns {', '.join(COLUMNS)}."
            faults.append(Fault(file, name, found, f"one column {name}", remedy, lines[0][0]))
    if faults:
        raise InputError(*faults)
    rows = [_row(number, dict(zip(header, _cells(line), strict=False)), file, faults) for number, line in lines[1:]]
    if len(rows) < FEWEST_ROWS and not faults:
        remedy = "Add loads; five or more up and down are usual."
        faults.append(Fault(file, "", f"{len(rows)} rows", f"at least {FEWEST_ROWS} rows", remedy))
    if faults:
        raise InputError(*faults[:_MOST_FAULTS])
    applied, indicated, direction = zip(*rows, strict=True)
    return CalibrationTable(np.array(applied), np.array(indicated), tuple(direction))


def _is_data(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _cells(line: str) -> list[str]:
    try:
        return next(csv.reader(io.StringIO(line)), [])
    except csv.Error:
        return line.split(",")


def _row(number: int, cells: dict[str, str], file: str, faults: list[Fault]) -> tuple[float, float, str]:
    faults.extend(_problems(number, cells, file))
    return _number(cells.get("applied")), _number(cells.get("indicated")), cells.get("direction", "").strip()


def _problems(number: int, cells: dict[str, str], file: str) -> Iterator[Fault]:
    for name in ("applied", "indicated"):
        if not math.isfinite(_number(cells.get(name))):
            found = f'"{shortened(cells[name])}"' if name in cells else "a row cut short"
            yield Fault(file, name, found, "a finite number with a decimal point", "Correct the cell.", number)
    direction = cells.get("direction", "").strip()
    if direction not in DIRECTIONS:
        found = f'"{shortened(direction)}"' if direction else "nothing"
        yield Fault(file, "direction", found, "up or down", "Write the branch the load was on.", number)


def _number(text: str | None) -> float:
    if text is None or "_" in text:  # Python reads 1_000, a calibration file does not
        return math.nan
    try:
        return float(text)
    except ValueError:
        return math.nan
