"""Builds and publications killed at random moments: pages stay whole and of one build, and the next one heals.

Between two kills the inputs change back and forth, so that there is always something to run, assemble and exchange.
Every moment from the start of the process to a little after the end of an undisturbed one is as likely. The build that
follows gives the bytes of an undisturbed one. Publications are killed half as often; after each, every record is read, and
the site that comes in the end is the one that its records give on a machine that has nothing else.

    PYTHONPATH=tests:analysis python -m benchmarks.kill_moments --moments 50
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np
import psutil

from benchmarks.archives import SCRIPTS, benchproof
from benchproof.archive.record import read_record
from benchproof.campaign.workspace import Workspace
from trees import damage, tree_of
from workspaces import sweep_log, write_workspace

RESULT = Path(__file__).parent / "results" / "kill_moments.json"
NAMES = ("2026-03-a", "2026-03-b", "2026-03-c")
SEED = 20260301
SAID = "said.txt"


def edit(root: Path, state: int) -> None:
    """Give every campaign one of two titles."""
    for name in NAMES:
        path = root / "runs" / name / "campaign.yaml"
        other, this = ("A test motor", "Another motor")[state - 1], ("A test motor", "Another motor")[state]
        path.write_text(path.read_text().replace(other, this))


def killed(root: Path, words: tuple[str, ...], seconds: float) -> tuple[bool, bool]:
    """Kill a command after so many seconds; say whether it was still at work, and whether any of its kernels lives on.

    What it said lies beside the workspace, for whoever looks into a damage.
    """
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(root), *words]
    said = (root.parent / SAID).open("w")
    with said, subprocess.Popen(command, stdout=said, stderr=subprocess.STDOUT) as process:
        end = time.monotonic() + seconds
        while process.poll() is None and time.monotonic() < end:
            time.sleep(0.01)
        working = process.poll() is None
        family = psutil.Process(process.pid).children(recursive=True) if working else []
        process.kill()
    _, alive = psutil.wait_procs(family, timeout=10)
    return working, bool(alive)


def whole(root: Path, trees: list[dict[str, bytes]]) -> list[str]:
    """Return what is wrong with a preview."""
    wrong = damage(root / "build" / "preview")
    if tree_of(root / "build" / "preview") not in trees:
        wrong.append("the preview is of no one build")
    return wrong


def published_whole(root: Path) -> list[str]:
    """Return what is wrong with site and records."""
    wrong = damage(root / "build" / "site") if (root / "build" / "site").exists() else []
    faults = [read_record(Workspace(root), name).fault for name in NAMES]
    return [*wrong, *(str(fault) for fault in faults if fault is not None)]


def killed_publications(root: Path, moments: int, rng: np.random.Generator) -> Counter[str]:
    """Kill publications; count what was damaged, and whether the records give the same site again."""
    counts: Counter[str] = Counter()
    words = ("publish", "-m", "Titles changed")
    seconds = benchproof(root, *words).seconds
    for moment in range(moments):
        edit(root, (moment + 1) % 2)
        benchproof(root, "build")
        working, _ = killed(root, words, float(rng.uniform(0, 1.1 * seconds)))
        wrong = published_whole(root)
        counts["publications killed at work"] += working
        counts["publications damaged"] += bool(wrong)
        for line in wrong:
            sys.stderr.write(f"publication {moment}: {line}\n")
    benchproof(root, *words)
    site = tree_of(root / "build" / "site")
    shutil.rmtree(root / "build" / "site")
    benchproof(root, *words)
    counts["site from the records differs"] = int(tree_of(root / "build" / "site") != site)
    counts["revisions"] = sum(len(read_record(Workspace(root), name).revisions) for name in NAMES)
    return counts


def undisturbed(root: Path, folder: Path) -> tuple[list[dict[str, bytes]], float]:
    """Return the previews of both states, and how long a build takes."""
    copy = folder / "undisturbed"
    shutil.copytree(root, copy)
    trees, seconds = [], 0.0
    for state in (0, 1):
        edit(copy, state)
        seconds = benchproof(copy, "build").seconds
        trees.append(tree_of(copy / "build" / "preview"))
    return trees, seconds


def main() -> None:
    """Run the benchmark and write its result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=50)
    chosen = parser.parse_args()
    rng = np.random.default_rng(SEED)
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        root = write_workspace(Path(folder) / "w", *NAMES, log=sweep_log(levels=8))
        trees, seconds = undisturbed(root, Path(folder))
        benchproof(root, "build")
        for moment in range(chosen.moments):
            edit(root, (moment + 1) % 2)
            working, alive = killed(root, ("build",), float(rng.uniform(0, 1.1 * seconds)))
            wrong = whole(root, trees)
            counts["killed at work"] += working
            counts["kernels left"] += alive
            counts["damaged"] += bool(wrong)
            for line in wrong:
                sys.stderr.write(f"moment {moment}: {line}\n{(root.parent / SAID).read_text()}")
        edit(root, 1)
        benchproof(root, "build")
        healed = tree_of(root / "build" / "preview") == trees[1]
        publications = killed_publications(root, chosen.moments // 2, rng)
        left = sorted(
            path.name for path in (root / "build").iterdir() if path.name not in {"kept", "preview", "site", ".lock"}
        )
    record = {
        "moments": chosen.moments,
        "seconds_undisturbed": round(seconds, 2),
        **{name.replace(" ", "_"): counts[name] for name in ("killed at work", "damaged", "kernels left")},
        "healed_to_the_same_bytes": healed,
        "left_behind": left,
        "publications": dict(sorted(publications.items())),
    }
    sys.stdout.write(json.dumps(record, indent=1) + "\n")
    RESULT.write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
