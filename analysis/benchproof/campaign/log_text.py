"""The text of a log, whatever its encoding, a block of whole lines at a time; what is not text is refused."""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.campaign.log_faults import FaultList

BLOCK: Final = 1 << 18
"""Bytes read at a time: enough that calls cost nothing, few enough that memory is used again instead of mapped anew."""

LONGEST_LINE: Final = 1 << 16
"""Bytes in a line above which it is no row of a log."""

NULS: Final = "NUL bytes, which are no text"
NULS_REMEDY: Final = "Copy the log off the logger again; if the logger lost power here, cut the log at this line."

_PACKED: Final = {
    b"\x1f\x8b": "gzip",
    b"PK\x03\x04": "zip (spreadsheets are such files)",
    b"BZh": "bzip2",
    b"\xfd7zXZ\x00": "xz",
    b"\x28\xb5\x2f\xfd": "zstd",
    b"7z\xbc\xaf\x27\x1c": "7z",
    b"\x04\x22\x4d\x18": "lz4",
}
_MARKS: Final = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}
_NOT_TEXT: Final = bytes(range(9)) + bytes(range(14, 32)) + b"\x7f"
_JUDGED: Final = 1024


@dataclass(frozen=True, slots=True)
class Block:
    """Whole lines of a log.

    Parameters
    ----------
    data : bytes
        UTF-8; every line ends in a line feed, but the log's last may not.
    line : int
        Number of the first line, counted from 1.
    count : int
        How many lines there are.
    """

    data: bytes
    line: int
    count: int

    def after(self, skip: int) -> Block:
        """Return the block without its first lines."""
        start = 0
        for _ in range(skip):
            start = self.data.find(b"\n", start) + 1 or len(self.data)
        return Block(self.data[start:], self.line + skip, self.count - skip)


def find_encoding(head: bytes, faults: FaultList) -> str:
    """Return the codec of a log from its first bytes.

    Raises
    ------
    InputError
        If it is compressed or not text at all.
    """
    for magic, kind in _PACKED.items():
        if head.startswith(magic):
            faults.refuse(
                "", f"a file packed with {kind}", "a text log", "Unpack or export it, and name the text file."
            )
    for mark, codec in _MARKS.items():
        if head.startswith(mark):
            return codec
    start = head[:_JUDGED]
    zeros_first, zeros_second = start[::2].count(0), start[1::2].count(0)
    if max(zeros_first, zeros_second) > len(start) // 4 > min(zeros_first, zeros_second):
        return "utf-16-le" if zeros_second > zeros_first else "utf-16-be"
    if len(start) - len(start.translate(None, _NOT_TEXT)) > len(start) // 50:
        faults.refuse("", "bytes that are no text", "a text log", "Export the log as text (CSV), and name that file.")
    return _eight_bit(head)


def _eight_bit(head: bytes) -> str:
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def line_blocks(file: IO[bytes], head: bytes, encoding: str, faults: FaultList) -> Iterator[Block]:
    """Yield a log in blocks of whole lines.

    Parameters
    ----------
    file : binary file
        Open behind `head`.
    head : bytes
        What was read of it.
    encoding : str
        Its codec.
    faults : FaultList
        Holds the faults found before.

    Raises
    ------
    InputError
        If a line is longer than any row.
    """
    rest, line = b"", 1
    for more in _decoded(file, head, encoding):
        text = rest + more
        end = text.rfind(b"\n") + 1
        _refuse_long_lines(text, line, faults)
        if end:
            data = text[:end]
            block = Block(data, line, _lines_in(data))
            yield block
            line += block.count
        rest = text[end:]
    if rest:
        yield Block(rest, line, 1)


def _decoded(file: IO[bytes], head: bytes, encoding: str) -> Iterator[bytes]:
    """Yield the log in UTF-8, as long as it comes, with line feeds where it has carriage returns alone."""
    decoder = None if encoding == "utf-8" else codecs.getincrementaldecoder(encoding)("replace")
    returns_alone = b"\r" in head and b"\n" not in head
    chunk = head
    while chunk:
        data = decoder.decode(chunk).encode("utf-8", "replace") if decoder else chunk
        yield data.replace(b"\r", b"\n") if returns_alone else data
        chunk = file.read(BLOCK)
    if decoder:
        yield decoder.decode(b"", final=True).encode("utf-8", "replace")


def _lines_in(data: bytes) -> int:
    # Counting one byte value is five times faster in an array than by bytes.count where lines are short.
    return int(np.count_nonzero(np.frombuffer(data, np.uint8) == ord("\n")))


def _refuse_long_lines(text: bytes, line: int, faults: FaultList) -> None:
    """Refuse text with a line longer than any row, looking from line end to line end in the largest steps allowed."""
    start = 0
    while len(text) - start > LONGEST_LINE:
        end = text.rfind(b"\n", start, start + LONGEST_LINE + 1)
        if end < 0:
            here = line + text.count(b"\n", 0, start)
            if b"\0" in text[start : start + LONGEST_LINE]:
                faults.refuse("", NULS, "rows of a few cells", NULS_REMEDY, here)
            found = f"a line of more than {LONGEST_LINE} characters"
            faults.refuse("", found, "rows of a few cells", "Export the log with one row a line.", here)
        start = end + 1
