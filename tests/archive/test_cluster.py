"""A cluster's workers build what this machine's do, also when one of them is lost in the middle."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

from benchproof.archive import steps
from clusters import cluster
from trees import tree_of
from workspaces import sweep_log, write_workspace

pytest.importorskip("distributed")

SCRIPTS = Path(sys.executable).parent
NAMES = ("2026-03-a", "2026-03-b", "2026-03-c", "2026-03-d")


def command(root: Path, *words: str) -> list[str]:
    return [str(SCRIPTS / "benchproof"), "--workspace", str(root), "build", "--json", *words]


@pytest.mark.slow
def test_a_cluster_builds_the_same_bytes_also_when_a_worker_is_killed(tmp_path: Path) -> None:
    roots = [write_workspace(tmp_path / "here" / "w", *NAMES, log=sweep_log(levels=8))]
    for name in ("whole", "hurt"):
        roots.append(tmp_path / name)
        shutil.copytree(roots[0], roots[-1])
    subprocess.run(command(roots[0]), check=True, capture_output=True)
    with cluster(tmp_path, 2) as (address, pids):
        subprocess.run(command(roots[1], "--scheduler", address), check=True, capture_output=True)
        with subprocess.Popen(
            command(roots[2], "--scheduler", address), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        ) as build:
            while build.poll() is None and not list((roots[2] / "build").glob("scratch/scratch-*")):
                time.sleep(0.05)
            family = psutil.Process(pids[0]).children(recursive=True)
            os.kill(pids[0], signal.SIGKILL)
            said, _ = build.communicate(timeout=200)
        assert [each["state"] for each in json.loads(said)["campaigns"]] == ["built"] * len(NAMES)
        deadline = time.monotonic() + 10
        while [p for p in family if p.is_running() and p.status() != psutil.STATUS_ZOMBIE]:
            assert time.monotonic() < deadline, "the lost worker's kernels live on"
            time.sleep(0.1)
    trees = [tree_of(root / "build" / "preview") for root in roots]
    assert trees[0] == trees[1] == trees[2]
    assert not [path for root in roots for path in (root / "build").glob("scratch/*")]


def test_a_scheduler_that_is_not_there_makes_the_request_unusable(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=sweep_log(levels=8))
    done = subprocess.run(
        command(root, "--scheduler", "tcp://127.0.0.1:9"), check=False, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 2
    assert "no Dask scheduler answers at tcp://127.0.0.1:9" in done.stdout
    assert "Traceback" not in done.stderr


def test_a_worker_with_other_software_or_without_the_workspace_refuses(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=sweep_log(levels=8))
    first = steps.run_step(steps.Place(str(root), "of another machine"), "2026-03-a")
    assert first.state == "failed"
    assert "has other software than this machine" in first.problems[0]
    first = steps.run_step(steps.Place(str(tmp_path / "elsewhere"), ""), "2026-03-a")
    assert "workers need the workspace at that path" in first.problems[0]


def test_steps_and_what_they_return_travel_between_processes(tmp_path: Path) -> None:
    import pickle

    root = write_workspace(tmp_path, log="t_ms\n1\n")
    first = steps.run_step(steps.Place(str(root), "x"), "2026-03-a")
    assert pickle.loads(pickle.dumps(first)) == first  # noqa: S301 - our own
    assert pickle.loads(pickle.dumps(steps.assemble_step)) is steps.assemble_step  # noqa: S301 - our own
