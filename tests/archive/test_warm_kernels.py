"""Kernels forked from a warm process give what plain ones give, and leave nothing behind."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator
from importlib.metadata import EntryPoint
from pathlib import Path

import nbformat
import psutil
import pytest

from benchproof.archive import ahead, forks, forkserver, running, warm
from benchproof.archive.build import Build, Manner
from benchproof.archive.engine import as_written
from benchproof.archive.manifest import Manifest, write_manifest
from benchproof.archive.running import Run, execute
from benchproof.archive.staleness import software
from benchproof.campaign.workspace import Workspace
from benchproof.errors import NotebookFailed
from trees import tree_of
from workspaces import write_workspace

ROOT = Path(__file__).parents[2]
SCRIPTS = Path(sys.executable).parent


def sockets() -> set[str]:
    return {path.name for path in Path(tempfile.gettempdir()).glob("benchproof-sockets-*")}


def offspring(process: psutil.Process | None = None) -> list[psutil.Process]:
    return (process or psutil.Process()).children(recursive=True)


def gone_within(seconds: float, *conditions) -> bool:
    end = time.monotonic() + seconds
    while not all(condition() for condition in conditions):
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


@pytest.fixture(autouse=True)
def own_temporary_folder(monkeypatch, tmp_path: Path) -> Iterator[None]:  # pytest makes its own folder first
    """Keep sockets of builds that are nobody's business here out of sight; the path must be short for a socket."""
    with tempfile.TemporaryDirectory(prefix="b-") as folder:
        monkeypatch.setattr(tempfile, "tempdir", folder)
        monkeypatch.setenv("TMPDIR", folder)
        yield


@pytest.fixture
def scratch(tmp_path: Path):
    (tmp_path / "run" / "workspace").mkdir(parents=True)
    yield tmp_path / "run" / "workspace"
    forks.stop_warm_process()


def run_cells(monkeypatch, scratch: Path, *sources: str, kernels: str = "warm", limit: float = 60.0) -> list:
    """Run a notebook of these cells as a campaign's would be; return the text each printed or showed."""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source) for source in sources])
    notebook.metadata["kernelspec"] = {"name": "python3", "language": "python", "display_name": "Python 3"}
    installed = scratch.parent / "cells.ipynb"
    nbformat.write(notebook, installed)
    monkeypatch.setattr(running, "_HAND_OUT", 'import pathlib; pathlib.Path("../trials").write_text("{}")')
    shown: list = []
    monkeypatch.setattr(running, "cleaned", lambda nb, _parameters: shown.extend(nb["cells"]) or nb)
    execute(Run("c", "motor", {}, frozenset(), kernels, limit, installed), scratch, scratch.parents[1] / "failed")
    return ["".join("".join(out.get("text", "")) for out in cell["outputs"]) for cell in shown]


def test_plain_and_forked_kernels_give_the_same_reports(tmp_path: Path) -> None:
    roots = {}
    for kernels in ("warm", "plain"):
        roots[kernels] = write_workspace(tmp_path / kernels / "w")
        Build(Workspace(roots[kernels]), ("2026-03-a",), Manner(kernels=kernels)).run(print, print)
    trees = {kernels: root / "build" / "preview" for kernels, root in roots.items()}
    files = {k: {p.relative_to(t): p.read_bytes() for p in t.rglob("*") if p.is_file()} for k, t in trees.items()}
    assert files["warm"] == files["plain"]
    kept = [(root / "build/kept/2026-03-a.trials").read_bytes() for root in roots.values()]
    assert kept[0] == kept[1]
    assert offspring() == []
    assert sockets() == set()
    assert not (roots["warm"] / "build" / "scratch").exists()


def test_a_notebook_handed_over_is_the_one_its_file_would_hold() -> None:
    output = nbformat.v4.new_output(
        "display_data", {"text/plain": "one\ntwo\n", "application/x+json": {"b": 1, "a": []}}
    )
    cell = nbformat.v4.new_code_cell("a = 1\na", outputs=[output], metadata={"trusted": True})
    notebook = nbformat.v4.new_notebook(cells=[cell, nbformat.v4.new_markdown_cell("# µ\n\nwords")])
    written = json.loads(nbformat.writes(notebook))
    assert as_written(notebook) == written
    assert json.dumps(as_written(notebook)) == json.dumps(written)


def test_each_forked_kernel_has_a_state_of_its_own(monkeypatch, scratch: Path) -> None:
    facts = "import os, sys; print(os.getcwd(), os.getpgrp() == os.getpid(), os.environ['WHO'], 'scipy' in sys.modules)"
    state = "import random, numpy; print(random.random(), numpy.random.rand(), numpy.random.default_rng().random())"
    leak = "import numpy; numpy.left_behind = 1"
    seen = "import numpy; print(hasattr(numpy, 'left_behind'))"
    monkeypatch.setenv("WHO", "first")
    first = run_cells(monkeypatch, scratch, facts, state, leak)
    monkeypatch.setenv("WHO", "second")
    second = run_cells(monkeypatch, scratch, facts, state, seen)
    assert first[0].split() == [str(scratch), "True", "first", "True"]
    assert second[0].split() == [str(scratch), "True", "second", "True"]
    assert second[2].strip() == "False"
    assert not set(first[1].split()) & set(second[1].split())
    assert forks.why_not_warm() == ""


def test_a_notebook_over_its_time_is_stopped_with_all_it_started(monkeypatch, scratch: Path) -> None:
    endless = "import subprocess, time; subprocess.Popen(['sleep', '98765']); time.sleep(60)"
    for kernels in ("warm", "plain"):
        with pytest.raises(NotebookFailed, match="longer than the limit of 1 s; --time-limit"):
            run_cells(monkeypatch, scratch, endless, kernels=kernels, limit=1.0)
        forks.stop_warm_process()
        assert gone_within(5, lambda: not [p for p in offspring() if p.status() != psutil.STATUS_ZOMBIE])
        assert not [p for p in psutil.process_iter(["cmdline"]) if "98765" in (p.info["cmdline"] or ())]
    assert sockets() == set()


def test_a_kernel_that_dies_is_a_failed_notebook(monkeypatch, scratch: Path) -> None:
    with pytest.raises(NotebookFailed, match="DeadKernelError"):
        run_cells(monkeypatch, scratch, "import os; os._exit(1)")
    assert run_cells(monkeypatch, scratch, "print(1)")[0].strip() == "1"


def test_where_the_warm_process_dies_another_takes_its_place(monkeypatch, scratch: Path) -> None:
    run_cells(monkeypatch, scratch, "print(1)")
    server = forks._SHARED.server
    server.process.kill()
    server.process.wait()
    assert run_cells(monkeypatch, scratch, "print(2)")[0].strip() == "2"
    assert forks._SHARED.server is not server


def test_where_nothing_can_be_forked_kernels_are_started_with_a_note(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setattr(forks.sys, "platform", "darwin")
    root = write_workspace(tmp_path)
    notes: list[str] = []
    (outcome,) = Build(Workspace(root), ("2026-03-a",), Manner()).run(print, notes.append)
    assert outcome.state == "built", outcome.problems
    assert notes == ["kernels are started one by one: this system cannot fork kernels safely"]


def test_a_warm_process_with_threads_is_not_forked(monkeypatch) -> None:
    monkeypatch.setattr(forks, "receive", lambda _channel: ({"threads": 3}, []))
    with pytest.raises(forks.CannotForkError, match="3 threads"):
        forks.ForkServer().await_ready()
    assert gone_within(5, lambda: offspring() == [])


def test_the_warm_process_ends_by_itself_when_idle(monkeypatch) -> None:
    ours, theirs = forkserver.socket.socketpair()
    monkeypatch.setattr(forkserver, "IDLE_LIMIT", 0.05)
    with ours, theirs:
        assert forkserver.serve(theirs) is None


def test_the_provisioner_is_registered_under_the_name_that_kernels_ask_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    (value,) = project["entry-points"]["jupyter_client.kernel_provisioners"].values()
    assert list(project["entry-points"]["jupyter_client.kernel_provisioners"]) == [warm.NAME]
    assert EntryPoint(warm.NAME, value, "jupyter_client.kernel_provisioners").load() is warm.WarmProvisioner


def test_other_kernels_are_started_as_usual() -> None:
    assert warm._kernel_arguments([sys.executable, "-m", "ipykernel_launcher", "-f", "x"]) == ["-f", "x"]
    assert warm._kernel_arguments(["/usr/bin/other", "-m", "ipykernel_launcher", "-f", "x"]) is None
    assert warm._kernel_arguments([sys.executable, "-m", "another_kernel", "x"]) is None


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_no_kernel_socket_or_folder_outlives_a_build_that_is_ended(tmp_path: Path, how: int) -> None:
    root = write_workspace(tmp_path / "w", "2026-03-a", "2026-03-b")
    before = sockets()
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(root), "build", "--workers", "2"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as build:
        process = psutil.Process(build.pid)
        assert gone_within(60, lambda: len(offspring(process)) >= 2 and bool(list((root / "build/scratch").glob("*"))))
        family = offspring(process)
        build.send_signal(how)
        _, said = build.communicate(timeout=30)
    assert "Traceback" not in said
    if how == signal.SIGINT:
        assert build.returncode == 130
        assert "what was in place before is still there" in said
    assert gone_within(10, lambda: not [p for p in family if p.is_running() and p.status() != psutil.STATUS_ZOMBIE])
    assert gone_within(5, lambda: sockets() <= before, lambda: not list((root / "build").glob("scratch/*")))


def test_workers_that_are_killed_lose_nothing(tmp_path: Path) -> None:
    """What they were at is done again by others, to the same bytes."""
    roots = [write_workspace(tmp_path / how / "w", "2026-03-a", "2026-03-b") for how in ("calm", "killed")]
    calm, killed = (
        [str(SCRIPTS / "benchproof"), "--workspace", str(root), "build", "--workers", "2"] for root in roots
    )
    subprocess.run(calm, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    with subprocess.Popen(killed, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as build:
        process = psutil.Process(build.pid)
        assert gone_within(60, lambda: len(offspring(process)) >= 4)  # the warm process, two workers, a kernel
        (server,) = process.children()
        for child in server.children():
            with contextlib.suppress(psutil.NoSuchProcess):  # a kernel may have ended by itself
                child.kill()
        said, _ = build.communicate(timeout=120)
    assert build.returncode == 0, said
    trees = [tree_of(root / "build" / "preview") for root in roots]
    assert trees[0] == trees[1]
    assert not list((roots[1] / "build").glob("scratch/*"))


def test_nothing_is_started_ahead_where_nothing_looks_stale(tmp_path: Path, monkeypatch) -> None:
    begun: list[str] = []
    monkeypatch.setattr(ahead, "begin_warm_process", begun.append)
    root = write_workspace(tmp_path, "2026-03-a")
    ahead.warm_ahead(root)
    assert begun == [str(root)]
    write_manifest(root / "build/kept/manifest.json", Manifest(software()))
    ahead.warm_ahead(root)
    assert begun == [str(root)]
    later = time.time() + 10
    os.utime(root / "runs/2026-03-a/campaign.yaml", (later, later))
    ahead.warm_ahead(root)
    assert len(begun) == 2
    write_manifest(root / "build/kept/manifest.json", Manifest("of another day"))
    os.utime(root / "build/kept/manifest.json", (later + 10, later + 10))
    ahead.warm_ahead(root)
    assert len(begun) == 3


def test_an_interrupted_manager_lets_no_kernel_start(monkeypatch, scratch: Path) -> None:
    from benchproof.archive.running_kernels import end_kernels, open_kernels

    end_kernels()
    try:
        with pytest.raises(NotebookFailed, match="interrupted"):
            run_cells(monkeypatch, scratch, "print(1)")
    finally:
        open_kernels()
