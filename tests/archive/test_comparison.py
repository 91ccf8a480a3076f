"""Claims, comparing quotes and comparisons, end to end with real kernels."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from benchproof.archive.publication import Publication
from benchproof.archive.publishing import Publishing
from benchproof.campaign.workspace import Workspace
from workspaces import write_workspace

SCRIPTS = Path(sys.executable).parent
MORE = """\
claims:
  - {say: "Weighs more than the other", quantity: mass, relation: more, than: 2026-03-b, scope: samples}
  - {say: "Weighs 40 g", quantity: mass, relation: at_least, than: "40 g"}
  - {say: "Makes more thrust than the other", quantity: thrust, at: {electrical_power: "100 W"}, relation: more, than: 2026-03-b}
"""
BOTH = """\
kind: comparison
campaign: 2026-04-both
title: Two alike
campaigns: [2026-03-a, 2026-03-b]
airframes:
  quad: {mass: "900 g", motors: 4, pack_energy: "22 W*h", pack_voltage: "14.8 V", hover_share: "80 %", full_throttle_share: "20 %"}
text: |
  **Alike but for the mass.** {{ quote("mass", of="2026-03-a") }}, {{ quote("mass", of="2026-03-a", than="2026-03-b") }} than the other.
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = write_workspace(tmp_path_factory.mktemp("compared"), "2026-03-a", "2026-03-b")
    path = root / "runs" / "2026-03-a" / "campaign.yaml"
    heavy = path.read_text().replace('"32.41 g", "32.40 g", "32.42 g"', '"33.41 g", "33.40 g", "33.42 g"')
    words = ', {{ quote("mass", than="2026-03-b") }} than b'
    path.write_text(heavy.replace('{{ quote("mass") }}', '{{ quote("mass") }}' + words) + MORE)
    (root / "runs" / "2026-04-both").mkdir()
    (root / "runs" / "2026-04-both" / "campaign.yaml").write_text(BOTH)
    build(root)
    return root


def build(root: Path, *names: str) -> None:
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(root), "build", *names]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=dict(os.environ), timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr


def report(root: Path, name: str, file: str = "results.json") -> str:
    return (root / "build" / "preview" / "reports" / name / file).read_text()


def test_claims_come_out_three_ways(built: Path) -> None:
    claims = json.loads(report(built, "2026-03-a"))["claims"]
    assert [claim["verdict"] for claim in claims] == ["supported", "contradicted", "not shown"]
    assert list(claims[0])[:3] == ["say", "verdict", "probability"]
    page = report(built, "2026-03-a", "index.html")
    assert "Weighs more than the other" in page
    assert "given the method and the stated error sources" in page


def test_a_quote_may_look_at_another_campaign(built: Path) -> None:
    assert " % more</span> than b" in report(built, "2026-03-a", "index.html")


def test_a_comparison_has_a_page_and_results_of_its_own(built: Path) -> None:
    record = json.loads(report(built, "2026-04-both"))
    assert list(record)[:9] == [
        "schema", "campaign", "methods", "software", "inputs", "quantities", "curves", "comparison", "claims",
    ]  # fmt: skip
    assert {each["campaign"] for each in record["quantities"]} == {"2026-03-a", "2026-03-b"}
    mass = next(d for d in record["comparison"]["differences"] if d["name"] == "mass")
    assert mass["campaign"] == "2026-03-b"
    assert mass["ratio"] == pytest.approx(32.41 / 33.41, rel=1e-4)
    assert mass["ratio_interval"][0] < mass["ratio"] < mass["ratio_interval"][1]
    page = report(built, "2026-04-both", "index.html")
    assert "Who is best at what" in page
    assert "For the airframe quad" in page
    assert "than the other" in page
    assert "2026-04-both" in (built / "build" / "preview" / "index.html").read_text()


def test_plain_papermill_gives_the_same_comparison(built: Path, tmp_path: Path) -> None:
    command = [str(SCRIPTS / "benchproof"), "notebook", "comparison"]
    where = subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    out, file = tmp_path / "out.ipynb", built / "runs" / "2026-04-both" / "campaign.yaml"
    papermill = [str(SCRIPTS / "papermill"), where, str(out), "-f", str(file)]
    subprocess.run(papermill, cwd=file.parent, check=True, capture_output=True)
    shown = json.loads(out.read_text())["cells"][-1]["outputs"][-1]["data"]["application/vnd.benchproof.results+json"]
    assert {**shown, "claims": []} == json.loads(report(built, "2026-04-both"))


def test_a_verdict_flips_when_the_data_change(built: Path) -> None:
    path = built / "runs" / "2026-03-a" / "campaign.yaml"
    before = path.read_text()
    path.write_text(before.replace('"33.41 g", "33.40 g", "33.42 g"', '"31.41 g", "31.40 g", "31.42 g"'))
    build(built, "2026-03-a")
    assert json.loads(report(built, "2026-03-a"))["claims"][0]["verdict"] == "contradicted"
    path.write_text(before)


def publish(root: Path, *names: str, reason: str = "First.", day: str = "2026-05-01") -> dict[str, Publication]:
    named = names or Workspace(root).campaign_names()
    done = Publishing(Workspace(root), named, reason, date.fromisoformat(day), named=bool(names)).run(lambda _: None)
    return {each.campaign: each for each in done}


def test_a_comparison_is_published_with_what_it_compares_and_a_verdict_that_flips_comes_first(
    built: Path, tmp_path: Path
) -> None:
    root = tmp_path / "w"
    shutil.copytree(built, root)
    build(root)
    refused = publish(root, "2026-04-both")["2026-04-both"]
    assert "compares 2026-03-a, which is not published" in refused.problems[0]
    assert {each.state for each in publish(root).values()} == {"published"}
    listed = (root / "build/site/index.html").read_text()
    assert "reports/2026-04-both/index.html" in listed

    path = root / "runs/2026-03-a/campaign.yaml"
    path.write_text(path.read_text().replace('"33.41 g", "33.40 g", "33.42 g"', '"31.41 g", "31.40 g", "31.42 g"'))
    impact = [str(SCRIPTS / "benchproof"), "--workspace", str(root), "impact"]
    told = subprocess.run(impact, capture_output=True, text=True, check=True, timeout=300).stdout
    assert "“Weighs more than the other” supported -> contradicted" in told
    assert "“Order by mass” 2026-03-b, 2026-03-a -> 2026-03-a, 2026-03-b" in told
    assert told.index("FLIPPED") < told.index("31.41")
    assert "Mass: 2026-03-b now lies above 2026-03-a." in told

    done = publish(root, reason="Weighed again.", day="2026-06-01")
    assert [done[name].state for name in sorted(done)] == ["revised", "unchanged", "revised"]
    text = (root / "build/site/reports/2026-03-a/index.html").read_text().split('id="history"')[1]
    assert text.index("<del>supported</del> <ins>contradicted</ins>") < text.index("<del>33.41")
    assert "What the text says against other reports reads otherwise." in text
    earlier = (root / "build/site/reports/2026-03-a/rev/1/index.html").read_text()
    assert "more than b" in earlier or "than b" in earlier
    order = (root / "build/site/reports/2026-04-both/index.html").read_text().split('id="history"')[1]
    assert "<q>Order by mass</q> <del>2026-03-b, 2026-03-a</del> <ins>2026-03-a, 2026-03-b</ins>" in order
    plain = (root / "build/site/reports/2026-04-both/rev/1/index.html").read_text()
    assert 'data-of="2026-03-a"' in plain
    assert "33.41" in plain
