"""A campaign's record: what it says is what was written, or it says that it is not."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.kept_reports import notebook_of
from benchproof.archive.record import CampaignRecord, parse_record, read_record, write_record
from benchproof.campaign.workspace import Workspace
from benchproof.errors import InputError
from benchproof.report.collect import collect
from benchproof.report.revision import Content, Revision, content_of

NAME = "2026-03-a"


def revision(
    scale: float = 1.0, *, date: str = "2026-03-10", state: str = "published", reason: str = "Why."
) -> Revision:
    content = content_of(collect(notebook_of(NAME, scale=scale))) if state == "published" else Content()
    heading = {"campaign": NAME, "revision": 1, "date": date, "state": state, "reason": reason}
    return Revision.model_validate({**dict(content), **heading})


@pytest.fixture(scope="module")
def record() -> CampaignRecord:
    """First published, revised, withdrawn, published again."""
    made = CampaignRecord(NAME)
    for each in (
        revision(),
        revision(1.01, date="2026-03-11", reason="Zeile zwei, µ — and a line\u2028separator"),
        revision(date="2026-03-12", state="withdrawn"),
        revision(1.02, date="2026-03-12"),
    ):
        made = made.followed_by(each)
    return made


def test_what_is_written_is_read_again(record: CampaignRecord) -> None:
    assert parse_record(record.data, NAME) == record
    assert [each.revision for each in record.revisions] == [1, 2, 3, 4]
    assert record.revisions[1].quantities[0].value == pytest.approx(0.031412 * 1.01)


def test_a_line_never_changes_when_another_follows(record: CampaignRecord) -> None:
    before = parse_record(b"".join(line + b"\n" for line in record.lines[:2]), NAME)
    assert record.data.startswith(before.data)


def test_a_withdrawal_is_a_line_without_figures(record: CampaignRecord) -> None:
    assert record.revisions[2].withdrawn
    assert b"quantities" not in record.lines[2]
    assert record.published == record.latest


def test_the_record_is_written_whole_and_read_from_its_place(record: CampaignRecord, tmp_path: Path) -> None:
    (tmp_path / "runs" / NAME).mkdir(parents=True)
    write_record(Workspace(tmp_path), record)
    assert read_record(Workspace(tmp_path), NAME) == record
    assert [path.name for path in (tmp_path / "runs" / NAME).iterdir()] == ["record.jsonl"]


def test_no_record_is_a_draft_and_an_empty_one_is_damage(tmp_path: Path) -> None:
    (tmp_path / "runs" / NAME).mkdir(parents=True)
    assert read_record(Workspace(tmp_path), NAME) == CampaignRecord(NAME)
    (tmp_path / "runs" / NAME / "record.jsonl").touch()
    assert read_record(Workspace(tmp_path), NAME).fault is not None


def test_a_link_is_no_record(tmp_path: Path, record: CampaignRecord) -> None:
    (tmp_path / "runs" / NAME).mkdir(parents=True)
    (tmp_path / "elsewhere").write_bytes(record.data)
    (tmp_path / "runs" / NAME / "record.jsonl").symlink_to(tmp_path / "elsewhere")
    assert read_record(Workspace(tmp_path), NAME).fault is not None


def test_a_fault_names_file_line_and_what_to_do(record: CampaignRecord) -> None:
    damaged = record.data.replace(b'"revision":2', b'"revision":3', 1)
    with pytest.raises(InputError) as caught:
        parse_record(damaged, NAME).sound()
    said = str(caught.value)
    assert said.startswith(f"runs/{NAME}/record.jsonl:2: found a line that does not agree with its own digest")
    assert "put the file back from version control" in said


def test_a_line_cut_short_is_told_from_one_that_was_changed(record: CampaignRecord) -> None:
    found = parse_record(record.data[:-40], NAME)
    assert "cut short" in found.fault.found
    assert found.fault.line == 4
    assert len(found.revisions) == 3


def test_a_record_of_another_campaign_is_refused(record: CampaignRecord) -> None:
    assert "2026-03-a" in parse_record(record.data, "2026-03-b").fault.found


def test_a_newer_form_is_named(record: CampaignRecord) -> None:
    from benchproof.archive.record import sealed

    line = sealed(record.revisions[0].model_copy(update={"schema_": "benchproof-record/9"}))
    assert "newer benchproof" in parse_record(line + b"\n", NAME).fault.expected


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_cut_anywhere_but_between_lines_is_noticed(record: CampaignRecord, data: st.DataObject) -> None:
    ends = [0]
    for line in record.lines:
        ends.append(ends[-1] + len(line) + 1)
    cut = data.draw(st.integers(1, len(record.data) - 1).filter(lambda at: at not in ends))
    found = parse_record(record.data[:cut], NAME)
    assert found.fault is not None
    assert found.revisions == record.revisions[: len(found.revisions)]


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_byte_garbled_anywhere_is_noticed(record: CampaignRecord, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(record.data) - 1))
    other = data.draw(st.integers(0, 255).filter(lambda byte: byte != record.data[at]))
    garbled = record.data[:at] + bytes([other]) + record.data[at + 1 :]
    found = parse_record(garbled, NAME)
    assert found.fault is not None
    assert found.revisions == record.revisions[: len(found.revisions)]


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_lines_doubled_moved_or_lost_are_noticed(record: CampaignRecord, data: st.DataObject) -> None:
    """The loss of the newest lines alone leaves a good record; the copy in the site tells of that."""
    lines = list(record.lines)
    order = data.draw(st.lists(st.integers(0, len(lines) - 1), min_size=1, max_size=6))
    if order == list(range(len(order))):
        return
    assert parse_record(b"".join(lines[k] + b"\n" for k in order), NAME).fault is not None
