"""How a log is written: encoding, delimiter, decimal mark, comments and the place of its header."""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from dataclasses import dataclass
from operator import itemgetter
from typing import TYPE_CHECKING, Any, Final

from benchproof.campaign.log_faults import listed, quoted
from benchproof.campaign.units import nearest, shortened

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from benchproof.campaign.log_faults import FaultList

WHITE_SPACE: Final = " "
"""As a delimiter: any run of spaces and tabs."""

NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
"""A number as logs write it, with a decimal point."""

COMMENTS: Final = ("#", "%", "//")

_DELIMITERS: Final = (",", ";", "\t", "|", WHITE_SPACE)
_NAMED_DELIMITERS: Final = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "space": WHITE_SPACE}
_HEAD_LINES: Final = 1000
_NOT_FINITE: Final = re.compile(r"[+-]?(nan|inf|infinity|null|none|n/?a)", re.IGNORECASE)
_LONGEST_UNIT: Final = 16


@dataclass(frozen=True, slots=True)
class Stated:
    """What the lab states of a dialect; None is found.

    Parameters
    ----------
    delimiter, decimal, comment, encoding : str or None
        Between cells, inside a number, before a comment, and the codec of the file.
    header : int or None
        Line of the header row, counted from 1.
    """

    delimiter: str | None = None
    decimal: str | None = None
    comment: str | None = None
    encoding: str | None = None
    header: int | None = None


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a log is written.

    Parameters
    ----------
    delimiter : str
        Between cells; a space stands for any run of white space.
    decimal : str
        Decimal mark.
    decimal_sure : bool
        Whether it was stated or seen, so that the other mark is a fault.
    comments : tuple of str
        What a comment line begins with.
    names : tuple of str
        The header's column names.
    columns : tuple of int
        Place of each mapped column among them, in the order asked for.
    width : int
        Cells in a row, blank ones after a trailing delimiter included.
    skip : int
        Lines before the first row of data.
    units : tuple of str
        Units the log gives for the mapped columns in a row of their own; empty if it has none.
    """

    delimiter: str
    decimal: str
    decimal_sure: bool
    comments: tuple[str, ...]
    names: tuple[str, ...]
    columns: tuple[int, ...]
    width: int
    skip: int
    units: tuple[str, ...]

    def is_comment(self, line: str) -> bool:
        """Return whether a line holds no cells."""
        text = line.strip()
        return not text or text.startswith(self.comments)


def read_stated(stated: Mapping[str, object] | None, faults: FaultList) -> Stated:
    """Return the stated part of a dialect, noting what cannot be meant."""
    checks: dict[str, tuple[Callable[[Any], object], str]] = {
        "delimiter": (_delimiter_stated, 'one of "," ";" "tab" "|" "space"'),
        "decimal": (lambda value: value if value in (".", ",") else None, '"." or ","'),
        "comment": (
            lambda value: value if isinstance(value, str) and value.strip() else None,
            'a mark such as "#"',
        ),
        "encoding": (_encoding_stated, 'a text encoding such as "utf-8"'),
        "header": (lambda value: value if type(value) is int and value > 0 else None, "a line number from 1"),
    }
    values: dict[str, object] = {}
    for key, value in (stated or {}).items():
        if value is None:
            continue
        check, expected = checks.get(key, (_nothing, f"one of the keys {', '.join(checks)}"))
        values[key] = check(value)
        if values[key] is None:
            faults.add(
                f"dialect, {quoted(str(key))}",
                quoted(str(value)),
                expected,
                "Correct it, or leave it out to have it found.",
            )
    faults.raise_any()
    return Stated(**values)  # type: ignore[arg-type] # each value passed the check of its key


def _nothing(_: object) -> None:
    """Accept nothing: there is no such key."""


def _delimiter_stated(value: object) -> str | None:
    mark = _NAMED_DELIMITERS.get(str(value), value)
    return mark if isinstance(mark, str) and mark in _DELIMITERS else None


def _encoding_stated(value: object) -> str | None:
    try:
        return codecs.lookup(str(value)).name
    except (LookupError, ValueError):
        return None


def cells(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line, without the spaces and quotes round them."""
    if '"' in line:
        return [cell.strip() for cell in _quoted_cells(line, delimiter)]
    if delimiter == WHITE_SPACE:
        return line.split()
    return [cell.strip() for cell in line.split(delimiter)]


def _quoted_cells(line: str, delimiter: str) -> list[str]:
    if delimiter == WHITE_SPACE:
        line = " ".join(line.split())
    try:
        return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
    except (csv.Error, StopIteration):
        return line.split(delimiter)


def find_dialect(head: bytes, wanted: Sequence[str], stated: Stated, faults: FaultList) -> Dialect:
    """Return how a log is written.

    Parameters
    ----------
    head : bytes
        Whole lines from the beginning of the log, in UTF-8.
    wanted : sequence of str
        The mapped column names.
    stated : Stated
        What need not be found.
    faults : FaultList
        Where what is missing is noted.

    Raises
    ------
    InputError
        If there is no header with the mapped columns.
    """
    lines = [line.decode("utf-8", "replace").rstrip("\r") for line in head.split(b"\n", _HEAD_LINES)[:_HEAD_LINES]]
    comments = (stated.comment.strip(),) if stated.comment else COMMENTS
    delimiters = (stated.delimiter,) if stated.delimiter else _DELIMITERS
    at, delimiter, names = _header(lines, wanted, comments, delimiters, stated.header, faults)
    columns = _columns(names, wanted, at + 1, faults)
    sample = [
        cells(line, delimiter) for line in lines[at + 1 :] if line.strip() and not line.strip().startswith(comments)
    ]
    units = _units(sample, columns)
    sample = sample[bool(units) :]
    decimal, sure = _decimal(sample, columns, stated)
    skip = at + 1 + (_first_row(lines[at + 1 :], comments) if units else 0)
    return Dialect(delimiter, decimal, sure, comments, names, columns, _width(sample, len(names)), skip, units)


def _first_row(lines: Sequence[str], comments: tuple[str, ...]) -> int:
    """Return how many lines reach to the end of the first one that is not blank or a comment."""
    return 1 + next(i for i, line in enumerate(lines) if line.strip() and not line.strip().startswith(comments))


def _header(
    lines: Sequence[str],
    wanted: Sequence[str],
    comments: tuple[str, ...],
    delimiters: Sequence[str],
    stated: int | None,
    faults: FaultList,
) -> tuple[int, str, tuple[str, ...]]:
    """Return index, delimiter and names of the row with the most mapped names, the first such row."""
    if stated is not None and stated > len(lines):
        faults.refuse(
            "dialect, header",
            f"line {stated}",
            f"one of the log's first {len(lines)} lines",
            "Correct the line number of the header row.",
        )
    looked = range(len(lines)) if stated is None else range(stated - 1, stated)
    best: tuple[tuple[int, bool, int, int], str, tuple[str, ...]] = ((-1, False, 0, 0), ",", ())
    for at in looked:
        for delimiter in delimiters if lines[at].strip() else ():
            names = _names(lines[at], comments, delimiter)
            hits = len(set(wanted).intersection(names))
            # Where no line has a mapped name, the first line of cells is shown, as the delimiter that cuts it most.
            rank = (hits, not lines[at].lstrip().startswith(comments), -at, len(names))
            best = max(best, (rank, delimiter, names), key=itemgetter(0))
        if best[0][0] == len(set(wanted)):
            break
    return -best[0][2], best[1], best[2]


def _names(line: str, comments: tuple[str, ...], delimiter: str) -> tuple[str, ...]:
    """Return the column names of a header row, which may stand in a comment."""
    text = line.strip(" \r\n")
    mark = next((mark for mark in comments if text.startswith(mark)), "")
    names = [name.strip("'\"").strip() for name in cells(text.removeprefix(mark), delimiter)]
    while names and not names[-1]:
        names.pop()
    return tuple(names)


def _columns(names: tuple[str, ...], wanted: Sequence[str], line: int, faults: FaultList) -> tuple[int, ...]:
    """Return the place of each mapped column.

    Raises
    ------
    InputError
        If one is missing or there twice.
    """
    for name in dict.fromkeys(wanted):
        if name not in names:
            faults.add(f"column {quoted(name)}", *_missing(name, names), line)
        elif names.count(name) > 1:
            twice = " and ".join(str(place + 1) for place, other in enumerate(names) if other == name)
            faults.add(
                f"column {quoted(name)}",
                f"the name at places {shortened(twice)} of the header",
                "column names that differ",
                "Rename one of the two in the logger, or map a column whose name stands alone.",
                line,
            )
    faults.raise_any()
    return tuple(names.index(name) for name in wanted)


def _missing(name: str, names: tuple[str, ...]) -> tuple[str, str, str]:
    near = nearest(name, names)
    advice = f"Map the column {quoted(near)}, if that is meant." if near else "Map one of the log's columns."
    return (
        f"the columns {listed(names)}" if names else "no header row",
        f"a header row with the column {quoted(name)}",
        f"{advice} Spelling and capitals must be the log's.",
    )


def _units(sample: Sequence[list[str]], columns: tuple[int, ...]) -> tuple[str, ...]:
    """Return the cells of a row of units under the header, or nothing if the first row is not one."""
    if not sample or len(sample[0]) <= max(columns):
        return ()
    found = tuple(sample[0][column] for column in columns)
    words = any(cell.strip("[]() 1-") for cell in found)
    return found if words and all(_may_be_unit(cell) for cell in found) else ()


def _may_be_unit(cell: str) -> bool:
    text = cell.strip("[]() ")
    if text in ("", "-") or text.startswith("1/"):
        return True
    return len(text) <= _LONGEST_UNIT and text[0] not in "+-.,0123456789" and not _NOT_FINITE.fullmatch(text)


def _decimal(sample: Sequence[list[str]], columns: tuple[int, ...], stated: Stated) -> tuple[str, bool]:
    """Return the decimal mark that most mapped cells have, and whether it is sure."""
    if stated.decimal:
        return stated.decimal, True
    mapped = [row[column] for row in sample for column in columns if column < len(row)]
    points, commas = (sum(mark in cell for cell in mapped) for mark in ".,")
    return (",", True) if commas > points else (".", points > 0)


def _width(sample: Sequence[list[str]], names: int) -> int:
    """Return the usual number of cells in a row, which may be more than names only by blank ones."""
    counts = Counter(len(row) for row in sample if not any(row[names:]))
    return max(names, counts.most_common(1)[0][0] if counts else 0)
