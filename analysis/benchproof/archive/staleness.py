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

from benchproof.report.templates import templates_folder

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

PAGES_ONLY: Final = ("templates", "report", "archive", "cli.py", "requirements.lock", "__pycache__")
"""Parts of the package that no notebook output depends on."""

PACKED: Final = ("cli.py", "requirements.lock")
"""Parts of the package that nothing depends on but the wheel in a bundle."""


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
    return _digest(dict(inputs), dict(parameters), library_digest(), environment())


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
def pages_digest() -> str:
    """Return a digest of what makes pages of kept notebooks: templates, and the rooms of the right."""
    digest = hashlib.sha256()
    package = Path(str(files("benchproof")))
    for name in PACKED:  # into every bundle, with the package
        digest.update((package / name).read_bytes())
    for root in (templates_folder(), package / "report", package / "archive"):
        for path in sorted(each for each in root.rglob("*") if each.is_file() and each.suffix != ".pyc"):
            digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def software() -> str:
    """Return a digest of all the software a build stands on."""
    return _digest(library_digest(), environment(), pages_digest())


def report_key(run: str, others: Mapping[str, str], glance: str, beside: str) -> str:
    """Return the digest that decides whether an assembled report still holds.

    Parameters
    ----------
    run : str
        The campaign's run key.
    others : Mapping of str to str
        Run keys of the campaigns its second pass looks at, empty where one could not be built.
    glance : str
        Digest of what it sees of the archive.
    beside : str
        Digest of the files that its page shows and its notebook does not read.
    """
    return _digest(run, dict(others), glance, beside, pages_digest())


def index_key(lab: str) -> str:
    """Return the digest of what the list of reports depends on beside its rows: the lab file's digest, templates."""
    return _digest(lab, pages_digest())


def _digest(*parts: object) -> str:
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


@cache
def environment() -> tuple[str, ...]:
    """Return the versions of Python and of every installed package."""
    packages = sorted(f"{each.name}=={each.version}" for each in distributions())
    return (platform.python_version(), platform.machine(), *packages)
