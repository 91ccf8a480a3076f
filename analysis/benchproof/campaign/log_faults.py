"""What can be wrong with a log, said so that it can be mended; and whether its time runs on."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from benchproof.campaign.units import shortened
from benchproof.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST: Final = 20
"""Faults reported together; a log with more is not read to its end."""

_NAMES_LISTED: Final = 12
_LONGEST_NAME: Final = 40

STRAY: Final = 0.01
"""Largest share of rows whose stamp may repeat the row before; above it the stamps are too coarse, not stray."""


def quoted(text: str) -> str:
    """Return text from a log as one short printable line in quotes."""
    return f'"{shortened(text.strip(), _LONGEST_NAME)}"'


def listed(names: Sequence[str]) -> str:
    """Return the column names of a log, quoted, the first dozen of them."""
    shown = ", ".join(quoted(name) for name in names[:_NAMES_LISTED])
    return f"{shown} and {len(names) - _NAMES_LISTED} more" if len(names) > _NAMES_LISTED else shown


@dataclass(slots=True)
class FaultList:
    """The faults of one log as they are found.

    Parameters
    ----------
    file : str
        The log, as faults name it.
    """

    file: str
    faults: list[Fault] = field(default_factory=list)

    @property
    def full(self) -> bool:
        """Whether no more faults are taken."""
        return len(self.faults) >= MOST

    def add(self, place: str, found: str, expected: str, remedy: str, line: int | None = None) -> None:
        """Note a fault, unless there are enough."""
        if not self.full:
            self.faults.append(Fault(self.file, place, found, expected, remedy, line))

    def take(self, faults: Sequence[Fault]) -> None:
        """Note faults found where the log's name was not known."""
        for fault in faults:
            self.add(fault.place, fault.found, fault.expected, fault.remedy, fault.line)

    def refuse(self, place: str, found: str, expected: str, remedy: str, line: int | None = None) -> NoReturn:
        """Give up on a log that cannot be read past this fault.

        Raises
        ------
        InputError
            With this fault and those found before it.
        """
        raise InputError(*self.in_order(), Fault(self.file, place, found, expected, remedy, line))

    def in_order(self) -> list[Fault]:
        """Return the faults in the order of the file."""
        return sorted(self.faults, key=lambda fault: fault.line or 0)

    def raise_any(self) -> None:
        """Raise what was found.

        Raises
        ------
        InputError
            If there are faults.
        """
        if self.faults:
            raise InputError(*self.in_order())


@dataclass(slots=True)
class TimeOrder:
    """Judges, block by block, whether time runs on.

    Parameters
    ----------
    column : str
        The time column, as faults name it.
    faults : FaultList
        Where time that does not run on is noted.
    """

    column: str
    faults: FaultList
    last: float = -np.inf
    last_repeats: bool = False
    rows: int = 0
    repeats: int = 0
    first_repeat: int | None = None

    def keep(self, stamps: FloatArray, line_of: Callable[[int], int]) -> BoolArray | None:
        """Return which rows of a block stay, or None for all: of two with one stamp, the later is dropped.

        Parameters
        ----------
        stamps : ndarray, shape (n,)
            The block's times in the log's own unit.
        line_of : callable
            Line of a row of the block.
        """
        before = np.concatenate(([self.last], stamps[:-1]))
        if np.all(stamps > before):
            repeats = np.zeros(0, np.bool_)
        else:
            self._backwards(stamps, before, line_of)
            repeats = self._repeats(stamps, before, line_of)
        self.rows += stamps.size
        self.last, self.last_repeats = float(stamps[-1]), bool(repeats[-1]) if repeats.size else False
        return ~repeats if repeats.any() else None

    def _backwards(self, stamps: FloatArray, before: FloatArray, line_of: Callable[[int], int]) -> None:
        for row in np.flatnonzero(stamps < before)[:MOST]:
            self.faults.add(
                self.column,
                f"time {stamps[row]:.12g} after {before[row]:.12g}",
                "time that increases from row to row",
                "Cut the log where the clock was set or a second recording begins, and name each part as its own log.",
                line_of(int(row)),
            )

    def _repeats(self, stamps: FloatArray, before: FloatArray, line_of: Callable[[int], int]) -> BoolArray:
        repeats = stamps == before
        self.repeats += int(np.count_nonzero(repeats))
        if self.first_repeat is None and repeats.any():
            self.first_repeat = line_of(int(np.argmax(repeats)))
        again = repeats & np.concatenate(([self.last_repeats], repeats[:-1]))
        for row in np.flatnonzero(again)[:MOST]:
            self.faults.add(
                self.column,
                f"time {stamps[row]:.12g} in three or more rows one after another",
                "time that increases from row to row",
                "Let the logger write time with more digits, or export the log again.",
                line_of(int(row)),
            )
        return np.asarray(repeats, dtype=np.bool_)

    def finish(self) -> None:
        """Note stamps that repeat too often to be stray."""
        if self.repeats > max(2, int(STRAY * self.rows)) and not self.faults.full:
            self.faults.add(
                self.column,
                f"{self.repeats} of {self.rows} rows with the time of the row before",
                f"time that increases from row to row, a stray repeat apart (at most {STRAY:.0%} of rows)",
                "Let the logger write time with more digits, or export the log again.",
                self.first_repeat,
            )
