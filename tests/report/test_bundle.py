"""A bundle: everything in one file, the same bytes every time, and the software that made it."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import pyarrow.parquet as pq
import pytest
import yaml

from benchproof.report.packing import packing
from benchproof.report.wheel import lock_file, own_wheel
from bundles import contents
from workspaces import write_workspace

NAME = "2026-03-a"
OTHER = "2026-03-b"
CLAIM = f"""claims:
  - {{say: "More thrust than the other", quantity: thrust, at: {{electrical_power: "100 W"}}, relation: more, than: {OTHER}}}
"""


@pytest.fixture(scope="module")
def reports(tmp_path_factory) -> Path:
    root = write_workspace(tmp_path_factory.mktemp("lab"), NAME, OTHER)
    with (root / "runs" / NAME / "campaign.yaml").open("a") as stream:
        stream.write(CLAIM)
    command = [str(Path(sys.executable).parent / "benchproof"), "--workspace", str(root), "build"]
    subprocess.run(command, check=True, capture_output=True, timeout=300)
    return root / "build" / "preview" / "reports"


@pytest.fixture(scope="module")
def files(reports: Path) -> dict[str, bytes]:
    return contents(reports / NAME / "bundle.zip")


def test_a_bundle_is_a_workspace_of_its_own_with_what_it_is_compared_with(files: dict[str, bytes]) -> None:
    inputs = ["runs/lab.yaml", "runs/rigs/bench/rig.yaml", "runs/rigs/bench/calibration/cell.csv"]
    inputs += [f"runs/{name}/{path}" for name in (NAME, OTHER) for path in ("campaign.yaml", "raw/sweep.csv")]
    made = ["results.json", "figures.csv", "datapackage.json", f"{NAME}.ipynb", "motor.ipynb", "SHA256SUMS"]
    told = ["README.md", "CITATION.cff", "ro-crate-metadata.json", "requirements.lock", own_wheel().name]
    assert {*inputs, *made, *told} <= set(files)
    assert {name.split("/")[0] for name in set(files) - {*inputs, *made, *told}} == {"curves"}


def test_a_bundle_of_a_campaign_alone_holds_no_other(reports: Path) -> None:
    assert not any(NAME in name for name in contents(reports / OTHER / "bundle.zip"))


def test_the_sums_check_with_the_ordinary_tool(reports: Path, tmp_path: Path) -> None:
    with ZipFile(reports / NAME / "bundle.zip") as zipped:
        zipped.extractall(tmp_path)
    done = subprocess.run(["sha256sum", "-c", "--strict", "--quiet", "SHA256SUMS"], cwd=tmp_path, check=False)
    assert done.returncode == 0
    listed = {line.split("  ", 1)[1] for line in (tmp_path / "SHA256SUMS").read_text().splitlines()}
    assert listed == {p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*") if p.is_file()} - {"SHA256SUMS"}


def test_files_in_a_bundle_are_those_beside_the_report(reports: Path, files: dict[str, bytes]) -> None:
    for name in ("results.json", "figures.csv", f"{NAME}.ipynb", "datapackage.json"):
        assert files[name] == (reports / NAME / name).read_bytes()


def test_no_clock_no_user_and_no_order_of_the_disk_comes_into_a_zip(reports: Path) -> None:
    with ZipFile(reports / NAME / "bundle.zip") as zipped:
        assert {entry.date_time for entry in zipped.infolist()} == {(2020, 1, 1, 0, 0, 0)}
        assert {entry.external_attr for entry in zipped.infolist()} == {0o100644 << 16}
        assert {entry.extra for entry in zipped.infolist()} == {b""}
        names = zipped.namelist()
    assert names[1:-1] == sorted(names[1:-1])


def test_no_address_of_an_index_is_in_the_lock_and_every_package_has_a_hash() -> None:
    text = lock_file().decode()
    assert "://" not in text
    blocks = [block for block in text.replace("\\\n", " ").splitlines() if block and not block.startswith("#")]
    assert all("==" in block and "--hash=sha256:" in block for block in blocks)
    assert not any(block.startswith("benchproof") for block in blocks)
    locked = {block.split("==")[0] for block in blocks}
    import tomllib

    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    needed = {line.split(">")[0].lower() for line in project["dependencies"]}
    assert needed <= locked, needed - locked


def test_a_checkout_and_an_installed_copy_give_the_same_wheel(tmp_path: Path) -> None:
    """What pip leaves of a wheel, with what it adds, is packed to the bytes it came from."""
    made = own_wheel()
    site = tmp_path / "site"
    with ZipFile(io.BytesIO(made.data)) as zipped:
        zipped.extractall(site)
    info = next(site.glob("*.dist-info"))
    record = (info / "RECORD").read_text()
    (info / "INSTALLER").write_text("pip\n")
    (info / "REQUESTED").write_text("")
    (info / "direct_url.json").write_text("{}")
    cache = site / "benchproof" / "__pycache__"
    cache.mkdir()
    (cache / "cli.cpython-311.pyc").write_bytes(b"x")
    more = [f"{info.name}/INSTALLER", f"{info.name}/REQUESTED", f"{info.name}/direct_url.json"]
    more += ["benchproof/__pycache__/cli.cpython-311.pyc", "../../bin/benchproof"]
    (info / "RECORD").write_text("".join([f"{name},,\n" for name in more]) + record)
    code = "import sys; from benchproof.report.wheel import own_wheel; sys.stdout.buffer.write(own_wheel().data)"
    env = {"PYTHONPATH": str(site), "PATH": ""}
    again = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, env=env, cwd=tmp_path).stdout
    assert again == made.data


def test_the_wheel_has_everything_and_nothing_of_this_machine() -> None:
    with ZipFile(io.BytesIO(own_wheel().data)) as zipped:
        names = zipped.namelist()
        record = zipped.read(names[-1]).decode()
    assert {"benchproof/cli.py", "benchproof/notebooks/motor.ipynb", "benchproof/templates/report.html.j2"} <= set(
        names
    )
    assert "benchproof/requirements.lock" in names
    assert not any("__pycache__" in name or name.endswith(("INSTALLER", "direct_url.json", ".pth")) for name in names)
    assert [line.split(",")[0] for line in record.splitlines()] == names


def test_packing_the_same_twice_gives_the_same_bytes() -> None:
    buffers = [io.BytesIO(), io.BytesIO()]
    for buffer in buffers:
        with packing(buffer) as zipped:
            zipped.add("a.csv", "1\n" * 1000)
            zipped.add("b.png", b"\x89")
    assert buffers[0].getvalue() == buffers[1].getvalue()


def test_the_citation_names_title_lab_and_campaign(files: dict[str, bytes]) -> None:
    record = yaml.safe_load(files["CITATION.cff"])
    assert record["cff-version"] == "1.2.0"
    assert record["title"] == "A test motor"
    assert record["authors"] == [{"name": "Test Bench"}]
    assert "invented" in record["abstract"]


def test_the_crate_tells_what_made_what(files: dict[str, bytes]) -> None:
    graph = {entity["@id"]: entity for entity in json.loads(files["ro-crate-metadata.json"])["@graph"]}
    parts = {part["@id"] for part in graph["./"]["hasPart"]}
    assert parts == set(files) - {"ro-crate-metadata.json", "SHA256SUMS"}
    assert parts <= set(graph)
    run = graph["#run"]
    assert run["instrument"] == {"@id": "motor.ipynb"}
    assert {"@id": f"runs/{NAME}/raw/sweep.csv"} in run["object"]
    assert {"@id": "results.json"} in run["result"]


def test_tables_say_their_units(reports: Path) -> None:
    report = reports / NAME
    described = json.loads((report / "datapackage.json").read_text())
    for resource in described["resources"]:
        with (report / resource["path"]).open() as stream:
            assert next(csv.reader(stream)) == [field["name"] for field in resource["schema"]["fields"]]
    curve = next(r for r in described["resources"] if "thrust-vs-electrical-power" in r["name"])
    assert [field["unit"] for field in curve["schema"]["fields"]] == ["W", "N", "N", "N"]
    table = pq.read_table((report / curve["path"]).with_suffix(".parquet"))
    assert [table.schema.field(name).metadata[b"unit"] for name in table.column_names] == [b"W", b"N", b"N", b"N"]
    figures = pq.read_table(report / "figures.parquet").to_pylist()
    results = json.loads((report / "results.json").read_text())["quantities"]
    assert [row["value"] for row in figures] == [q["value"] for q in results]
    assert [json.loads(row["at"]) for row in figures] == [q["at"] for q in results]


def test_the_readmes_commands_name_files_that_are_there(files: dict[str, bytes]) -> None:
    text = files["README.md"].decode()
    assert "pip install --require-hashes -r requirements.lock" in text
    assert f"papermill motor.ipynb out.ipynb -f runs/{NAME}/campaign.yaml" in text
    assert f"./{own_wheel().name}" in text
    assert "**Invented data.**" in text
