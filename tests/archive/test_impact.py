"""Impact: what would move is named before it is published, verdicts first, and publishing then does just that."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

import benchproof
from archive.kept_reports import NAMES, apart, build, keep, with_claims  # noqa: F401 - a fixture
from benchproof.archive.build import Manner
from benchproof.archive.impact import impact_of
from benchproof.archive.publishing import Publishing
from benchproof.campaign.workspace import Workspace
from benchproof.cli import app
from benchproof.findings.impact import Impact
from benchproof.report.drawings import inert_drawing
from benchproof.report.impact import dot_plot, write_impact
from workspaces import LAB, write_workspace

A, B = NAMES
ROOT = Path(__file__).parents[2]


def publish(root: Path, *names: str, day: str = "2026-03-10") -> None:
    done = Publishing(Workspace(root), names or NAMES, "First.", date.fromisoformat(day)).run(lambda _: None)
    assert not [problem for each in done for problem in each.problems]


def impact(root: Path, *names: str) -> Impact:
    return impact_of(Workspace(root), names or NAMES, Manner(recheck=True), lambda _: None, lambda _: None)


def told(root: Path, *options: str) -> str:
    done = CliRunner().invoke(app, ["--workspace", str(root), "impact", *options])
    assert done.exit_code == 0, done.output
    return done.output


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Two campaigns, published; one motor makes 1 % less thrust than the other."""
    made = write_workspace(tmp_path / "w", *NAMES)
    keep(made, A)
    keep(made, B, scale=0.99, only="thrust")
    build(made, *NAMES)
    publish(made)
    return made


def test_nothing_changed_is_said_in_one_line(root: Path) -> None:
    assert [each.state for each in impact(root).campaigns] == ["same", "same"]
    assert "Nothing would move by more than trial noise." in told(root)


def test_a_figure_that_moved_is_named_with_its_move_and_its_cause(root: Path) -> None:
    keep(root, A, scale=1.004, only="thrust", version="1.1")
    found = impact(root).campaigns[0]
    (group,) = found.groups
    assert [cause.what for cause in group.causes] == ["thrust_sweep 1.0 to 1.1"]
    assert {move.name for move in group.moves} == {"thrust"}
    model = next(move for move in group.moves if move.sample is None)
    assert model.in_uncertainties == pytest.approx(6.93 * 0.004 / 0.0275)
    assert model.percent == pytest.approx(0.4)


def test_causes_are_kept_apart(root: Path) -> None:
    keep(root, A, scale=1.01, version="1.1")
    keep(root, B, scale=0.99 * 1.01, only="thrust", settle="1 s")
    kinds = {
        tuple(cause.kind for cause in causes): {name for name, _ in moved} for causes, moved in impact(root).by_cause
    }
    assert kinds == {("method",): {A}, ("choice",): {B}, ("unknown",): {A}}


def test_a_move_within_trial_noise_is_counted_and_not_listed(root: Path) -> None:
    keep(root, A, scale=1 + 1e-7)
    (found, _) = impact(root).campaigns
    assert (found.state, found.moves, found.noise > 0) == ("noise", (), True)


def test_a_verdict_that_flips_is_told_before_anything_else(root: Path, monkeypatch) -> None:
    with_claims(monkeypatch, a="supported")
    build(root, A)
    publish(root, A, day="2026-03-11")
    with_claims(monkeypatch, a="contradicted")
    keep(root, A, scale=0.98, only="thrust", version="1.1")
    text = told(root, "--page")
    flip = text.index("Lifts 6 N at 200 W")
    assert "supported -> contradicted" in text
    assert flip < text.index("Thrust at 200 W")
    page = (root / "build/preview/impact.html").read_text(encoding="utf-8")
    assert page.index("<del>supported</del> <ins>contradicted</ins>") < page.index("<del>6.930 N")
    record = json.loads(told(root, "--json"))
    assert record["verdicts"] == [
        {"campaign": A, "say": "Lifts 6 N at 200 W", "old": "supported", "new": "contradicted"}
    ]


def test_motors_that_change_places_are_named(root: Path) -> None:
    keep(root, A, scale=0.98, only="thrust", version="1.1")
    (swap,) = impact(root).swaps
    assert (swap.name, dict(swap.at)) == ("thrust", {"electrical_power": "200 W"})
    assert (swap.risen, swap.fallen) == (B, A)
    assert f"{B} now lies above {A}." in told(root)


def test_places_are_held_against_campaigns_that_were_not_asked_for(root: Path) -> None:
    keep(root, A, scale=0.98, only="thrust", version="1.1")
    assert [(swap.risen, swap.fallen) for swap in impact(root, A).swaps] == [(B, A)]


def test_the_bridge_from_one_version_to_the_next(root: Path) -> None:
    keep(root, A, scale=1.02, only="thrust", version="1.1")
    keep(root, B, scale=0.99 * 1.03, only="thrust", version="1.1")
    bridges = {bridge.name: bridge for bridge in impact(root).bridges}
    assert bridges["thrust"].ratio == pytest.approx((1.02 * 1.03) ** 0.5)
    assert bridges["thrust"].campaigns == 2
    assert bridges["thrust_per_power"].ratio == 1.0


def test_drafts_withdrawals_and_failures_are_said_to_be_that(root: Path) -> None:
    (root / "runs" / A / "record.jsonl").unlink()
    Publishing(Workspace(root), (B,), "Wrong.", date(2026, 4, 1), withdraw=True).run(lambda _: None)
    assert [each.state for each in impact(root).campaigns] == ["draft", "withdrawn"]
    path = root / "runs" / B / "record.jsonl"
    path.write_bytes(path.read_bytes()[:-5])
    assert "record.jsonl:2" in impact(root).campaigns[1].problems[0]
    done = CliRunner().invoke(app, ["--workspace", str(root), "impact"])
    assert done.exit_code == 1


def test_impact_publishes_nothing(root: Path) -> None:
    before = {path: path.read_bytes() for path in (root / "build/site").rglob("*") if path.is_file()}
    lines = (root / "runs" / A / "record.jsonl").read_bytes()
    keep(root, A, scale=1.02, version="1.1")
    told(root, "--page")
    assert {path: path.read_bytes() for path in (root / "build/site").rglob("*") if path.is_file()} == before
    assert (root / "runs" / A / "record.jsonl").read_bytes() == lines


def test_the_page_keeps_the_policy_and_its_drawing_is_the_same_every_time(root: Path) -> None:
    keep(root, A, scale=1.02, version="1.1")
    found = impact(root)
    assert dot_plot(found) == dot_plot(found)
    inert_drawing(dot_plot(found), place="impact")
    page = write_impact(root / "build/preview", found, Workspace(root).lab()).read_text(encoding="utf-8")
    assert "default-src &#39;none&#39;" in page
    assert not re.search(r"<script(?! defer src)|style=", page)
    assert 'src="impact.svg"' in page
    assert "With 2000 trials" in page


def test_publishing_after_an_impact_names_the_same_figures(root: Path) -> None:
    keep(root, A, scale=1.02, only="thrust", version="1.1")
    record = json.loads(told(root, "--json"))
    moved = {(f["name"], f["sample"]) for c in record["campaigns"] for g in c["groups"] for f in g["figures"]}
    publish(root, day="2026-04-01")
    history = (root / f"build/site/reports/{A}/index.html").read_text().split('id="history"')[1]
    assert moved == {("thrust", None), ("thrust", "A1"), ("thrust", "A2")}
    assert len(re.findall("<del>", history)) == len(moved)


def run(root: Path, package: Path, *words: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(package), "SOURCE_DATE_EPOCH": "1775000000"}
    command = [sys.executable, "-c", "from benchproof.cli import main; main()", "--workspace", str(root), *words]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.slow
def test_another_default_window_is_carried_through_impact_publish_and_history(tmp_path: Path) -> None:
    """The method itself is changed, as a maintainer would: a longer settling time, a new version, real notebooks."""
    root = write_workspace(tmp_path / "w", A)
    (root / "runs/lab.yaml").write_text(LAB.replace("trials: 2000", "trials: 1000"))
    source = Path(benchproof.__file__).parent
    run(root, source.parent, "build")
    run(root, source.parent, "publish", "-m", "First published")

    changed = tmp_path / "changed" / "analysis" / "benchproof"
    shutil.copytree(source, changed, ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "changed" / "templates").symlink_to(ROOT / "templates")
    method = changed / "methods" / "thrust_sweep.py"
    text = method.read_text(encoding="utf-8")
    version = re.search(r'version="([\d.]+)"', text)[1]
    text = text.replace('Choice("settle", "0.5 s"', 'Choice("settle", "1.4 s"').replace(version, "9.9")
    method.write_text(text, encoding="utf-8")

    found = json.loads(run(root, changed.parent, "impact", "--json"))
    (campaign,) = found["campaigns"]
    assert campaign["state"] == "moved"
    causes = {cause["what"] for group in campaign["groups"] for cause in group["causes"]}
    assert causes == {f"thrust_sweep {version} to 9.9", "settle of thrust_sweep: 0.5 s to 1.4 s"}
    moved = {figure["name"] for group in campaign["groups"] for figure in group["figures"]}
    assert "thrust" in moved
    assert "mass" not in moved
    assert {bridge["name"] for bridge in found["bridging"]} >= moved

    assert "revision 2" in run(root, changed.parent, "publish", "-m", "Longer settling time")
    page = (root / f"build/site/reports/{A}/index.html").read_text(encoding="utf-8")
    history = page.split('id="history"')[1]
    assert "<del>" in history
    assert "Longer settling time" in history
    assert "settle of thrust_sweep: 0.5 s to 1.4 s" in history
    assert "Mass" not in history.split("</section>")[0]
