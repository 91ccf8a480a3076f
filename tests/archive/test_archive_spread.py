"""What the archive's spread and its pairs bring to reports, end to end: what is shown, what is stale, what is owed."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import pytest

from benchproof.archive import assembling
from benchproof.archive.build import Build, Manner
from benchproof.archive.impact import impact_of
from benchproof.archive.kept import Kept
from benchproof.archive.manifest import read_manifest
from benchproof.archive.publishing import Publishing
from benchproof.archive.second_pass import archive_of
from benchproof.archive.verify import verify
from benchproof.campaign.workspace import Workspace
from benchproof.report.collect import results_of
from bundles import changed, contents
from workspaces import CAMPAIGN, LAB, write_workspace

ALONE, PAIR = "2026-03-alone", "2026-04-pair"
TWO = {
    "2026-03-p1": ("one", "absent", 0.012),
    "2026-03-p2": ("one", "present", -0.007),
    "2026-03-p3": ("two", "absent", 0.004),
    "2026-03-p4": ("two", "present", 0.010),
}
MOTORS = (ALONE, *TWO)
CLAIM = 'claims:\n  - {say: "Weighs 30 g or more", quantity: mass, relation: at_least, than: "30 g"}\n'


def motor(name: str, bell: str, cushion: str, *apart: float) -> str:
    """Return a campaign that weighs one piece, and another that is heavier by a share."""
    head = CAMPAIGN.format(name=name).split("tests:\n")[0]
    marks = ("A1", "A2")[: 1 + len(apart)]
    listed = ", ".join(f"{{id: {mark}}}" for mark in marks)
    design = f"design: {{bell: {bell}, cushion: {cushion}}}"
    head = head.replace("samples: [{id: A1}]", f"{design}\n  samples: [{listed}]")
    base = 32.4 * (1.03 if cushion == "present" else 1.0) * (1.1 if bell == "two" else 1.0)
    tests = ""
    for mark, factor in zip(marks, (1.0, *(1 + each for each in apart)), strict=True):
        readings = ", ".join(f'"{base * factor + step:.2f} g"' for step in (0.0, 0.01, -0.01))
        tests += f"  - {{test: weighing, sample: {mark}, part: motor, readings: [{readings}]}}\n"
    return f'{head}tests:\n{tests}text: |\n  Weighs {{{{ quote("mass") }}}}.\n'


def write(root: Path, name: str, text: str) -> None:
    (root / "runs" / name).mkdir(exist_ok=True)
    (root / "runs" / name / "campaign.yaml").write_text(text)


def build(root: Path, *names: str, **manner) -> dict[str, str]:
    workspace = Workspace(root)
    outcomes = Build(workspace, names or workspace.campaign_names(), Manner(workers=2, **manner)).run(
        lambda _: None, print
    )
    assert not [each.problems for each in outcomes if each.state == "failed"]
    return {each.campaign: each.state for each in outcomes}


def results(root: Path, name: str) -> dict:
    return json.loads((root / "build/preview/reports" / name / "results.json").read_text())


def model(root: Path, name: str) -> dict:
    return next(each for each in results(root, name)["quantities"] if each["sample"] is None)


def page(root: Path, name: str) -> str:
    return (root / "build/preview/reports" / name / "index.html").read_text()


def inode(root: Path, name: str) -> int:
    return (root / "build/preview/reports" / name / "index.html").stat().st_ino


def publish(root: Path, day: str) -> dict[str, str]:
    names = Workspace(root).campaign_names()
    done = Publishing(Workspace(root), names, "Because.", date.fromisoformat(day)).run(lambda _: None)
    assert not [each.problems for each in done if each.state == "failed"]
    return {each.campaign: each.state for each in done}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = write_workspace(tmp_path_factory.mktemp("archive") / "w", ALONE)
    (root / "runs/lab.yaml").write_text(LAB.replace("trials: 2000", "trials: 1000"))
    write(root, ALONE, motor(ALONE, "one", "absent") + CLAIM)
    for name, (bell, cushion, apart) in TWO.items():
        write(root, name, motor(name, bell, cushion, apart))
    compared = f"kind: comparison\ncampaign: {PAIR}\ntitle: A cushion\ncampaigns: [2026-03-p1, 2026-03-p2]\n"
    write(root, PAIR, compared)
    build(root)
    return root


@pytest.fixture
def lab(built: Path, tmp_path: Path) -> Path:
    """A built workspace of one's own."""
    shutil.copytree(built, tmp_path / "w")
    return tmp_path / "w"


def heavier(root: Path, name: str, apart: float) -> None:
    bell, cushion, _ = TWO[name]
    write(root, name, motor(name, bell, cushion, apart))


def test_one_sample_speaks_for_its_model_and_says_by_what(built: Path) -> None:
    record = results(built, ALONE)
    own, told = record["quantities"]
    assert (own["sample"], told["sample"]) == ("A1", None)
    assert told["value"] == own["value"]
    assert told["flags"] == ["pooled_spread"]
    (pooled,) = record["pooled_models"]
    spread = pooled["spread"]
    assert (spread["campaigns"], spread["samples"], spread["degrees_of_freedom"]) == (4, 8, 4)
    assert told["standard_uncertainty"] == pytest.approx(spread["standard"] * told["value"], rel=0.01)
    for key in ("value", "standard_uncertainty", "degrees_of_freedom", "interval"):
        assert pooled[key] == told[key]
    text = page(built, ALONE)
    assert "say nothing of the spread" not in text
    assert "with the spread from piece to piece that 4 models of this lab&#39;s archive show" in text
    assert 'data-of="Model"' in text
    assert 'data-of="This sample"' in text
    assert "This model by the spread of all" in text


def test_several_samples_keep_what_they_say_alone_and_what_the_archive_adds_stands_beside(built: Path) -> None:
    own = next(
        q for q in results_of(Kept(built / "build/kept").notebook("2026-03-p3"))["quantities"] if not q["sample"]
    )
    assert model(built, "2026-03-p3") == own
    (pooled,) = results(built, "2026-03-p3")["pooled_models"]
    assert (pooled["samples"], pooled["value"]) == (2, own["value"])
    widths = [high - low for low, high in (own["interval"], pooled["interval"])]
    assert widths[1] < widths[0]
    text = page(built, "2026-03-p3")
    assert "2 samples were tested." in text
    assert "What they tell with the spread of 4 models of this lab&#39;s archive" in text


def test_the_notebooks_own_figures_come_out_of_the_campaign_alone(built: Path) -> None:
    kept = results_of(Kept(built / "build/kept").notebook(ALONE))
    assert kept["quantities"][1]["flags"] == ["one_sample"]
    assert "pooled_models" not in kept


def test_without_another_models_pieces_a_page_says_this_sample(lab: Path) -> None:
    for name in (*TWO, PAIR):
        shutil.rmtree(lab / "runs" / name)
    build(lab)
    assert model(lab, ALONE)["flags"] == ["one_sample"]
    assert "pooled_models" not in results(lab, ALONE)
    assert "say nothing of the spread" in page(lab, ALONE)


@pytest.mark.usefixtures("in_this_process")
def test_a_change_that_moves_no_rounded_spread_assembles_no_page_but_its_own(lab: Path, monkeypatch) -> None:
    """Also no page whose claim is about a model: what a claim hangs on is the rounded spread, not every motor."""
    before = {name: inode(lab, name) for name in (*MOTORS, PAIR)}
    heavier(lab, "2026-03-p3", 0.0043)
    assembled: list[str] = []
    once = assembling.previewed
    monkeypatch.setattr(assembling, "previewed", lambda *words: assembled.append(words[2]) or once(*words))
    assert [name for name, state in build(lab).items() if state == "built"] == ["2026-03-p3"]
    assert sorted(assembled) == ["2026-03-p3", PAIR]  # it takes part in a pair that isolates what that compares
    for name in set(MOTORS) - {"2026-03-p3"}:
        assert inode(lab, name) == before[name]
    assert read_manifest(lab / "build/kept/manifest.json").campaigns[ALONE].refers_to == ()


def test_a_spread_that_moved_assembles_the_pages_that_use_it_and_runs_none(lab: Path) -> None:
    before, was = {name: inode(lab, name) for name in MOTORS}, model(lab, ALONE)
    claimed = results(lab, ALONE)["claims"][0]["probability"]
    heavier(lab, "2026-03-p3", 0.05)
    assert [name for name, state in build(lab).items() if state == "built"] == ["2026-03-p3"]
    assert all(inode(lab, name) != before[name] for name in MOTORS)
    now = model(lab, ALONE)
    assert now["value"] == was["value"]
    assert now["standard_uncertainty"] > 2 * was["standard_uncertainty"]
    assert results(lab, ALONE)["claims"][0]["probability"] < claimed


def test_whatever_is_built_first_the_same_comes_out(built: Path, lab: Path) -> None:
    shutil.rmtree(lab / "build")
    assert build(lab, ALONE) == {ALONE: "built"}
    assert sorted(path.name for path in (lab / "build/preview/reports").iterdir()) == [ALONE]
    build(lab, PAIR)
    for name in (ALONE, PAIR):
        folders = [root / "build/preview/reports" / name for root in (built, lab)]
        found = [{p.relative_to(f).as_posix(): p.read_bytes() for p in f.rglob("*") if p.is_file()} for f in folders]
        assert found[0] == found[1]


def test_one_piece_that_changed_is_left_alone_by_a_build_of_another(lab: Path) -> None:
    write(lab, ALONE, motor(ALONE, "one", "absent").replace("A test motor", "Another"))
    assert build(lab, "2026-03-p1") == {"2026-03-p1": "unchanged"}
    assert "Another" not in page(lab, ALONE)


def test_the_archive_is_the_same_from_the_manifest_and_from_what_is_kept(lab: Path) -> None:
    kept = Kept(lab / "build/kept")
    seen = archive_of(Workspace(lab), kept)
    kept.manifest.unlink()
    assert archive_of(Workspace(lab), kept).traits == seen.traits
    assert set(seen.traits) == set(MOTORS)


def test_a_moved_spread_is_named_as_the_cause_and_owed_a_revision(lab: Path) -> None:
    assert set(publish(lab, "2026-05-01").values()) == {"published"}
    assert set(publish(lab, "2026-05-02").values()) == {"unchanged"}
    heavier(lab, "2026-03-p3", 0.05)
    found = impact_of(Workspace(lab), (ALONE,), Manner(), lambda _: None, lambda _: None)
    (group,) = found.campaigns[0].groups
    assert [move.name for move in group.moves] == ["mass"]
    (cause,) = group.causes
    assert cause.kind == "spread"
    assert cause.what.startswith("the archive's spread of pieces, mass: 0.6")
    build(lab)
    states = publish(lab, "2026-05-03")
    assert states[ALONE] == "revised"
    assert states[PAIR] == "revised"
    history = (lab / f"build/site/reports/{ALONE}/index.html").read_text().split('id="history"')[1]
    assert "<del>32.4" in history
    assert set(publish(lab, "2026-05-04").values()) == {"unchanged"}


def test_what_moved_since_the_preview_is_not_published_unseen(lab: Path) -> None:
    heavier(lab, "2026-03-p3", 0.05)
    build(lab, "2026-03-p3")
    done = Publishing(Workspace(lab), (ALONE,), "Because.", date(2026, 5, 1)).run(lambda _: None)
    assert done[0].state == "failed"
    assert "the archive's spread of pieces, changed since" in done[0].problems[0]


def test_a_pair_stands_beside_all_pairs_of_the_archive(built: Path) -> None:
    """Cushions weigh 3 %: one pair of the comparison, three of the archive, two of them with a motor in common."""
    (effect,) = results(built, PAIR)["comparison"]["effects"]
    assert (effect["attribute"], effect["values"], effect["pairs"]) == ("cushion", ["absent", "present"], 3)
    (figure,) = effect["figures"]
    assert figure["groups"] == [[[ALONE, "2026-03-p1"], ["2026-03-p2"]], [["2026-03-p3"], ["2026-03-p4"]]]
    low, high = figure["ratio_interval"]
    assert low < 1 / 1.03 < high
    text = page(built, PAIR)
    assert "Over the archive: 3 pairs isolate this change" in text
    assert "2026-03-p3 against 2026-03-p4" in text
    assert "%), 3 pairs</td>" in text


def test_a_new_motor_that_makes_a_pair_is_taken_up_by_the_comparison(lab: Path) -> None:
    write(lab, "2026-05-new", motor("2026-05-new", "one", "present"))
    build(lab)
    assert results(lab, PAIR)["comparison"]["effects"][0]["pairs"] == 5


def test_a_reader_forms_the_model_again_with_the_spread_that_is_stated(built: Path, tmp_path: Path) -> None:
    bundle = built / "build/preview/reports" / ALONE / "bundle.zip"
    found = verify(bundle, {})
    assert found.ok, found.problems
    assert found.pooled == 1
    assert {each.state for each in found.agreements} == {"identical"}

    def narrower(data: bytes) -> bytes:
        record = json.loads(data)
        entry = record["quantities"][1]
        middle = entry["value"]
        entry["interval"] = [middle + (end - middle) / 3 for end in entry["interval"]]
        entry["standard_uncertainty"] /= 3
        return json.dumps(record).encode()

    forged = changed(bundle, tmp_path / "forged.zip", edits={"results.json": narrower}, fitting_sums=True)
    assert [each.name for each in verify(forged, {}).differing] == ["Mass, the model"]

    def surer(data: bytes) -> bytes:
        record = json.loads(data)
        record["pooled_models"][0]["interval"] = record["quantities"][0]["interval"]
        return json.dumps(record).encode()

    forged = changed(bundle, tmp_path / "surer.zip", edits={"results.json": surer}, fitting_sums=True)
    assert [each.name for each in verify(forged, {}).differing] == ["Mass, with the stated spread, the model"]

    def another(data: bytes) -> bytes:
        record = json.loads(data)
        record["quantities"][1]["value"] *= 1.001
        return json.dumps(record).encode()

    forged = changed(bundle, tmp_path / "other.zip", edits={"results.json": another}, fitting_sums=True)
    assert any("shows other figures than results.json" in problem for problem in verify(forged, {}).problems)
    assert b"pooled_models" in contents(bundle)["results.json"]
