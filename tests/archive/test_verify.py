"""A reader's check of a bundle: what agrees, what was changed, what it runs and what it never does."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import pytest

from benchproof.archive.agreement import compare_curves, compare_figures, noise_of
from benchproof.report.collect import results_of
from benchproof.report.records import Figure, Results
from bundles import changed, contents, write
from workspaces import write_workspace

NAME = "2026-03-a"
LOG = f"runs/{NAME}/raw/sweep.csv"
COMMAND = str(Path(sys.executable).parent / "benchproof")


def verify(bundle: Path | str, *words: str) -> dict:
    """What the command says of a bundle; its exit code agrees with what it says."""
    done = subprocess.run(
        [COMMAND, "verify", str(bundle), "--json", *words], capture_output=True, text=True, check=False, timeout=300
    )
    assert "Traceback" not in done.stdout + done.stderr
    record = json.loads(done.stdout)
    unusable = "agreements" not in record
    assert done.returncode == (2 if unusable else 0 if record["ok"] else 1), done.stdout + done.stderr
    return record


@pytest.fixture(scope="module")
def bundle(tmp_path_factory) -> Path:
    root = write_workspace(tmp_path_factory.mktemp("lab"), NAME)
    subprocess.run([COMMAND, "--workspace", str(root), "build"], check=True, capture_output=True, timeout=300)
    return root / "build" / "preview" / "reports" / NAME / "bundle.zip"


@pytest.fixture(scope="module")
def untouched(bundle: Path) -> dict:
    return verify(bundle)


def states(found: dict) -> set[str]:
    return {each["state"] for each in found["agreements"]}


def differing(found: dict) -> list[dict]:
    return [each for each in found["agreements"] if each["state"] == "differs"]


def with_mass(factor: float):
    def edit(data: bytes) -> bytes:
        record = json.loads(data)
        mass = next(q for q in record["quantities"] if q["name"] == "mass")
        mass["value"] *= factor
        mass["interval"] = [end * factor for end in mass["interval"]]
        return json.dumps(record, indent=2).encode()

    return edit


def test_an_untouched_bundle_comes_out_again_to_the_last_digit(untouched: dict) -> None:
    assert untouched["ok"]
    assert untouched["problems"] == []
    assert untouched["versions"] == []
    assert states(untouched) == {"identical"}
    assert {each["kind"] for each in untouched["agreements"]} == {"figure", "curve"}


def test_one_byte_of_a_log_is_found_and_so_is_what_it_does(bundle: Path, tmp_path: Path) -> None:
    lines = contents(bundle)[LOG].split(b"\n")
    row = lines[600].split(b",")
    row[2] = (b"9" if row[2][:1] != b"9" else b"8") + row[2][1:]
    lines[600] = b",".join(row)
    found = verify(changed(bundle, tmp_path / "b.zip", edits={LOG: b"\n".join(lines)}))
    assert not found["ok"]
    assert f"{LOG} was changed: its SHA-256 is not the one in SHA256SUMS" in found["problems"]
    assert f"{LOG} is not the file that results.json was computed from" in found["problems"]
    assert any("thrust" in each["name"].lower() for each in differing(found))


def test_a_figure_changed_with_all_its_checksums_differs_by_so_many_uncertainties(bundle: Path, tmp_path: Path) -> None:
    edits = {"results.json": with_mass(1.01)}
    found = verify(changed(bundle, tmp_path / "b.zip", edits=edits, fitting_sums=True))
    assert not found["ok"]
    (mass,) = differing(found)
    assert mass["name"].startswith("Mass")
    assert mass["uncertainties"] > 3
    assert f"{NAME}.ipynb shows other figures than results.json" in found["problems"]
    assert "figures.csv does not say what results.json says" in found["problems"]


def test_a_hostile_notebook_is_told_of_and_not_run(bundle: Path, tmp_path: Path) -> None:
    mark = tmp_path / "ran"
    evil = f"__import__('pathlib').Path({str(mark)!r}).touch()"

    def poisoned(data: bytes) -> bytes:
        notebook = json.loads(data)
        for cell in notebook["cells"]:
            if cell["cell_type"] == "code":
                cell["source"] = evil
        return json.dumps(notebook).encode()

    edits = {
        "motor.ipynb": poisoned,
        f"{NAME}.ipynb": poisoned,
        f"runs/{NAME}/numpy.py": evil.encode(),
        "numpy.py": evil.encode(),
    }
    files = contents(bundle)
    files |= {name: b"" for name in edits if name not in files}
    whole = write(tmp_path / "whole.zip", files)
    found = verify(changed(whole, tmp_path / "b.zip", edits=edits, fitting_sums=True))
    assert not mark.exists()
    assert states(found) == {"identical"}  # the reader's own notebook gives the published figures
    assert not found["ok"]
    assert "the notebook motor.ipynb is not the one in the wheel beside it; it was not run" in found["problems"]
    assert any("has code that the notebook does not have" in problem for problem in found["problems"])
    assert any(version["name"] == "notebook" for version in found["versions"])


def test_the_bundles_notebook_runs_only_when_asked_for(bundle: Path, tmp_path: Path) -> None:
    mark = tmp_path / "ran"

    def marked(data: bytes) -> bytes:
        notebook = json.loads(data)
        cell = next(cell for cell in notebook["cells"] if cell["id"] == "open")
        cell["source"] = f"__import__('pathlib').Path({str(mark)!r}).touch()\n" + "".join(cell["source"])
        return json.dumps(notebook).encode()

    other = changed(bundle, tmp_path / "b.zip", edits={"motor.ipynb": marked}, fitting_sums=True)
    found = verify(other, "--run-bundled-notebook")
    assert mark.exists()
    assert states(found) == {"identical"}


def test_a_notebook_that_is_none_brings_no_traceback_even_when_asked_for(bundle: Path, tmp_path: Path) -> None:
    edits = {"motor.ipynb": b"[" * 100_000, f"{NAME}.ipynb": b"{}"}
    other = changed(bundle, tmp_path / "b.zip", edits=edits, fitting_sums=True)
    found = verify(other, "--run-bundled-notebook")
    assert any("motor.ipynb of the bundle is no notebook" in problem for problem in found["problems"])
    assert any(f"{NAME}.ipynb is no executed notebook" in problem for problem in found["problems"])


@pytest.mark.parametrize("name", [LOG, "results.json", "runs/rigs/bench/rig.yaml"])
def test_a_missing_file_is_named(bundle: Path, tmp_path: Path, name: str) -> None:
    found = verify(changed(bundle, tmp_path / "b.zip", edits={name: None}))
    assert not found["ok"]
    assert any(name in problem and "missing" in problem for problem in found["problems"])


def test_a_file_too_many_and_a_notebook_too_few_are_named(bundle: Path, tmp_path: Path) -> None:
    files = {**contents(bundle), "runs/extra.txt": b"x"}
    del files["motor.ipynb"]
    found = verify(write(tmp_path / "b.zip", files))
    assert "runs/extra.txt is not listed in SHA256SUMS" in found["problems"]
    assert "motor.ipynb is missing, though SHA256SUMS lists it" in found["problems"]


def by_hand(bundle: Path, folder: Path) -> list[dict]:
    """Figures of the same choice by plain papermill, in the unpacked bundle, against the published ones."""
    with ZipFile(bundle) as zipped:
        zipped.extractall(folder)
    words = ["motor.ipynb", "out.ipynb", "-f", f"runs/{NAME}/campaign.yaml", "-y", "choices: {air: as_tested}"]
    papermill = str(Path(sys.executable).parent / "papermill")
    subprocess.run([papermill, *words], cwd=folder, check=True, capture_output=True, timeout=200)
    here = {**results_of(json.loads((folder / "out.ipynb").read_text())), "claims": []}
    texts = ((folder / "results.json").read_text(), json.dumps(here))
    published, ours = (Results.model_validate_json(text).quantities for text in texts)
    return [each.record() for each in compare_figures(published, ours, 0.002)]


def test_a_choice_of_the_readers_own_stands_against_the_published_figures(bundle: Path, tmp_path: Path) -> None:
    found = verify(bundle, "--choice", "air=as_tested")
    assert found["ok"]
    moved = {each["name"] for each in differing(found) if each["kind"] == "figure"}
    assert any(name.startswith("Thrust") for name in moved)
    assert not any(name.startswith("Mass") for name in moved)
    assert moved == {each["name"] for each in by_hand(bundle, tmp_path) if each["state"] == "differs"}
    assert "no choice 'wind'" in verify(bundle, "--choice", "wind=calm")["problems"][0]
    assert "cannot be 'never'" in verify(bundle, "--choice", "air=never")["problems"][0]
    assert "NAME=VALUE" in verify(bundle, "--choice", "air")["problems"][0]


def test_without_json_the_command_prints_counts_and_a_verdict_and_leaves_nothing_behind(
    bundle: Path, tmp_path: Path
) -> None:
    left = {**os.environ, "TMPDIR": str(tmp_path)}
    done = subprocess.run(
        [COMMAND, "verify", str(bundle)], capture_output=True, text=True, check=True, env=left, timeout=200
    )
    lines = done.stdout.splitlines()
    assert any(
        line.startswith("figures") and line.endswith("identical to the printed digits, 0 within trial noise, 0 differ")
        for line in lines
    )
    assert lines[-1] == "Everything comes out again."
    assert not any(tmp_path.iterdir())


def test_what_is_not_there_is_an_unusable_request() -> None:
    assert "no bundle at none.zip" in verify("none.zip")["problems"][0]


def figure(value: float | None, u: float | None = 0.01, **more) -> Figure:
    interval = None if value is None else (value - 1.96 * u + more.pop("off", 0.0), value + 1.96 * u)
    flags = ("not_reached",) if value is None else ()
    return Figure(
        name="thrust", at={"speed": "9 rpm"}, sample=None, unit=more.pop("unit", "N"), value=value,
        standard_uncertainty=None if value is None else u, degrees_of_freedom=None, interval=interval, coverage=0.95,
        method="thrust_sweep/1.0", flags=more.pop("flags", flags),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("published", "here", "noise", "state"),
    [
        (figure(8.0), figure(8.0 + 1e-12), 0.002, "identical"),
        (figure(8.0), figure(8.0003), 0.08, "identical"),  # the last printed digit is 0.001 N
        (figure(8.0), figure(8.0006), 0.08, "within trial noise"),
        (figure(8.0), figure(8.0006), 0.002, "differs"),
        (figure(8.0), figure(8.002), 0.08, "differs"),
        (figure(8.0), figure(8.0, off=0.0012), 0.002, "differs"),
        (figure(8.0), figure(8.0, 0.012), 0.08, "differs"),
        (figure(None), figure(None), 0.002, "identical"),
        (figure(None), figure(8.0), 0.08, "differs"),
        (figure(8.0), figure(8.0, unit="kg"), 0.08, "differs"),
        (figure(8.0), figure(8.0, flags=("air_referred",)), 0.08, "differs"),
        (figure(8.0, 0.0), figure(8.0, 0.0), 0.08, "identical"),
        (figure(8.0, 0.0), figure(8.1, 0.0), 0.08, "differs"),
    ],
)
def test_printed_digits_decide_then_noise(published: Figure, here: Figure, noise: float, state: str) -> None:
    (found,) = compare_figures([published], [here], noise)
    assert found.state == state


def test_a_figure_of_one_side_alone_differs() -> None:
    (gone,) = compare_figures([figure(8.0)], [], 0.08)
    (new,) = compare_figures([], [figure(8.0)], 0.08)
    assert (gone.reason, new.reason) == ("did not come out here", "not in the report")


def test_noise_shrinks_with_the_number_of_trials() -> None:
    assert noise_of(20_000, same_versions=False) == pytest.approx(0.08)
    assert noise_of(5_000, same_versions=False) == pytest.approx(0.16)
    assert noise_of(5_000, same_versions=True) < 0.01


CURVE = "x [W],y [N],y_low [N],y_high [N]\n1.0,2.0,1.9,2.1\n3.0,4.0,3.9,4.1\n"


@pytest.mark.parametrize(
    ("here", "state"),
    [
        (CURVE, "identical"),
        (CURVE.replace("4.0,", "4.00001,"), "identical"),
        (CURVE.replace("4.0,", "4.003,"), "within trial noise"),
        (CURVE.replace("4.0,", "4.03,"), "differs"),
        (CURVE.replace("3.0,4.0,3.9,4.1", "5.0,6.0,5.9,6.1"), "within trial noise"),  # the same line, further out
        (CURVE.replace("4.0,", "x,"), "differs"),
        (CURVE.replace("[N]", "[kg]"), "differs"),
        (CURVE + "5.0,6.0,5.9,6.1\n", "differs"),
    ],
)
def test_curves_are_compared_at_the_digits_a_page_prints(here: str, state: str) -> None:
    (found,) = compare_curves({"curves/a.csv": CURVE}, {"curves/a.csv": here}, 0.08)
    assert found.state == state, found
