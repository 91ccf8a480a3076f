"""Zip files whose bytes depend on their contents alone: fixed dates and rights, a fixed order, one compression.

Entries are deflated at one level, or stored where their format is compressed already. Another zlib may deflate to other
bytes; the entries and their checksums are the same everywhere.
"""

from __future__ import annotations

import hashlib
import io
from contextlib import contextmanager
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Final
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import BinaryIO

DATE: Final = (2020, 1, 1, 0, 0, 0)
"""Date of every entry: when something was packed is nobody's business, and would make every zip another one."""

SUMS: Final = "SHA256SUMS"
"""Name of the list of checksums, in the folder of a report and in a bundle."""

_COMPRESSED: Final = frozenset({".whl", ".zip", ".png", ".jpg", ".jpeg", ".parquet"})
_LEVEL: Final = 5
"""Raw logs take half the time of zlib's standard level 6, and a hundredth more room."""

_BLOCK: Final = 1 << 20
_REGULAR_FILE: Final = 0o100644 << 16
_UNIX: Final = 3
_LARGE: Final = 1 << 31


class Packing:
    """A zip file being written.

    Parameters
    ----------
    target : Path or binary stream
        Where to.
    """

    def __init__(self, target: Path | io.BytesIO) -> None:
        self._zip = ZipFile(target, "w")
        self.sums: dict[str, str] = {}

    def add(self, name: str, data: bytes | str) -> None:
        """Add an entry; text is written in UTF-8."""
        raw = data.encode("utf-8") if isinstance(data, str) else data
        self._copy(name, io.BytesIO(raw), len(raw))

    def add_file(self, name: str, path: Path) -> None:
        """Add a file, a block at a time."""
        with path.open("rb") as stream:
            self._copy(name, stream, path.stat().st_size)

    def close(self) -> None:
        """Write the directory at the end of the zip."""
        self._zip.close()

    def _copy(self, name: str, source: BinaryIO, size: int) -> None:
        entry = ZipInfo(name, DATE)
        entry.create_system = _UNIX
        entry.external_attr = _REGULAR_FILE
        entry.compress_type = ZIP_STORED if PurePosixPath(name).suffix.lower() in _COMPRESSED else ZIP_DEFLATED
        entry._compresslevel = _LEVEL  # type: ignore[attr-defined]
        digest = hashlib.sha256()
        with self._zip.open(entry, "w", force_zip64=size >= _LARGE) as target:
            while block := source.read(_BLOCK):
                digest.update(block)
                target.write(block)
        self.sums[name] = digest.hexdigest()


@contextmanager
def packing(target: Path | io.BytesIO) -> Iterator[Packing]:
    """Write a zip file; it is whole when the block is left."""
    made = Packing(target)
    try:
        yield made
    finally:
        made.close()


def sum_line(name: str, digest: str) -> str:
    """Return a line of SHA256SUMS as coreutils write it: with a backslash in front where the name needs escapes."""
    escaped = name.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    return f"{'' if escaped == name else chr(92)}{digest}  {escaped}\n"


def sum_lines(sums: dict[str, str]) -> str:
    """Return the text of SHA256SUMS, sorted by name."""
    return "".join(sum_line(name, sums[name]) for name in sorted(sums))
