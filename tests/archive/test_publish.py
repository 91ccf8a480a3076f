"""Publishing: the site holds what was published and nothing else, and a change of mind is there to read."""

from __future__ import annotations

import filecmp
import json
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from datetime import date
from pathlib import Path

import pytest

from archive.kept_reports import NAMES, apart, build, keep, with_claims  # noqa: F401 - a fixture
from benchproof.archive import publishing
from benchproof.archive.publication import Publication, usable_reason
from benchproof.archive.publishing import Publishing
from benchproof.archive.record import parse_record
from benchproof.campaign.workspace import Workspace
from benchproof.errors import RequestError
from workspaces import CAMPAIGN, LAB, write_workspace

A, B = NAMES
ATOM = "{http://www.w3.org/2005/Atom}"


def publish(root: Path, *names: str, reason: str = "First.", day: str = "2026-03-10", **more) -> list[Publication]:
    made = Publishing(Workspace(root), names or NAMES, reason, date.fromisoformat(day), named=bool(names), **more)
    return list(made.run(lambda _: None))


def states(done: list[Publication]) -> list[str]:
    return [each.state for each in done]


def record(root: Path, name: str = A) -> bytes:
    return (root / "runs" / name / "record.jsonl").read_bytes()


def page(root: Path, way: str) -> str:
    return (root / "build" / "site" / way).read_text(encoding="utf-8")


def feed_of(root: Path) -> ET.Element:
    return ET.fromstring(page(root, "feed.xml"))  # noqa: S314 - our own


def files(root: Path) -> dict[str, bytes]:
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in root.rglob("*") if path.is_file()}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Two campaigns, built."""
    made = write_workspace(tmp_path / "w", *NAMES)
    for name in NAMES:
        keep(made, name)
    build(made, *NAMES)
    return made


@pytest.fixture
def published(root: Path) -> Path:
    assert states(publish(root)) == ["published", "published"]
    return root


def revise(root: Path, *, reason: str = "A better way.", day: str = "2026-04-01", **changed) -> list[Publication]:
    keep(root, A, **changed)
    build(root, A)
    return publish(root, A, reason=reason, day=day)


def test_what_was_not_built_is_refused_and_names_the_command(tmp_path: Path) -> None:
    made = write_workspace(tmp_path, *NAMES)
    done = publish(made)
    assert states(done) == ["failed", "failed"]
    assert f"benchproof build {A}" in done[0].problems[0]
    assert not list((made / "runs").glob("*/record.jsonl"))


def test_what_is_stale_is_refused(root: Path) -> None:
    (root / "runs" / A / "campaign.yaml").write_text(CAMPAIGN.format(name=A).replace("A test motor", "Another"))
    done = publish(root)
    assert states(done) == ["failed", "published"]
    assert f"benchproof build {A}" in done[0].problems[0]
    assert not (root / "build/site/reports" / A).exists()


def test_the_site_holds_what_was_published_and_nothing_else(root: Path) -> None:
    publish(root, A)
    assert [path.name for path in (root / "build/site/reports").iterdir()] == [A]
    assert A in page(root, "index.html")
    assert B not in page(root, "index.html")
    shown = page(root, f"reports/{A}/index.html")
    assert "Draft" not in shown
    assert "Published" in shown
    assert record(root) == (root / "build/site/reports" / A / "record.jsonl").read_bytes()


def test_the_published_folder_checks_out(published: Path) -> None:
    folder = published / "build/site/reports" / A
    subprocess.run(["sha256sum", "--check", "--quiet", "SHA256SUMS"], cwd=folder, check=True)


def test_publishing_twice_adds_nothing_and_gives_the_same_bytes(published: Path) -> None:
    before, lines = files(published / "build/site"), record(published)
    assert states(publish(published, reason="Again.", day="2026-05-05")) == ["unchanged", "unchanged"]
    assert files(published / "build/site") == before
    assert record(published) == lines


def test_a_fresh_machine_gives_the_same_site_from_the_records(published: Path, monkeypatch) -> None:
    revise(published, scale=1.01)
    publish(published, B, withdraw=True, reason="The wrong shaft.", day="2026-04-02")
    before, lines = files(published / "build/site"), record(published)
    shutil.rmtree(published / "build")
    keep(published, A, scale=1.01)
    keep(published, B)
    assert states(publish(published, day="2026-06-01")) == ["unchanged", "withdrawn"]
    assert files(published / "build/site") == before
    assert record(published) == lines


def test_a_fresh_machine_that_disagrees_says_so_and_adds_nothing(published: Path) -> None:
    lines = record(published)
    shutil.rmtree(published / "build")
    keep(published, A, scale=1.01)
    keep(published, B)
    done = publish(published, day="2026-06-01")
    assert states(done) == ["failed", "unchanged"]
    assert "does not agree with revision 1" in done[0].problems[0]
    assert record(published) == lines
    assert "31.412 g" in page(published, f"reports/{A}/index.html")


def test_a_site_that_is_lost_comes_back_from_the_records_alone(published: Path) -> None:
    shutil.rmtree(published / "build/site")
    publish(published, A, day="2026-06-01")
    plain = page(published, f"reports/{B}/index.html")
    assert "made from the record" in plain
    assert "31.412 g ± 0.020 g" in plain
    assert B in page(published, "index.html")


def test_a_revision_strikes_the_old_value_and_keeps_the_earlier_report(published: Path) -> None:
    done = revise(published, scale=1.01, only="mass", reason="Balance corrected.")
    assert (done[0].state, done[0].revision) == ("revised", 2)
    shown = page(published, f"reports/{A}/index.html")
    assert "<del>31.412 g ± 0.020 g</del> <ins>31.726 g ± 0.020 g</ins>" in shown
    assert "+1 %, +31 u" in shown
    assert "Balance corrected." in shown
    assert 'datetime="2026-03-10"' in shown
    assert "revision 2, 2026-04-01" in shown
    earlier = page(published, f"reports/{A}/rev/1/index.html")
    assert "31.412 g ± 0.020 g" in earlier
    assert "It was replaced on 2026-04-01." in earlier
    assert 'href="../../../../assets/style.css"' in earlier
    kept = json.loads(page(published, f"reports/{A}/rev/1/revision.json"))
    assert kept["quantities"][0]["value"] == 0.031412


def test_figures_that_did_not_move_are_not_struck(published: Path) -> None:
    revise(published, scale=1.01, only="mass")
    history = page(published, f"reports/{A}/index.html").split('id="history"')[1]
    assert re.findall(r"<del>(.*?)</del>", history) == [
        "31.412 g ± 0.020 g", "31.569 g ± 0.020 g", "31.255 g ± 0.020 g"
    ]  # fmt: skip


def test_words_alone_are_a_revision_too(published: Path) -> None:
    done = revise(published, text="Lighter than we said.", reason="A word too strong.")
    assert done[0].state == "revised"
    assert "words: text" in done[0].said
    assert "Changed words: the reviewer&#39;s words." in page(published, "errata.html")
    assert "Light and honest" in page(published, f"reports/{A}/rev/1/index.html")
    assert "<del>" not in page(published, "errata.html")


def test_a_new_method_version_is_a_revision_even_where_no_digit_moves(published: Path) -> None:
    revise(published, version="1.1")
    shown = page(published, f"reports/{A}/index.html")
    assert "Method or choice: thrust_sweep 1.0 to 1.1." in shown
    assert "No printed figure moved." in shown


def test_a_difference_below_the_printed_digits_is_none(published: Path) -> None:
    assert revise(published, scale=1 + 1e-9)[0].state == "unchanged"


def test_a_verdict_that_flips_stands_before_the_figures(root: Path, monkeypatch) -> None:
    with_claims(monkeypatch, a="supported")
    build(root, A)
    publish(root, A)
    with_claims(monkeypatch, a="contradicted")
    done = revise(root, scale=0.9)
    assert done[0].said.startswith("“Lifts 6 N at 200 W” supported to contradicted")
    erratum = page(root, "errata.html")
    flip = erratum.index("<del>supported</del> <ins>contradicted</ins>")
    assert flip < erratum.index("<del>31.412")
    assert "is now contradicted; it was supported." in page(root, "feed.xml")


def test_a_verdict_that_moved_since_the_preview_is_not_published_unseen(root: Path, monkeypatch) -> None:
    with_claims(monkeypatch, a="supported")
    done = publish(root, A)
    assert states(done) == ["failed"]
    assert "benchproof build" in done[0].problems[0]


def test_a_withdrawn_report_leaves_a_page_that_says_why(published: Path) -> None:
    done = publish(published, A, withdraw=True, reason="The wrong propeller.", day="2026-04-02")
    assert (done[0].state, done[0].revision) == ("withdrawn", 2)
    shown = page(published, f"reports/{A}/index.html")
    assert "The wrong propeller." in shown
    assert "This report was withdrawn on 2026-04-02." in shown
    assert "31.412 g" in page(published, f"reports/{A}/rev/1/index.html")
    assert f"reports/{A}/" not in page(published, "index.html")
    assert "The wrong propeller." in page(published, "errata.html")
    assert json.loads(record(published).splitlines()[-1])["reason"] == "The wrong propeller."


def test_a_withdrawn_report_stays_withdrawn_until_it_is_named(published: Path) -> None:
    publish(published, A, withdraw=True, day="2026-04-02")
    assert states(publish(published, day="2026-04-03")) == ["withdrawn", "unchanged"]
    assert states(publish(published, A, withdraw=True, day="2026-04-03")) == ["unchanged"]
    assert states(publish(published, A, reason="Tested again.", day="2026-04-04")) == ["published"]
    shown = page(published, f"reports/{A}/index.html")
    assert "Revision 3: published again" in shown
    assert len(record(published).splitlines()) == 3


def test_a_draft_cannot_be_withdrawn(root: Path) -> None:
    assert "never published" in publish(root, A, withdraw=True)[0].problems[0]


def test_a_damaged_record_is_reported_and_left_alone(published: Path) -> None:
    path = published / "runs" / A / "record.jsonl"
    path.write_bytes(damaged := path.read_bytes()[:-30])
    before = files(published / "build/site/reports" / A)
    done = publish(published, day="2026-04-02")
    assert states(done) == ["failed", "unchanged"]
    assert "record.jsonl:1: found a last line that is cut short" in done[0].problems[0]
    assert path.read_bytes() == damaged
    assert files(published / "build/site/reports" / A) == before


def test_a_record_that_lost_what_the_site_holds_is_reported(published: Path) -> None:
    first = record(published)
    revise(published, scale=1.01)
    (published / "runs" / A / "record.jsonl").write_bytes(first)
    done = publish(published, A, day="2026-04-02")
    assert states(done) == ["failed"]
    assert "the 2 lines that were published" in done[0].problems[0]


def test_a_clock_behind_the_record_is_refused(published: Path) -> None:
    done = publish(published, A, day="2026-03-09")
    assert "set the clock" in done[0].problems[0]


@pytest.mark.parametrize("place", ["write_record", "exchange"])
def test_a_kill_between_record_and_site_is_mended_by_the_next_publish(published, tmp_path, monkeypatch, place) -> None:
    shutil.copytree(published, undisturbed := tmp_path / "undisturbed")
    for root in (published, undisturbed):
        keep(root, A, scale=1.01)
        build(root, A)
    publish(undisturbed, reason="Better.", day="2026-04-01")
    before = files(published / "build/site")

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(publishing, place, killed)
        with pytest.raises(KeyboardInterrupt):
            publish(published, reason="Better.", day="2026-04-01")
    assert files(published / "build/site") == before
    assert parse_record(record(published), A).fault is None
    publish(published, reason="Better.", day="2026-04-01")
    assert files(published / "build/site") == files(undisturbed / "build/site")
    assert record(published) == record(undisturbed)
    assert not list((published / "build").glob(".site-*"))


def test_a_preview_says_where_it_stands(published: Path) -> None:
    preview = published / "build/preview"
    (published / "runs" / B / "record.jsonl").unlink()
    keep(published, A, scale=1.01, only="mass")
    build(published, *NAMES)
    pending = (preview / "reports" / A / "index.html").read_text()
    assert "Pending revision: this page differs from revision 1 of 2026-03-10" in pending
    assert "<del>31.412 g ± 0.020 g</del> <ins>31.726 g ± 0.020 g</ins>" in pending
    assert "Draft: this report has never been published." in (preview / "reports" / B / "index.html").read_text()
    listed = (preview / "index.html").read_text()
    assert "Pending revision" in listed
    assert "Draft" in listed
    publish(published, A, day="2026-04-01")
    build(published, A)
    assert (
        "As published: figures and words are those of revision 2"
        in (preview / "reports" / A / "index.html").read_text()
    )


def test_the_feed_is_sound_and_its_names_are_stable(published: Path) -> None:
    before = {entry.findtext(f"{ATOM}id") for entry in feed_of(published).iter(f"{ATOM}entry")}
    revise(published, scale=1.01)
    feed = feed_of(published)
    entries = list(feed.iter(f"{ATOM}entry"))
    names = [entry.findtext(f"{ATOM}id") for entry in entries]
    assert before < set(names)
    assert len(names) == len(set(names)) == 3
    assert all(name.startswith("urn:uuid:") for name in names)
    assert entries[0].findtext(f"{ATOM}updated") == feed.findtext(f"{ATOM}updated") == "2026-04-01T00:00:00Z"
    assert entries[0].find(f"{ATOM}link").get("href") == f"reports/{A}/index.html#revision-2"
    assert 'id="revision-2"' in page(published, f"reports/{A}/index.html")


def test_the_feed_takes_the_labs_address_where_there_is_one(root: Path) -> None:
    (root / "runs/lab.yaml").write_text(LAB.replace("currency", 'url: "https://bench.example/x", currency'))
    for name in NAMES:
        keep(root, name)
    build(root, *NAMES)
    publish(root)
    feed = feed_of(root)
    assert feed.get("{http://www.w3.org/XML/1998/namespace}base") == "https://bench.example/x/"


def test_every_link_of_the_site_leads_somewhere(published: Path) -> None:
    revise(published, scale=1.01)
    publish(published, B, withdraw=True, day="2026-04-02")
    site = published / "build/site"
    for path in site.rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        for link in re.findall(r'(?:href|src)="([^"#][^"]*)"', text):
            if not link.startswith("http"):
                target, _, anchor = link.partition("#")
                assert (path.parent / target).exists(), (path, link)
                assert not anchor or f'id="{anchor}"' in (path.parent / target).read_text(encoding="utf-8"), link


def test_pages_of_the_site_run_nothing_and_load_nothing_from_elsewhere(published: Path) -> None:
    for way in ("errata.html", f"reports/{A}/index.html", "index.html"):
        text = page(published, way)
        assert "default-src &#39;none&#39;" in text
        assert not re.search(r'(?:src|href)="https?:', text.replace("https://example.org", ""))


@pytest.mark.parametrize("reason", ["", " \n ", "a\x07b", "x" * 2001, "a\u202eb"])
def test_a_reason_nobody_could_read_is_refused(reason: str) -> None:
    with pytest.raises(RequestError):
        usable_reason(reason)


def test_markup_in_a_reason_is_text(root: Path) -> None:
    publish(root, A, reason="<script>x</script> & more")
    revise(root, scale=1.1, reason="<b>")
    for way in ("errata.html", "feed.xml", f"reports/{A}/index.html"):
        assert "<script>x" not in page(root, way)
        assert "&lt;b&gt;" in page(root, way)
    feed_of(root)


def test_what_did_not_change_shares_its_bytes_on_disk(published: Path) -> None:
    before = (published / "build/site/reports" / B / "index.html").stat().st_ino
    revise(published, scale=1.01)
    assert (published / "build/site/reports" / B / "index.html").stat().st_ino == before
    assert filecmp.cmp(published / "runs" / B / "record.jsonl", published / "build/site/reports" / B / "record.jsonl")
