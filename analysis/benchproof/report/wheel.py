"""The benchproof that made a report, as the wheel a reader can install: the same bytes however it is installed here.

An installed package is packed again from its own files; a checkout is packed from its sources in the same layout. Both
take their metadata from what the installer wrote, without what belongs to this machine alone.
"""

from __future__ import annotations

import base64
import hashlib
import io
from dataclasses import dataclass
from functools import cache
from importlib.metadata import distribution
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

from benchproof.report.packing import packing
from benchproof.report.templates import templates_folder

if TYPE_CHECKING:
    from collections.abc import Iterator
    from importlib.metadata import Distribution

PACKAGE: Final = "benchproof"
LOCK: Final = "requirements.lock"
"""Package data: the whole environment a release was tested with, pinned and hashed."""

_METADATA: Final = ("METADATA", "WHEEL", "entry_points.txt")
_LICENSES: Final = "licenses/"


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel.

    Parameters
    ----------
    name : str
        File name.
    data : bytes
        The file.
    """

    name: str
    data: bytes


@cache
def own_wheel() -> Wheel:
    """Return the wheel of the benchproof that runs; made once in a process."""
    found = distribution(PACKAGE)
    contents = dict(sorted(_package_files(found)))
    info = f"{PACKAGE}-{found.version}.dist-info"
    contents |= {f"{info}/{name}": data for name, data in sorted(_metadata(found))}
    record = f"{info}/RECORD"
    lines = [f"{name},sha256={_digest(data)},{len(data)}" for name, data in contents.items()]
    contents[record] = ("\n".join([*lines, f"{record},,"]) + "\n").encode()
    buffer = io.BytesIO()
    with packing(buffer) as zipped:
        for name, data in contents.items():
            zipped.add(name, data)
    return Wheel(f"{PACKAGE}-{found.version}-py3-none-any.whl", buffer.getvalue())


def lock_file() -> bytes:
    """Return the pinned and hashed requirements of the release."""
    return (Path(str(files(PACKAGE))) / LOCK).read_bytes()


def _package_files(found: Distribution) -> Iterator[tuple[str, bytes]]:
    """Yield the package's files by their place in a wheel; templates stand inside the package there."""
    root = Path(str(files(PACKAGE)))
    if _is_installed(found, root):
        names = [str(name) for name in found.files or () if str(name).startswith(f"{PACKAGE}/")]
        places = [(name, Path(str(found.locate_file(name)))) for name in names]
    else:
        folders = {PACKAGE: root, f"{PACKAGE}/templates": templates_folder()}
        places = [(f"{at}/{p.relative_to(top).as_posix()}", p) for at, top in folders.items() for p in top.rglob("*")]
    for name, path in places:
        if path.suffix != ".pyc" and path.is_file():
            yield name, path.read_bytes()


def _is_installed(found: Distribution, root: Path) -> bool:
    """Say whether the package that runs is the installed copy, with its templates inside."""
    module = f"{PACKAGE}/__init__.py"
    recorded = any(str(name) == module for name in found.files or ())
    return recorded and Path(str(found.locate_file(module))).resolve() == (root / "__init__.py").resolve()


def _metadata(found: Distribution) -> Iterator[tuple[str, bytes]]:
    """Yield the metadata files that any installer leaves as they were in the wheel."""
    inside = f"{PACKAGE}-{found.version}.dist-info/"
    for path in found.files or ():
        name = str(path).removeprefix(inside)
        if str(path).startswith(inside) and (name in _METADATA or name.startswith(_LICENSES)):
            yield name, Path(str(found.locate_file(path))).read_bytes()


def _digest(data: bytes) -> str:
    """Return a digest as a wheel's RECORD has it."""
    return base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()
