"""Unpacking a bundle that may come from anybody: every entry is judged before the first byte is written.

Only regular files with plain relative names are unpacked, into a folder that was empty. What a zip says of its own
sizes is not believed: the count stops at the limits.
"""

from __future__ import annotations

import errno
import hashlib
import re
import stat
import struct
import unicodedata
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile

from benchproof.errors import BenchproofError, BundleRefused, RequestError
from benchproof.report.packing import SUMS
from benchproof.report.words import visible

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path
    from typing import BinaryIO
    from zipfile import ZipInfo


@dataclass(frozen=True, slots=True)
class Limits:
    """How much a bundle may hold.

    Parameters
    ----------
    files : int
        Entries.
    size : int
        Bytes when unpacked.
    ratio : int
        Bytes unpacked for each byte packed, over the whole zip; logs of numbers come to some 5 to 20.
    plain : int
        Bytes of one file that is no raw log.
    directory : int
        Bytes of the zip's own list of entries.
    """

    files: int = 20_000
    size: int = 16 << 30
    ratio: int = 200
    plain: int = 256 << 20
    directory: int = 16 << 20


LIMITS: Final = Limits()

MARKS: Final = (SUMS, "results.json", "runs/lab.yaml")
"""Files that every bundle has at these places; a zip with fewer than two of them is something else."""

_BLOCK: Final = 1 << 20
_LONGEST: Final = 1000
_ENCRYPTED: Final = 0x1
_LINE: Final = re.compile(r"(\\?)([0-9a-f]{64})  (.+)")
_END, _END_64, _LOCATOR = b"PK\x05\x06", b"PK\x06\x06", b"PK\x06\x07"
_TAIL: Final = (1 << 16) + 128


def unpack(bundle: Path, into: Path, limits: Limits = LIMITS) -> None:
    """Unpack a bundle into an empty folder.

    Parameters
    ----------
    bundle : Path
        The file.
    into : Path
        Where to; made.
    limits : Limits
        How much it may hold.

    Raises
    ------
    RequestError
        If there is no such file, or it is no bundle.
    BundleRefused
        If it is a bundle with something in it that none has, or damaged. Nothing is left unpacked then but what the
        caller throws away with the folder.
    """
    if not bundle.is_file():
        message = f"no bundle at {bundle}; check the path"
        raise RequestError(message)
    into.mkdir(parents=True)
    try:
        with bundle.open("rb") as stream:
            _refuse_long_directory(stream, limits)
            with ZipFile(stream) as zipped:
                _unpack(zipped, bundle, into, limits)
    except BenchproofError:
        raise
    except (BadZipFile, zlib.error, struct.error, EOFError, NotImplementedError, ValueError, OverflowError) as error:
        message = f"{bundle.name} is not a bundle: it is no zip file, or a damaged one ({error}); download it again"
        raise RequestError(message) from None


def sum_problems(folder: Path) -> list[str]:
    """Return what does not agree with SHA256SUMS: files changed, missing, or not listed."""
    try:
        text = (folder / SUMS).read_text(encoding="utf-8")
    except (OSError, UnicodeError):
        return [f"{SUMS} is missing or unreadable: nothing says what the files should be"]
    listed: dict[str, str] = {}
    for number, line in enumerate(text.removesuffix("\n").split("\n"), start=1):
        found = _LINE.fullmatch(line)
        if found is None:
            return [f"{SUMS}:{number}: not a line as sha256sum writes it"]
        listed[_unescaped(found[3]) if found[1] else found[3]] = found[2]
    there = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    there.pop(SUMS)
    problems = [f"{visible(name)} is missing, though {SUMS} lists it" for name in sorted(listed.keys() - there.keys())]
    problems += [f"{visible(name)} is not listed in {SUMS}" for name in sorted(there.keys() - listed.keys())]
    for name in sorted(there.keys() & listed.keys()):
        if _digest(there[name]) != listed[name]:
            problems.append(f"{visible(name)} was changed: its SHA-256 is not the one in {SUMS}")
    return problems


def _unpack(zipped: ZipFile, bundle: Path, into: Path, limits: Limits) -> None:
    entries = zipped.infolist()
    is_bundle = len({entry.filename for entry in entries} & set(MARKS)) > 1
    reasons = list(_objections(entries, limits))
    if not is_bundle:
        also = f" Also: {reasons[0]}." if reasons else ""
        message = f"{bundle.name} is not a bundle: it lacks {', '.join(MARKS)} at its root.{also}"
        raise RequestError(message)
    if reasons:
        raise BundleRefused(*(f"refused, nothing was unpacked: {reason}" for reason in reasons))
    left = limits.size
    for entry in entries:
        if not entry.is_dir():
            try:
                left -= _write(zipped, entry, into, left)
            except OSError as error:
                if (
                    error.errno != errno.EINVAL
                ):  # a place before the file's start is the zip's fault, the rest the disk's
                    raise
                reason = f"{visible(entry.filename)} is damaged; download the bundle again"
                raise BundleRefused(reason) from None
            except (BadZipFile, zlib.error, EOFError, struct.error) as error:
                reason = f"{visible(entry.filename)} is damaged ({error}); download the bundle again"
                raise BundleRefused(reason) from None


def _write(zipped: ZipFile, entry: ZipInfo, into: Path, most: int) -> int:
    """Write one entry; return how long it was."""
    target = into / entry.filename
    target.parent.mkdir(parents=True, exist_ok=True)
    written = 0
    with zipped.open(entry) as source, target.open("xb") as sink:
        while block := source.read(_BLOCK):
            written += len(block)
            if written > min(most, entry.file_size):
                raise BundleRefused(f"{visible(entry.filename)} is longer than the bundle says")  # noqa: EM102
            sink.write(block)
    return written


def _objections(entries: Sequence[ZipInfo], limits: Limits) -> Iterator[str]:
    """Yield what is wrong with the entries, judged by the zip's directory."""
    if len(entries) > limits.files:
        yield f"{len(entries)} entries; a bundle has at most {limits.files}"
        return
    size, packed = sum(e.file_size for e in entries), sum(e.compress_size for e in entries)
    if size > limits.size or size > limits.ratio * max(packed, _BLOCK // limits.ratio):
        yield f"it would unpack to {size} bytes from {packed}: more than a bundle's logs can come to"
    seen: dict[str, str] = {}
    for entry in entries:
        name = entry.filename
        if (wrong := _wrong_name(entry.orig_filename) or _wrong_kind(entry)) is not None:
            yield f"the entry {visible(name)[:200]!r} {wrong}"
        if entry.file_size > limits.plain and "/raw/" not in name:
            yield f"the entry {visible(name)[:200]!r} is of {entry.file_size} bytes; only a raw log may be that long"
        folded = unicodedata.normalize("NFC", name.rstrip("/")).casefold()
        if folded in seen:
            twice = f"{visible(seen[folded])[:200]!r} and {visible(name)[:200]!r}"
            yield f"the entries {twice} are one file on some machines"
        seen[folded] = name
    for folded, name in seen.items():
        above = [folded[:k] for k, letter in enumerate(folded) if letter == "/"]
        if any(part in seen and not seen[part].endswith("/") for part in above):
            yield f"the entry {visible(name)[:200]!r} lies inside another file"


def _wrong_name(name: str) -> str | None:
    """Return what is wrong with an entry's name, or None."""
    if name.startswith("/") or re.match(r"[A-Za-z]:", name):
        return "has an absolute path"
    if "\\" in name or any(unicodedata.category(letter) in ("Cc", "Cs") for letter in name):
        return "has a character that no file of a bundle has"
    parts = name.removesuffix("/").split("/")
    if ".." in parts:
        return "has a path with .. in it"
    if any(part in ("", ".") for part in parts) or len(name) > _LONGEST or any(len(p.encode()) > 255 for p in parts):
        return "has a path that is empty, too long, or not plain"
    return None


def _wrong_kind(entry: ZipInfo) -> str | None:
    """Return what is wrong with an entry's kind, or None."""
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if kind == stat.S_IFLNK:
        return "is a link"
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        return "is a device or something else that is no file"
    if entry.flag_bits & _ENCRYPTED:
        return "is encrypted"
    if entry.compress_type not in (ZIP_STORED, ZIP_DEFLATED):
        return "is compressed in a way that no bundle uses"
    return None


def _refuse_long_directory(stream: BinaryIO, limits: Limits) -> None:
    """Raise if the zip's own list of entries is too long to be read into memory."""
    end = stream.seek(0, 2)
    stream.seek(max(0, end - _TAIL))
    tail = stream.read()
    place = tail.rfind(_END)
    if place < 0 or len(tail) < place + 22:
        message = "no zip directory at its end"
        raise BadZipFile(message)
    (size,) = struct.unpack_from("<L", tail, place + 12)
    if place >= 20 and tail[place - 20 : place - 16] == _LOCATOR:
        (where,) = struct.unpack_from("<Q", tail, place - 12)
        stream.seek(min(where, end))
        record = stream.read(56)
        if len(record) == 56 and record[:4] == _END_64:
            (size,) = struct.unpack_from("<Q", record, 40)
    if size > limits.directory:
        message = f"a zip with a list of entries of {size} bytes is not a bundle"
        raise RequestError(message)
    stream.seek(0)


def _unescaped(name: str) -> str:
    """Return a name as SHA256SUMS escapes it, read back."""
    return re.sub(r"\\(.)", lambda found: {"n": "\n", "r": "\r"}.get(found[1], found[1]), name)


def _digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
