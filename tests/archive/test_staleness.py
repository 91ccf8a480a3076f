"""A build runs what its inputs, choices, software and notebook have made stale, and nothing else."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from benchproof.archive import assembling, manifest, reading, staleness, steps
from benchproof.archive.build import Build, Manner
from benchproof.archive.manifest import Digests, read_manifest
from benchproof.archive.tree import contents_of
from benchproof.campaign.workspace import Workspace
from workspaces import CAMPAIGN, sweep_log, write_workspace

NAMES = ("2026-03-a", "2026-03-b")


def build(root: Path, *names: str, **manner) -> dict[str, str]:
    """Build and return each campaign's state."""
    workspace = Workspace(root)
    chosen = names or workspace.campaign_names()
    outcomes = Build(workspace, chosen, Manner(workers=2, **manner)).run(lambda _: None, print)
    return {outcome.campaign: outcome.state for outcome in outcomes}


def files(root: Path) -> dict[str, bytes]:
    tree = root / "build" / "preview"
    return {p.relative_to(tree).as_posix(): p.read_bytes() for p in tree.rglob("*") if p.is_file()}


def inodes(root: Path) -> dict[str, int]:
    tree = root / "build" / "preview"
    return {p.relative_to(tree).as_posix(): p.stat().st_ino for p in tree.rglob("*") if p.is_file()}


@pytest.fixture
def still(monkeypatch) -> None:
    """Let files that were just written pass for files that have lain still."""
    monkeypatch.setattr(manifest, "MARGIN", -(10**18))


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Path:
    root = write_workspace(tmp_path_factory.mktemp("built") / "w", *NAMES, log=sweep_log(levels=8))
    assert build(root) == dict.fromkeys(NAMES, "built")
    return root


@pytest.fixture
def lab(built: Path, tmp_path: Path) -> Path:
    """A built workspace of one's own."""
    shutil.copytree(built, tmp_path / "w")
    return tmp_path / "w"


def never(*_args, **_keywords):
    pytest.fail("this should have been passed over")


@pytest.mark.usefixtures("in_this_process")
def test_with_nothing_changed_nothing_is_read_run_or_written(lab: Path, monkeypatch, still) -> None:
    build(lab)
    before = inodes(lab)
    monkeypatch.setattr(assembling, "checked_files", never)
    monkeypatch.setattr(manifest.hashlib, "file_digest", never)
    assert build(lab) == dict.fromkeys(NAMES, "unchanged")
    assert inodes(lab) == before


def test_a_changed_log_runs_its_campaign_alone_and_links_the_rest(lab: Path) -> None:
    log = lab / "runs" / "2026-03-b" / "raw" / "sweep.csv"
    log.write_text(sweep_log(seed=2, levels=8))
    before = inodes(lab)
    assert build(lab) == {"2026-03-a": "unchanged", "2026-03-b": "built"}
    same = {name for name, inode in inodes(lab).items() if before.get(name) == inode}
    assert {name for name in before if name.startswith("reports/2026-03-a/")} <= same
    assert not {name for name in same if name.startswith("reports/2026-03-b/")}


@pytest.mark.parametrize(
    ("path", "old", "new", "stale"),
    [
        ("lab.yaml", "seed: 1", "seed: 2", NAMES),
        ("rigs/bench/rig.yaml", 'scale: "20 ppm"', 'scale: "30 ppm"', NAMES),
        ("rigs/bench/calibration/cell.csv", "0.5,499.", "0.5,498.", NAMES),
        ("2026-03-a/campaign.yaml", "A test motor", "Another", NAMES[:1]),
        ("2026-03-a/campaign.yaml", "text: |", "choices: {air: as_tested}\ntext: |", NAMES[:1]),
    ],
)  # fmt: skip
def test_every_input_makes_stale_what_hangs_on_it(lab: Path, path: str, old: str, new: str, stale) -> None:
    file = lab / "runs" / path
    assert old in file.read_text()
    file.write_text(file.read_text().replace(old, new, 1))
    found = build(lab)
    assert {name for name, state in found.items() if state == "built"} == set(stale)


@pytest.mark.usefixtures("in_this_process")
def test_a_template_change_assembles_again_and_runs_nothing(lab: Path, monkeypatch) -> None:
    before = inodes(lab)
    monkeypatch.setattr(steps, "execute", never)
    for module in (staleness, steps):
        monkeypatch.setattr(module, "software", lambda: "other templates")
    monkeypatch.setattr("benchproof.archive.build.software", lambda: "other templates")
    monkeypatch.setattr(staleness, "pages_digest", lambda: "other templates")
    assert build(lab) == dict.fromkeys(NAMES, "unchanged")
    after = inodes(lab)
    assert all(after[name] != before[name] for name in before if name.endswith("index.html"))


@pytest.mark.usefixtures("in_this_process")
def test_another_method_or_library_runs_everything(lab: Path, monkeypatch) -> None:
    monkeypatch.setattr(staleness, "library_digest", lambda: "another library")
    assert build(lab) == dict.fromkeys(NAMES, "built")


@pytest.mark.usefixtures("in_this_process")
def test_a_record_beside_the_campaign_assembles_its_page_again(lab: Path, monkeypatch) -> None:
    before = inodes(lab)
    (lab / "runs" / "2026-03-a" / "record.jsonl").write_text("")
    monkeypatch.setattr(steps, "execute", never)
    assert build(lab) == dict.fromkeys(NAMES, "unchanged")
    page = "reports/{}/index.html"
    assert inodes(lab)[page.format("2026-03-a")] != before[page.format("2026-03-a")]
    assert inodes(lab)[page.format("2026-03-b")] == before[page.format("2026-03-b")]


def test_an_edit_that_keeps_size_and_time_is_seen(lab: Path, still) -> None:
    build(lab)
    file = lab / "runs" / "2026-03-a" / "campaign.yaml"
    found = file.stat()
    file.write_text(file.read_text().replace("A test motor", "A best motor"))
    os.utime(file, ns=(found.st_atime_ns, found.st_mtime_ns))
    assert file.stat().st_size == found.st_size
    assert build(lab)["2026-03-a"] == "built"
    assert b"A best motor" in files(lab)["reports/2026-03-a/index.html"]


def test_a_file_that_was_changed_just_before_it_was_digested_is_digested_again(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_text("one")
    first = Digests(tmp_path, {})
    digest = first.of("a")
    assert not first.stamps["a"].still
    found = path.stat()
    stamp = first.stamps["a"]
    path.write_text("two")
    os.utime(path, ns=(found.st_atime_ns, found.st_mtime_ns))
    # The worst case: a file system whose times are too coarse to tell the two writings apart.
    forged = stamp._replace(changed=path.stat().st_ctime_ns)
    assert Digests(tmp_path, {"a": forged}).of("a") != digest
    assert Digests(tmp_path, {"a": forged._replace(still=True)}).of("a") == digest


@pytest.mark.usefixtures("in_this_process")
def test_recheck_gives_the_same_answer_from_scratch(lab: Path, still, monkeypatch) -> None:
    (lab / "runs" / "2026-03-b" / "campaign.yaml").write_text(CAMPAIGN.format(name="2026-03-b").replace("A test", "B"))
    build(lab)
    quick = files(lab)
    judged: list[str] = []
    monkeypatch.setattr(assembling, "checked_files", lambda place, name: judged.append(name) or checked(place, name))
    assert build(lab, recheck=True) == dict.fromkeys(NAMES, "unchanged")
    assert set(judged) == set(NAMES)
    assert files(lab) == quick


checked = assembling.checked_files


@pytest.mark.parametrize(
    "damage",
    [
        lambda build: (build / "kept" / "manifest.json").write_text('{"software": '),
        lambda build: (build / "kept" / "manifest.json").unlink(),
        lambda build: (build / "preview" / ".reports.json").write_text("[]"),
        lambda build: (build / "preview" / ".reports.json").unlink(),
        lambda build: shutil.rmtree(build / "preview" / "reports" / "2026-03-a"),
        lambda build: shutil.rmtree(build / "preview"),
        lambda build: (build / "kept" / "2026-03-a.notebook.json").write_text("{"),
        lambda build: (build / "kept" / "2026-03-a.trials").unlink(),
        lambda build: shutil.rmtree(build / "kept"),
    ],
)  # fmt: skip
def test_what_a_build_keeps_may_be_lost_or_damaged_and_comes_back(lab: Path, still, damage) -> None:
    build(lab)
    whole = files(lab)
    damage(lab / "build")
    assert "failed" not in build(lab).values()
    assert files(lab) == whole


def test_a_kept_notebook_cut_short_is_found_out(lab: Path) -> None:
    kept = lab / "build" / "kept" / "2026-03-a.notebook.json"
    whole = files(lab)
    kept.write_bytes(kept.read_bytes()[:-2000])
    assert build(lab, recheck=True)["2026-03-a"] == "built"
    assert files(lab) == whole


def test_a_campaign_that_is_gone_leaves_the_list_and_a_new_one_joins_it(lab: Path) -> None:
    shutil.rmtree(lab / "runs" / "2026-03-a")
    shutil.copytree(lab / "runs" / "2026-03-b", lab / "runs" / "2026-03-c")
    (lab / "runs" / "2026-03-c" / "campaign.yaml").write_text(CAMPAIGN.format(name="2026-03-c"))
    assert build(lab) == {"2026-03-b": "unchanged", "2026-03-c": "built"}
    assert list(contents_of(lab / "build" / "preview").reports) == ["2026-03-b", "2026-03-c"]
    listed = files(lab)["index.html"].decode()
    assert "reports/2026-03-c/" in listed
    assert "reports/2026-03-a/" not in listed
    assert not [name for name in files(lab) if name.startswith("reports/2026-03-a")]


def test_a_build_of_some_campaigns_leaves_the_others_as_they_are(lab: Path) -> None:
    for name in NAMES:
        (lab / "runs" / name / "campaign.yaml").write_text(CAMPAIGN.format(name=name).replace("A test", "B"))
    before = inodes(lab)
    assert build(lab, "2026-03-b") == {"2026-03-b": "built"}
    after = inodes(lab)
    assert after["reports/2026-03-a/index.html"] == before["reports/2026-03-a/index.html"]
    assert build(lab) == {"2026-03-a": "built", "2026-03-b": "unchanged"}


def test_a_failing_campaign_is_tried_again_and_keeps_its_report(lab: Path, still) -> None:
    good = files(lab)
    file = lab / "runs" / "2026-03-a" / "campaign.yaml"
    text = file.read_text()
    file.write_text(text.replace("kind: motor", "kind: mortar"))
    for _ in range(2):
        assert build(lab) == {"2026-03-a": "failed", "2026-03-b": "unchanged"}
        assert files(lab) == good
    file.write_text(text)
    assert build(lab) == dict.fromkeys(NAMES, "unchanged")
    assert files(lab) == good


@pytest.mark.usefixtures("in_this_process")
def test_inputs_that_change_under_a_build_are_found_out(lab: Path, monkeypatch) -> None:
    log = lab / "runs" / "2026-03-a" / "raw" / "sweep.csv"
    log.write_text(sweep_log(seed=5, levels=8))
    execute = steps.execute

    def meddled(run, scratch, failed):
        (scratch / "runs" / "2026-03-a" / "raw" / "sweep.csv").write_text(sweep_log(seed=6, levels=8))
        return execute(run, scratch, failed)

    monkeypatch.setattr(steps, "execute", meddled)
    workspace = Workspace(lab)
    outcomes = Build(workspace, ("2026-03-a",), Manner()).run(lambda _: None, print)
    assert outcomes[0].state == "failed"
    assert "changed during the build" in outcomes[0].problems[0]
    assert log.read_text() == sweep_log(seed=5, levels=8)


@pytest.mark.usefixtures("in_this_process")
def test_the_manifest_spares_no_question_when_a_looked_at_campaign_changes(lab: Path, still, monkeypatch) -> None:
    """A page that looks at another is assembled again when that one's figures moved."""
    monkeypatch.setattr("benchproof.archive.second_pass.looked_at", lambda _workspace, _campaign: frozenset(NAMES[1:]))
    for module in (staleness, steps):
        monkeypatch.setattr(module, "software", lambda: "as patched")
    monkeypatch.setattr("benchproof.archive.build.software", lambda: "as patched")
    build(lab)
    assert read_manifest(lab / "build/kept/manifest.json").campaigns["2026-03-a"].refers_to == ("2026-03-b",)
    before = inodes(lab)
    (lab / "runs/2026-03-b/raw/sweep.csv").write_text(sweep_log(seed=3, levels=8))
    assert build(lab) == {"2026-03-a": "unchanged", "2026-03-b": "built"}
    assert inodes(lab)["reports/2026-03-a/index.html"] != before["reports/2026-03-a/index.html"]
    assert build(lab, "2026-03-a") == {"2026-03-a": "unchanged"}


def test_an_archive_with_nothing_in_common_with_the_manifest_is_judged_anew(lab: Path) -> None:
    path = lab / "build" / "kept" / "manifest.json"
    data = json.loads(path.read_text())
    data["software"] = "of another day"
    path.write_text(json.dumps(data))
    found = reading.Reading(Workspace(lab), read_manifest(path), staleness.software(), recheck=False)
    assert found.seen == {}
    assert build(lab) == dict.fromkeys(NAMES, "unchanged")
