"""Writing what the published site has beside its reports: earlier revisions, withdrawals, errata, feed, list."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from benchproof.report.published import (
    earlier_context,
    errata_context,
    feed_context,
    row_of,
    withdrawn_context,
)
from benchproof.report.render import render_earlier, render_errata, render_feed
from benchproof.report.site import assemble_index, sum_up

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from benchproof.campaign.models.lab import Lab, LabDetails
    from benchproof.report.published import Records
    from benchproof.report.revision import Revision


def assemble_earlier(folder: Path, revisions: Sequence[Revision], lab: LabDetails) -> None:
    """Write the page of every revision with figures but the newest under ``rev/<n>/`` of a report's folder."""
    for place, revision in enumerate(revisions[:-1]):
        if not revision.withdrawn:
            _write_earlier(folder / "rev" / str(revision.revision), revisions, place, lab)
    if (folder / "rev").is_dir():
        sum_up(folder)


def assemble_from_record(folder: Path, revisions: Sequence[Revision], lab: LabDetails, record: bytes) -> None:
    """Write the page of a report that is not at hand, or was withdrawn, from its record.

    Parameters
    ----------
    folder : Path
        The report's folder; made.
    revisions : sequence of Revision
        The record's revisions, oldest first; at least one.
    lab : LabDetails
        Who tests.
    record : bytes
        The record itself.
    """
    folder.mkdir(parents=True)
    (folder / "record.jsonl").write_bytes(record)
    if revisions[-1].withdrawn:
        _write(folder / "index.html", render_earlier(withdrawn_context(revisions, lab)))
    else:
        _write_earlier(folder, revisions, len(revisions) - 1, lab)
    sum_up(folder)


def assemble_site_pages(root: Path, lab: Lab, records: Records) -> None:
    """Write the list of published reports, the errata, the feed and the assets.

    Parameters
    ----------
    root : Path
        The site.
    lab : Lab
        The lab file.
    records : Mapping of str to sequence of Revision
        Every campaign that was ever published.
    """
    listed = [row_of(revisions[-1]) for revisions in records.values() if not revisions[-1].withdrawn]
    assemble_index(root, lab, listed, preview=False)
    _write(root / "errata.html", render_errata(errata_context(records, lab.lab)))
    _write(root / "feed.xml", render_feed(feed_context(records, lab.lab)))


def _write_earlier(folder: Path, revisions: Sequence[Revision], place: int, lab: LabDetails) -> None:
    data: dict[str, Any] = revisions[place].model_dump(mode="json", by_alias=True)
    _write(folder / "revision.json", json.dumps(data, ensure_ascii=False, indent=2) + "\n")
    _write(folder / "index.html", render_earlier(earlier_context(revisions, place, lab)))


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")
