"""When a campaign's notebook must run again: when anything its outputs depend on has changed.

The key is a digest of contents: the input files, the library and its notebook, the versions of what they stand on.
A changed template is not in it, because pages are assembled from the kept notebook without running anything.
"""

from __future__ import annotations

import hashlib
import json
import platform
from functools import cache
from importlib.metadata import distributions
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

PAGES_ONLY: Final = ("templates", "report", "archive", "cli.py", "__pycache__")
"""Parts of the package that no notebook output depends on."""


def run_key(inputs: Mapping[str, str], parameters: Mapping[str, Any]) -> str:
    """Return the digest that decides whether a kept notebook still holds.

    Parameters
    ----------
    inputs : Mapping of str to str
        Digest of every input file by its path.
    parameters : Mapping
        The campaign's values.

    Returns
    -------
    str
        Hexadecimal SHA-256.
    """
    record = json.dumps([dict(inputs), dict(parameters), library_digest(), environment()], sort_keys=True)
    return hashlib.sha256(record.encode()).hexdigest()


@cache
def library_digest() -> str:
    """Return a digest of the installed library and notebooks, without what only makes pages."""
    digest = hashlib.sha256()
    root = Path(str(files("benchproof")))
    for path in sorted(_sources(root)):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def _sources(root: Path) -> Iterator[Path]:
    for path in root.rglob("*"):
        if path.is_file() and not set(path.relative_to(root).parts) & set(PAGES_ONLY):
            yield path


@cache
def environment() -> tuple[str, ...]:
    """Return the versions of Python and of every installed package."""
    packages = sorted(f"{each.name}=={each.version}" for each in distributions())
    return (platform.python_version(), platform.machine(), *packages)
