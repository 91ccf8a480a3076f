"""A campaign's record: one line a published revision, never rewritten, each holding to the one before it.

A line is a JSON object in one fixed spelling that ends in a digest of itself and names the digest of the line before,
so that a line that was changed, lost, doubled or moved is noticed. The file is written anew beside itself and put in
place whole: a kill leaves the record as it was or with its new line, nothing in between.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from benchproof.errors import Fault, InputError
from benchproof.report.revision import SCHEMA, Revision

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.campaign.workspace import Workspace

NAME: Final = "record.jsonl"
_SEAL: Final = re.compile(rb'^(\{.*),"digest":"sha256:([0-9a-f]{64})"\}$', re.DOTALL)
_HEAD: Final = ("schema", "campaign", "revision", "date", "state", "reason", "previous")
_RESTORE: Final = (
    "Nothing is added to it until it is whole: put the file back from version control or from the copy beside the "
    "published report"
)


@dataclass(frozen=True, slots=True)
class CampaignRecord:
    """A campaign's record as it was found.

    Parameters
    ----------
    campaign : str
        The campaign.
    lines : tuple of bytes
        The good lines, without their ends.
    revisions : tuple of Revision
        What they say.
    fault : Fault or None
        What is wrong with the first line that is not good.
    """

    campaign: str
    lines: tuple[bytes, ...] = ()
    revisions: tuple[Revision, ...] = ()
    fault: Fault | None = None

    @property
    def latest(self) -> Revision | None:
        """The newest revision, a withdrawal included."""
        return self.revisions[-1] if self.revisions else None

    @property
    def published(self) -> Revision | None:
        """The newest revision with figures, whether or not it was withdrawn since."""
        return next((each for each in reversed(self.revisions) if not each.withdrawn), None)

    @property
    def data(self) -> bytes:
        """The bytes of the good lines."""
        return b"".join(line + b"\n" for line in self.lines)

    def sound(self) -> CampaignRecord:
        """Return the record itself.

        Raises
        ------
        InputError
            If it is damaged.
        """
        if self.fault is not None:
            raise InputError(self.fault)
        return self

    def followed_by(self, revision: Revision) -> CampaignRecord:
        """Return the record with one more revision; nothing is written.

        Parameters
        ----------
        revision : Revision
            Its number and its link to the line before are put in here.
        """
        number = len(self.lines) + 1
        previous = _digest(self.lines[-1]) if self.lines else None
        linked = revision.model_copy(update={"revision": number, "previous": previous})
        return CampaignRecord(self.campaign, (*self.lines, sealed(linked)), (*self.revisions, linked))


def record_file(campaign: str) -> str:
    """Return the path of a campaign's record, relative to the workspace."""
    return f"runs/{campaign}/{NAME}"


def recorded_names(workspace: Workspace) -> tuple[str, ...]:
    """Return the campaigns that have a record, sorted."""
    return tuple(sorted(path.parent.name for path in workspace.runs.glob(f"*/{NAME}")))


def read_record(workspace: Workspace, campaign: str) -> CampaignRecord:
    """Read a campaign's record as far as it is good.

    Returns
    -------
    CampaignRecord
        Empty where there is no file; with a fault where it is damaged.
    """
    path = workspace.root / record_file(campaign)
    if path.is_symlink():
        fault = Fault(record_file(campaign), "", "a link", "the file itself", "Copy the file itself to that place.")
        return CampaignRecord(campaign, fault=fault)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return CampaignRecord(campaign)
    return parse_record(data, campaign)


def parse_record(data: bytes, campaign: str) -> CampaignRecord:
    """Judge a record line by line, up to the first fault.

    Parameters
    ----------
    data : bytes
        The file.
    campaign : str
        Whose record it must be.
    """
    lines: list[bytes] = []
    revisions: list[Revision] = []
    for place, line in enumerate(_lines(data), start=1):
        try:
            revision = _revision(line, campaign, place, lines, revisions)
        except _Damage as damage:
            fault = Fault(record_file(campaign), "", damage.found, damage.expected, f"{_RESTORE}.", place)
            return CampaignRecord(campaign, tuple(lines), tuple(revisions), fault)
        lines.append(line)
        revisions.append(revision)
    return CampaignRecord(campaign, tuple(lines), tuple(revisions))


def write_record(workspace: Workspace, record: CampaignRecord) -> None:
    """Put a record with one more line in the place of the earlier one, whole and on the disk before this returns."""
    path = workspace.root / record_file(record.campaign)
    beside = path.with_name(f".{NAME}.new")
    with beside.open("wb") as stream:
        stream.write(record.data)
        stream.flush()
        os.fsync(stream.fileno())
    beside.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def sealed(revision: Revision) -> bytes:
    """Return a revision as its line: keys in their order, then the digest of all before it."""
    data: dict[str, Any] = revision.model_dump(mode="json", by_alias=True)
    ordered = {key: data[key] for key in (*_HEAD, *(key for key in data if key not in _HEAD))}
    if revision.withdrawn:
        ordered = {key: ordered[key] for key in _HEAD}
    text = json.dumps(ordered, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode("utf-8")
    return text[:-1] + b',"digest":"sha256:' + hashlib.sha256(text).hexdigest().encode() + b'"}'


class _Damage(Exception):  # noqa: N818 - never leaves this module
    """What was found and what was expected."""

    def __init__(self, *, found: str, expected: str) -> None:
        super().__init__(found, expected)
        self.found = found
        self.expected = expected


def _lines(data: bytes) -> Iterator[bytes]:
    """Yield the lines without their ends; the last one with a mark where its end is missing."""
    if not data:
        yield b""
        return
    *whole, rest = data.split(b"\n")
    yield from whole
    if rest:
        yield rest + b"\0"


def _revision(line: bytes, campaign: str, place: int, earlier: list[bytes], revisions: list[Revision]) -> Revision:
    """Return what a line says, once it is sure that it is the line that was written there."""
    if line.endswith(b"\0"):
        broken = "a line with its end; the writing of it was broken off, or the file was cut since"
        raise _Damage(found="a last line that is cut short", expected=broken)
    seal = _SEAL.match(line)
    if seal is None:
        raise _Damage(found=f"a line that is no revision ({len(line)} bytes)", expected="one revision a line")
    if hashlib.sha256(seal[1] + b"}").hexdigest().encode() != seal[2]:
        raise _Damage(found="a line that does not agree with its own digest", expected="the line as it was written")
    revision = _judged(seal[1] + b"}")
    if revision.campaign != campaign:
        raise _Damage(found=f"a revision of {revision.campaign!r:.80}", expected=f"a revision of {campaign!r}")
    if (revision.revision, revision.previous) != (place, _digest(earlier[-1]) if earlier else None):
        found = f"revision {revision.revision}, which does not follow from the line before it"
        raise _Damage(found=found, expected=f"revision {place}: lines in the order they were written, each once")
    if revisions and revision.date < revisions[-1].date:
        raise _Damage(found=f"the date {revision.date}", expected=f"none before {revisions[-1].date}")
    return revision


def _judged(text: bytes) -> Revision:
    written = "a revision as `benchproof publish` writes it"
    try:
        schema = json.loads(text).get("schema")
        if schema != SCHEMA:
            newer = f"{SCHEMA}; a newer benchproof may have written it"
            raise _Damage(found=f"the form {schema!r:.40}", expected=newer)
        return Revision.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(step) for step in first["loc"])
        raise _Damage(found=f"{place}: {first['msg']}", expected=written) from None
    except ValueError:
        raise _Damage(found="a line that is not JSON", expected=written) from None


def _digest(line: bytes) -> str:
    return f"sha256:{hashlib.sha256(line).hexdigest()}"
