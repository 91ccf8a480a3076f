"""From a campaign file and raw logs to pages: the main job, end to end, with real kernels."""

from __future__ import annotations

import filecmp
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from workspaces import CAMPAIGN, LAB, RIG, sweep_log, write_workspace

SCRIPTS = Path(sys.executable).parent


def run(root: Path, *words: str, check: bool = True, **env: str) -> subprocess.CompletedProcess[str]:
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(root), *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env={**os.environ, **env}, timeout=300)
    assert "Traceback" not in done.stdout + done.stderr, done.stderr
    if check:
        assert done.returncode == 0, done.stdout + done.stderr
    return done


def results(root: Path, name: str = "2026-03-a") -> dict:
    return json.loads((root / "build" / "preview" / "reports" / name / "results.json").read_text())


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Path:
    root = write_workspace(tmp_path_factory.mktemp("built"), "2026-03-a", "2026-03-b")
    run(root, "build")
    return root


def test_a_campaign_becomes_a_report_with_everything_attached(built: Path) -> None:
    report = built / "build" / "preview" / "reports" / "2026-03-a"
    names = {path.relative_to(report).as_posix() for path in report.rglob("*") if path.is_file()}
    assert {"index.html", "results.json", "2026-03-a.ipynb", "campaign.yaml", "raw/sweep.csv", "SHA256SUMS"} <= names
    assert "curves/thrust_vs_electrical_power--A1.csv" in names
    head = (report / "curves" / "thrust_vs_electrical_power--A1.csv").read_text().splitlines()[0]
    assert head == "electrical_power [W],thrust [N],thrust_low [N],thrust_high [N]"
    assert (report / "raw" / "sweep.csv").read_bytes() == (built / "runs/2026-03-a/raw/sweep.csv").read_bytes()
    check = subprocess.run(["sha256sum", "-c", "--quiet", "SHA256SUMS"], cwd=report, check=False)
    assert check.returncode == 0


def test_results_have_the_contracts_shape(built: Path) -> None:
    record = results(built)
    assert list(record)[:5] == ["schema", "campaign", "methods", "software", "inputs"]
    assert record["schema"] == "benchproof-results/1"
    assert record["methods"] == {"thrust_sweep": "1.0", "weighing": "1.0"}
    assert list(record["inputs"])[:4] == [
        "runs/lab.yaml",
        "runs/rigs/bench/rig.yaml",
        "runs/rigs/bench/calibration/cell.csv",
        "runs/2026-03-a/campaign.yaml",
    ]
    thrust = next(q for q in record["quantities"] if q["name"] == "thrust" and q["sample"] == "A1")
    assert list(thrust) == [
        "name", "at", "sample", "unit", "value", "standard_uncertainty", "degrees_of_freedom", "interval", "coverage",
        "method", "flags",
    ]  # fmt: skip
    assert thrust["at"] == {"electrical_power": "100 W"}
    assert thrust["unit"] == "N"
    assert "air_referred" in thrust["flags"]
    model = next(q for q in record["quantities"] if q["name"] == "thrust" and q["sample"] is None)
    assert "one_sample" in model["flags"]
    assert model["value"] == thrust["value"]


def test_plain_papermill_gives_the_same_figures(built: Path, tmp_path: Path) -> None:
    where = subprocess.run([SCRIPTS / "benchproof", "notebook", "motor"], capture_output=True, text=True, check=True)
    out = tmp_path / "out.ipynb"
    subprocess.run(
        [SCRIPTS / "papermill", where.stdout.strip(), str(out), "-f", str(built / "runs/2026-03-a/campaign.yaml")],
        cwd=built / "runs" / "2026-03-a",
        check=True,
        capture_output=True,
    )
    cells = json.loads(out.read_text())["cells"]
    shown = cells[-1]["outputs"][-1]["data"]["application/vnd.benchproof.results+json"]
    assert {**shown, "claims": []} == results(built)  # claims look at other campaigns; `build` adds them


def test_a_misspelt_parameter_fails_under_plain_papermill_too(built: Path, tmp_path: Path) -> None:
    where = subprocess.run([SCRIPTS / "benchproof", "notebook", "motor"], capture_output=True, text=True, check=True)
    done = subprocess.run(
        [SCRIPTS / "papermill", where.stdout.strip(), str(tmp_path / "o.ipynb"),
         "-f", str(built / "runs/2026-03-a/campaign.yaml"), "-p", "titel", "x"],
        cwd=built, check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode != 0
    assert "the unknown key titel" in done.stderr


def test_a_second_build_runs_nothing(built: Path) -> None:
    again = json.loads(run(built, "build", "--json").stdout)
    assert [c["state"] for c in again["campaigns"]] == ["unchanged", "unchanged"]


def test_two_builds_are_the_same_bytes_in_any_order_and_at_any_number_of_threads(tmp_path: Path) -> None:
    roots = [write_workspace(tmp_path / "one" / "w", "2026-03-a", "2026-03-b"), tmp_path / "two"]
    shutil.copytree(roots[0], roots[1])
    run(roots[0], "build", OPENBLAS_NUM_THREADS="1")
    run(roots[1], "build", "2026-03-b", "2026-03-a", "--workers", "1", OPENBLAS_NUM_THREADS="2", OMP_NUM_THREADS="2")
    assert differing(roots[0] / "build" / "preview", roots[1] / "build" / "preview") == []


def differing(one: Path, other: Path) -> list[str]:
    names = sorted({p.relative_to(r).as_posix() for r in (one, other) for p in r.rglob("*") if p.is_file()})
    return [n for n in names if not (other / n).exists() or not filecmp.cmp(one / n, other / n, shallow=False)]


def test_one_failing_campaign_stops_no_other_and_keeps_its_last_good_report(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, "2026-03-a", "2026-03-b")
    run(root, "build")
    good = (root / "build/preview/reports/2026-03-a/results.json").read_bytes()
    log = root / "runs" / "2026-03-a" / "raw" / "sweep.csv"
    log.write_text(log.read_text().replace("\n2000,", "\nx,", 1))
    (root / "runs/2026-03-b/campaign.yaml").write_text(CAMPAIGN.format(name="2026-03-b").replace("A test motor", "New"))
    done = run(root, "build", check=False)
    assert done.returncode == 1
    assert "2026-03-a: FAILED" in done.stderr
    assert 'found "x"; expected a finite number' in done.stderr
    assert "cell 'open'" in done.stderr
    assert (root / "build/failed/2026-03-a.ipynb").is_file()
    assert (root / "build/preview/reports/2026-03-a/results.json").read_bytes() == good
    assert "New" in (root / "build/preview/reports/2026-03-b/index.html").read_text()
    assert not list((root / "build").glob("scratch/*"))


def test_an_unusable_lab_file_makes_the_request_unusable(tmp_path: Path) -> None:
    root = write_workspace(tmp_path)
    (root / "runs/lab.yaml").write_text(LAB.replace("seed: 1", "seed: one"))
    done = run(root, "build", check=False)
    assert done.returncode == 2
    assert "runs/lab.yaml" in done.stderr
    assert "seed" in done.stderr


def test_requests_for_what_is_not_there_say_so(tmp_path: Path) -> None:
    root = write_workspace(tmp_path)
    done = run(root, "build", "2026-03-b", check=False)
    assert done.returncode == 2
    assert "did you mean 2026-03-a?" in done.stderr
    assert json.loads(run(root, "check", "nothing", "--json", check=False).stdout)["ok"] is False
    assert run(tmp_path / "elsewhere", "check", check=False).returncode == 2


def test_check_reads_the_logs_and_runs_nothing(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log="t_ms,throttle,thrust_gf,volts,amps,rpm\n1,2\n")
    done = run(root, "check", check=False)
    assert done.returncode == 2
    assert "raw/sweep.csv:2: found a row cut short" in done.stdout
    assert not (root / "build").exists()


def test_a_started_campaign_names_what_is_left_to_fill_in(tmp_path: Path) -> None:
    root = write_workspace(tmp_path / "w")
    log = tmp_path / "my sweep.csv"
    log.write_text(sweep_log(levels=5, rate=10))
    assert "cannot be used" in run(root, "new", "../x", check=False).stderr
    log = log.rename(tmp_path / "my-sweep.csv")
    run(root, "new", "2026-09-new", str(log))
    assert (root / "runs/2026-09-new/raw/my-sweep.csv").read_bytes() == log.read_bytes()
    done = run(root, "check", "2026-09-new", check=False)
    assert done.returncode == 2
    assert 'dates.tested: found "FILL"' in done.stdout
    assert run(root, "new", "2026-09-new", check=False).returncode == 2


def test_published_coefficients_of_a_research_propeller_come_back(tmp_path: Path, reference: Path) -> None:
    """UIUC static rows of the DA4002 9x6.75 (tests/reference/uiuc), written as a log, within 0.5 %."""
    rows = np.loadtxt(reference / "uiuc" / "prop_uiuc_da4002_9in_static.csv", delimiter=",", skiprows=2)
    d, rho = 0.2286, 1.225
    lines, t = ["t,throttle,thrust,torque,volts,amps,rpm"], 0.0
    for k, (rpm, ct, cp) in enumerate(np.vstack([[0.0, 0.0, 0.0], rows, [0.0, 0.0, 0.0]])):
        n = rpm / 60
        throttle = 0 if rpm == 0 else 20 + 4 * k
        thrust, power = ct * rho * n**2 * d**4, cp * rho * n**3 * d**5
        torque = power / (2 * np.pi * n) if n else 0.0
        for _ in range(60):
            lines.append(f"{t:.2f},{throttle},{thrust:.6f},{torque:.7f},12.0,{power / 0.8 / 12.0:.5f},{rpm:.3f}")
            t += 0.05
    root = write_workspace(tmp_path, log="\n".join(lines) + "\n")
    speeds = ", ".join(f'"{rpm:.3f} rpm"' for rpm in rows[:, 0])
    (root / "runs/lab.yaml").write_text(LAB.replace('speed: ["10000 rpm"]', f"speed: [{speeds}]"))
    layout = """logs:
  thrust_sweep:
    time: {column: t, unit: s}
    throttle: {column: throttle, unit: "%"}
    thrust: {column: thrust, unit: N, instrument: plain}
    torque: {column: torque, unit: "N*m", instrument: torque}
    voltage: {column: volts, unit: V, instrument: volts}
    current: {column: amps, unit: A, instrument: amps}
    speed: {column: rpm, unit: rpm, instrument: tacho}
"""
    rig = RIG[: RIG.index("logs:")] + layout
    rig = rig.replace(
        "  volts: {",
        '  plain: {measures: thrust, errors: [{scale: "0.2 %"}]}\n  torque: {measures: torque, errors: [{scale: "0.5 %"}]}\n  volts: {',
    )
    rig = rig.replace('diameter: "129.5 mm", blades: 3', 'diameter: "228.6 mm", blades: 2')
    (root / "runs/rigs/bench/rig.yaml").write_text(rig)
    text = CAMPAIGN.format(name="2026-03-a").replace('"20 degC"', '"15 degC"').replace('"1000 hPa"', '"1013.25 hPa"')
    text = text.replace('"40 %"', '"0 %"').replace("electrical_power", "speed").replace('"100 W"', '"1700.000 rpm"')
    (root / "runs/2026-03-a/campaign.yaml").write_text(text)
    run(root, "build")
    found = {(q["name"], q["at"].get("speed")): q for q in results(root)["quantities"] if q["sample"] == "A1"}
    for rpm, ct, cp in rows:
        at = f"{rpm:.3f} rpm"
        assert found["thrust_coefficient", at]["value"] == pytest.approx(ct, rel=0.005), at
        assert found["power_coefficient", at]["value"] == pytest.approx(cp, rel=0.005), at


def test_nothing_a_folder_or_a_file_can_hold_brings_a_traceback(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=sweep_log(levels=5, rate=10))
    for name, content in {
        "2026-04-binary": bytes(range(256)),
        "2026-04-list": b"- a\n- b\n",
        "<b>x": CAMPAIGN.format(name="<b>x").encode(),
        "2026-04-lab": LAB.encode(),
        "2026-04-deep": b"a: " + b"[" * 5000,
    }.items():
        (root / "runs" / name).mkdir()
        (root / "runs" / name / "campaign.yaml").write_bytes(content)
    done = run(root, "build", check=False)
    assert done.returncode == 1
    assert done.stderr.count("FAILED") == 5
    assert "unforeseen" not in done.stderr
    assert "2026-03-a: built" in done.stderr
    assert "unforeseen" not in run(root, "check", check=False).stdout


def test_a_log_without_a_settled_step_says_what_to_do(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=sweep_log(levels=5, rate=10).replace("000,", "0,"))
    done = run(root, "build", check=False)
    assert done.returncode == 2
    assert "unforeseen" not in done.stderr
