"""What an earlier build saw: sizes and times of files beside their digests, and what each campaign came to.

It spares reading what has not changed, and nothing else: every answer it gives is the one the files give. A file is
taken for unchanged when size, times and inode are those it had when it was digested, and it had then lain still for
long enough that no later change can have left the same times. Delete it and nothing is lost but time.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import time
from collections.abc import Mapping  # noqa: TC003 - pydantic reads the annotations
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

from pydantic import TypeAdapter, ValidationError

from benchproof.findings.archive import Traits  # noqa: TC001 - pydantic reads the annotations

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

MARGIN: Final = 2_000_000_000
"""Nanoseconds a file must have lain still when it was digested: the coarsest times of file systems in use."""


class Stamp(NamedTuple):
    """A file as it was digested.

    Parameters
    ----------
    size : int
        Bytes.
    modified, changed : int
        Times of its content and of its inode, in nanoseconds.
    inode : int
        Which file it is.
    digest : str
        ``sha256:…``, empty where there is no such file.
    still : bool
        Whether it had lain still for the margin.
    """

    size: int
    modified: int
    changed: int
    inode: int
    digest: str
    still: bool


@dataclass(frozen=True, slots=True)
class Seen:
    """A campaign as it was judged.

    Parameters
    ----------
    key : str
        Its run key.
    files : tuple of str
        Files it declares, relative to the workspace.
    digest : str
        Of their digests.
    refers_to : tuple of str
        Campaigns that its claims and quotes name.
    compares : tuple of str
        The campaigns of a comparison, in its order.
    traits : Traits or None
        What it tells the archive; None where it is no motor campaign.
    """

    key: str
    files: tuple[str, ...]
    digest: str
    refers_to: tuple[str, ...] = ()
    compares: tuple[str, ...] = ()
    traits: Traits | None = None


@dataclass(frozen=True, slots=True)
class Manifest:
    """What an earlier build saw.

    Parameters
    ----------
    software : str
        Digest of the software that judged the campaigns.
    archive : str
        Digest of the names of all campaigns.
    files : Mapping of str to Stamp
        Stamps by path relative to the workspace.
    campaigns : Mapping of str to Seen
        What each campaign came to.
    """

    software: str = ""
    archive: str = ""
    files: Mapping[str, Stamp] = field(default_factory=dict)
    campaigns: Mapping[str, Seen] = field(default_factory=dict)


_MANIFEST: Final = TypeAdapter(Manifest)


def read_manifest(path: Path) -> Manifest:
    """Return the manifest; an empty one where it is not there or cannot be read."""
    try:
        return _MANIFEST.validate_json(path.read_bytes())
    except (OSError, ValidationError):
        return Manifest()


def write_manifest(path: Path, manifest: Manifest) -> None:
    """Put the manifest in place whole; where the disk does not take it, the next build only reads more."""
    beside = path.with_suffix(f".{os.getpid()}.new")
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(_MANIFEST.dump_json(manifest))
        beside.replace(path)
    beside.unlink(missing_ok=True)


class Digests:
    """Digests of files, read only where their stamps do not vouch for them.

    Parameters
    ----------
    root : Path
        The workspace.
    known : Mapping of str to Stamp
        Stamps of an earlier build; empty to read everything.
    """

    def __init__(self, root: Path, known: Mapping[str, Stamp]) -> None:
        self.root = root
        self.known = known
        self.stamps: dict[str, Stamp] = {}

    def of(self, name: str) -> str:
        """Return a file's digest, empty where there is no such file."""
        if name not in self.stamps:
            self.stamps[name] = self._stamp(name)
        return self.stamps[name].digest

    def by_file(self, names: Iterable[str]) -> dict[str, str]:
        """Return the digest of each of some files."""
        return {name: self.of(name) for name in names}

    def same(self, name: str) -> bool:
        """Say whether a file is the very one of the earlier build, and so also lies where it lay."""
        known, found = self.known.get(name), self.of(name)
        return known is not None and known[:4] == self.stamps[name][:4] and known.digest == found

    def over(self, names: Iterable[str]) -> str:
        """Return one digest over some files."""
        lines = "".join(f"{name}\0{self.of(name)}\n" for name in names)
        return hashlib.sha256(lines.encode()).hexdigest()

    def _stamp(self, name: str) -> Stamp:
        path = self.root / name
        try:
            found = path.stat()
        except OSError:
            return Stamp(0, 0, 0, 0, "", still=False)
        times = (found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino)
        known = self.known.get(name)
        if known is not None and known.still and known[:4] == times:
            return known
        still = max(found.st_mtime_ns, found.st_ctime_ns) < time.time_ns() - MARGIN
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        return Stamp(*times, f"sha256:{digest}", still)
