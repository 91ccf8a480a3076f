"""One at a time: a lock that keeps two builds, or a build and a publication, out of one another's way."""

from __future__ import annotations

import contextlib
import fcntl
import os
import socket
from typing import TYPE_CHECKING

from benchproof.errors import RequestError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import TextIO


@contextlib.contextmanager
def sole_use(folder: Path, purpose: str) -> Iterator[None]:
    """Hold the build folder while the body runs; a killed holder's lock is gone with it.

    Parameters
    ----------
    folder : Path
        ``build/``; made.
    purpose : str
        What for, in a word, told to whoever finds the folder taken.

    Raises
    ------
    RequestError
        If another process holds it; names that process.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / ".lock").open("a+", encoding="utf-8") as stream:
        try:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise RequestError(_taken(folder, stream)) from None
        stream.truncate(0)
        stream.write(f"benchproof {purpose}, process {os.getpid()} on {socket.gethostname()}")
        stream.flush()
        yield
        stream.truncate(0)


def _taken(folder: Path, stream: TextIO) -> str:
    stream.seek(0)
    holder = stream.read(200) or "another process"
    return f"{folder.name}/ is in use by {holder}; wait until it is done, or end it, and try again"
