"""Builds killed at random moments: pages stay whole and of one build, and the next build gives an undisturbed one's bytes.

Between two kills the inputs change back and forth, so that there is always something to run, assemble and exchange.
Every moment from the start of the process to a little after the end of an undisturbed build is as likely. Where the
command to publish is there, it is killed in turn with the build, and records are read after each kill.

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
from trees import damage, tree_of
from workspaces import sweep_log, write_workspace

RESULT = Path(__file__).parent / "results" / "kill_moments.json"
NAMES = ("2026-03-a", "2026-03-b", "2026-03-c")
SEED = 20260301


def edit(root: Path, state: int) -> None:
    """Give every campaign one of two titles."""
    for name in NAMES:
        path = root / "runs" / name / "campaign.yaml"
        other, this = ("A test motor", "Another motor")[state - 1], ("A test motor", "Another motor")[state]
        path.write_text(path.read_text().replace(other, this))


def has_publish() -> bool:
    """Say whether this version can publish."""
    from benchproof.cli import app

    return any(command.callback.__name__ == "publish" for command in app.registered_commands if command.callback)


def killed(root: Path, words: tuple[str, ...], seconds: float) -> tuple[bool, bool]:
    """Kill a command after so many seconds; say whether it was still at work, and whether any of its kernels lives on."""
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(root), *words]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        end = time.monotonic() + seconds
        while process.poll() is None and time.monotonic() < end:
            time.sleep(0.01)
        working = process.poll() is None
        family = psutil.Process(process.pid).children(recursive=True) if working else []
        process.kill()
    _, alive = psutil.wait_procs(family, timeout=10)
    return working, bool(alive)


def whole(root: Path, trees: list[dict[str, bytes]]) -> list[str]:
    """Return what is wrong with pages and records."""
    wrong = damage(root / "build" / "preview")
    if tree_of(root / "build" / "preview") not in trees:
        wrong.append("the preview is of no one build")
    site = root / "build" / "site"
    if site.exists():
        wrong += damage(site)
    for record in root.glob("runs/*/record.jsonl"):
        try:
            [json.loads(line) for line in record.read_text().splitlines()]
        except ValueError as error:
            wrong.append(f"{record}: {error}")
    return wrong


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
    publish = has_publish()
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        root = write_workspace(Path(folder) / "w", *NAMES, log=sweep_log(levels=8))
        trees, seconds = undisturbed(root, Path(folder))
        benchproof(root, "build")
        for moment in range(chosen.moments):
            edit(root, (moment + 1) % 2)
            words = ("publish", "-m", "Titles changed") if publish and moment % 2 else ("build",)
            working, alive = killed(root, words, float(rng.uniform(0, 1.1 * seconds)))
            wrong = whole(root, trees)
            counts["killed at work"] += working
            counts["kernels left"] += alive
            counts["damaged"] += bool(wrong)
            for line in wrong:
                sys.stderr.write(f"moment {moment}: {line}\n")
        edit(root, 1)
        benchproof(root, "build")
        healed = tree_of(root / "build" / "preview") == trees[1]
        left = sorted(
            path.name for path in (root / "build").iterdir() if path.name not in {"kept", "preview", "site", ".lock"}
        )
    record = {
        "moments": chosen.moments,
        "published_too": publish,
        "seconds_undisturbed": round(seconds, 2),
        **{name.replace(" ", "_"): counts[name] for name in ("killed at work", "damaged", "kernels left")},
        "healed_to_the_same_bytes": healed,
        "left_behind": left,
    }
    sys.stdout.write(json.dumps(record, indent=1) + "\n")
    RESULT.write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
