"""A report's folder while it is written: every file is digested on its way to the disk, and not read again for it."""

from __future__ import annotations

import hashlib
import shutil
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

_BLOCK: Final = 1 << 20


class Writing:
    """A folder being written.

    Parameters
    ----------
    folder : Path
        Where; made.
    """

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True)
        self.folder = folder
        self._sums: dict[str, str] = {}
        self._made = {""}

    @property
    def sums(self) -> dict[str, str]:
        """SHA-256 of every file there is so far, sorted by path."""
        return dict(sorted(self._sums.items()))

    def text(self, name: str, text: str) -> None:
        """Write a text in UTF-8."""
        self.data(name, text.encode("utf-8"))

    def data(self, name: str, data: bytes) -> None:
        """Write a file."""
        self._path(name).write_bytes(data)
        self._sums[name] = hashlib.sha256(data).hexdigest()

    def copy(self, name: str, source: Path) -> None:
        """Copy a file without reading it into memory as a whole."""
        with source.open("rb") as reading, self._path(name).open("wb") as writing:
            shutil.copyfileobj(reading, writing, _BLOCK)
        self.sum_up(name)

    def sum_up(self, name: str) -> None:
        """Digest a file that somebody else wrote."""
        self._sums[name] = digest(self.folder / name)

    def _path(self, name: str) -> Path:
        inside = name.rpartition("/")[0]
        if inside not in self._made:
            (self.folder / inside).mkdir(parents=True, exist_ok=True)
            self._made.add(inside)
        return self.folder / name


def digest(path: Path) -> str:
    """Return a file's SHA-256."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
