"""The demo built by a cluster of two worker processes, one of them killed the second time: the bytes of a build here.

PYTHONPATH=tests:analysis python -m benchmarks.cluster_build
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.archives import SCRIPTS, benchproof
from clusters import cluster
from trees import damage, tree_of

RESULT = Path(__file__).parent / "results" / "cluster_build.json"
DEMO = Path(__file__).parents[2] / "runs"


def hurt(root: Path, address: str, worker: int) -> tuple[float, list[str]]:
    """Build on a cluster and kill one of its workers while notebooks run; return the seconds and what campaigns came to."""
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(root), "build", "--json", "--scheduler", address]
    begun = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        while process.poll() is None and not list((root / "build").glob("scratch/scratch-*")):
            time.sleep(0.05)
        os.kill(worker, signal.SIGKILL)
        said, _ = process.communicate()
    return time.perf_counter() - begun, [each["state"] for each in json.loads(said)["campaigns"]]


def main() -> None:
    """Run the benchmark and write its result."""
    with tempfile.TemporaryDirectory() as folder:
        roots = {name: Path(folder) / name for name in ("here", "cluster", "worker_killed")}
        for root in roots.values():
            shutil.copytree(DEMO, root / "runs")
        seconds = {"here": benchproof(roots["here"], "build", "--workers", "2").seconds}
        with cluster(Path(folder), 2) as (address, pids):
            seconds["cluster"] = benchproof(roots["cluster"], "build", "--scheduler", address).seconds
            seconds["worker_killed"], states = hurt(roots["worker_killed"], address, pids[0])
        trees = {name: tree_of(root / "build" / "preview") for name, root in roots.items()}
        record = {
            "campaigns": len(states),
            "built_though_a_worker_was_killed": states.count("built"),
            "files": len(trees["here"]),
            "damage": {name: damage(root / "build" / "preview") for name, root in roots.items()},
            "same_bytes": {name: tree == trees["here"] for name, tree in trees.items() if name != "here"},
            "seconds": {name: round(each, 1) for name, each in seconds.items()},
        }
    sys.stdout.write(json.dumps(record, indent=1) + "\n")
    RESULT.write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
