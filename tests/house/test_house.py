"""The house stays as its plan says."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from benchproof.methods import registry
from benchproof.nomenclature import OPERATING_POINTS, QUANTITIES

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "analysis" / "benchproof"
ROOMS = ("trials", "campaign", "rig", "methods", "findings", "notebooks", "report", "archive")
ANYWHERE = {"errors", "nomenclature"}


def imported(path: Path) -> set[str]:
    """Rooms of ours that a module imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and node.module:
            names.append(node.module)
        found |= {n.split(".")[1] for n in names if n.startswith("benchproof.")}
    return found - ANYWHERE


@pytest.mark.parametrize("room", ROOMS)
def test_nothing_to_the_left_knows_what_is_to_the_right(room: str) -> None:
    right = set(ROOMS[ROOMS.index(room) + 1 :]) | {"cli"}
    if room == "campaign":
        right |= {"trials"}
    for path in (PACKAGE / room).rglob("*.py"):
        assert not imported(path) & right, path


def test_the_ground_floor_stands_on_numpy_and_scipy_alone() -> None:
    allowed = {"numpy", "scipy", "threadpoolctl", "benchproof", *sys.stdlib_module_names}
    for path in (PACKAGE / "trials").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert {n.split(".")[0] for n in names} <= allowed, path


def test_methods_open_no_file_and_look_at_no_clock() -> None:
    forbidden = {"pathlib", "time", "datetime.datetime", "random", "os", "yaml", "jinja2"}
    for room in ("methods", "findings", "trials", "rig"):
        for path in (PACKAGE / room).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
                names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
                assert not forbidden & set(names), path
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                    assert node.func.id != "open", path


@pytest.mark.parametrize("key", registry())
def test_every_method_has_what_its_neighbours_have(key: str) -> None:
    method = registry()[key].METHOD
    assert method.key == key
    assert method.sources
    assert method.history[0].version == method.version
    assert (ROOT / "tests" / "methods" / f"test_{key}.py").is_file()
    assert (ROOT / "templates" / "methods" / f"{key}.html.j2").is_file()
    sections = {c["metadata"].get("benchproof", {}).get("section") for c in notebook()["cells"]}
    assert key in sections
    used = [path for path in (ROOT / "runs").glob("*/campaign.yaml") if f"test: {key}" in path.read_text()]
    assert used, f"no demo campaign uses {key}"


def notebook() -> dict:
    return json.loads((PACKAGE / "notebooks" / "motor.ipynb").read_text(encoding="utf-8"))


def test_notebook_cells_call_and_do_not_compute() -> None:
    for cell in notebook()["cells"]:
        if cell["cell_type"] == "code":
            source = "".join(cell["source"])
            assert not cell["outputs"]
            assert len(source.splitlines()) <= 15
            kinds = {type(node) for node in ast.walk(ast.parse(source))}
            assert not kinds & {ast.FunctionDef, ast.Lambda, ast.BinOp, ast.For}


def test_the_parameters_cell_has_the_campaign_files_keys() -> None:
    from benchproof.campaign.models.campaign import Campaign
    from benchproof.notebooks.session import PARAMETERS

    cell = next(c for c in notebook()["cells"] if "parameters" in c["metadata"].get("tags", ()))
    names = [line.split(" = ")[0] for line in "".join(cell["source"]).splitlines()]
    assert names == list(PARAMETERS) == list(Campaign.model_fields)


def test_every_quantity_stands_in_the_nomenclature_once() -> None:
    from benchproof.methods.sanity import bands
    from benchproof.methods.sweep.propeller import FIGURES, READ_AT

    assert set(FIGURES) <= set(QUANTITIES)
    assert set(bands()) <= set(QUANTITIES)
    assert set(READ_AT) <= set(OPERATING_POINTS)
    assert len({term.symbol for term in QUANTITIES.values()}) == len(QUANTITIES)


def test_paths_and_names_in_the_guides_exist() -> None:
    for guide in ("DEVELOPERS.md", "README.md"):
        text = (ROOT / guide).read_text(encoding="utf-8")
        for name in re.findall(r"`([\w./-]+(?:\.py|\.md|\.json|\.ipynb|\.j2|/))`", text):
            if "<" in name or name.startswith(("build/", "raw/", "~", "runs/2026-06")):
                continue
            places = (ROOT / name, PACKAGE / name)
            assert any(place.exists() for place in places), f"{guide} names {name}"


def test_every_dependency_has_its_reason_in_the_guide() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").lower()
    for requirement in project["dependencies"]:
        name = re.split(r"[<>=]", requirement)[0].lower()
        assert name in guide, name


def test_every_command_is_in_the_readme_and_shows_an_example() -> None:
    from benchproof.cli import app

    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for command in app.registered_commands:
        name = command.callback.__name__
        assert f"benchproof {name}" in readme
        assert "Example: " in (command.epilog or "")


def test_help_comes_at_once() -> None:
    code = (
        "import sys, benchproof.cli;"
        "heavy = {'numpy', 'scipy', 'papermill', 'pydantic', 'pint', 'pyarrow'} & set(sys.modules);"
        "print(sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_demo_lab_is_what_its_simulator_writes() -> None:
    from simulator.demo import files

    for name, content in files().items():
        assert (ROOT / "runs" / name).read_bytes() == content, name


def test_pages_load_nothing_from_elsewhere() -> None:
    for path in (ROOT / "templates").rglob("*.j2"):
        assert not re.search(r"(?:src|href)=[\"']https?:", path.read_text(encoding="utf-8")), path
