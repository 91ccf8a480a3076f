"""An archive of 100 to 1000 campaigns: a build with nothing changed, with one changed, and the memory it takes.

Campaigns are copies of one real one under other names with other readings; the notebook it was run to is kept for
each copy with its name and its own key, as if each had been run, so that the archive is there in minutes.

    PYTHONPATH=tests:analysis python -m benchmarks.archive_scale
    PYTHONPATH=tests:analysis python -m benchmarks.archive_scale --sizes 50 100
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np

from benchmarks.archives import benchproof, write_archive

RESULT = Path(__file__).parent / "results" / "archive_scale.json"
SIZES = (100, 250, 500, 1000)


def multiply(root: Path, name: str, count: int) -> None:
    """Make an archive of copies of one built campaign."""
    from benchproof.archive.assembling import checked_files
    from benchproof.archive.manifest import Digests
    from benchproof.archive.staleness import run_key
    from benchproof.archive.steps import Place

    place = Place(str(root), "")
    text = (root / "runs" / name / "campaign.yaml").read_text()
    notebook = json.dumps(place.kept.notebook(name))
    trials = place.kept._whole(name, "trials")
    for number in range(count):
        copy = f"2026-07-copy-{number:04d}"
        shutil.copytree(root / "runs" / name, root / "runs" / copy)
        changed = text.replace(name, copy).replace("Bistort 2207", f"Bistort {number:04d}")
        (root / "runs" / copy / "campaign.yaml").write_text(changed)
        checked = checked_files(place.workspace, copy)
        digests = Digests(root, {})
        key = run_key({file: digests.of(file) for file in checked.files()}, checked.values)
        place.kept.keep(copy, key, json.loads(notebook.replace(name, copy)), trials)


def change(root: Path, name: str, word: str) -> None:
    """Change one campaign's title."""
    path = root / "runs" / name / "campaign.yaml"
    path.write_text(path.read_text().replace("title: ", f"title: {word} ", 1))


def at_size(size: int) -> dict[str, float]:
    """Measure an archive of that size."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (name,) = write_archive(root, 1, "full")
        benchproof(root, "build")
        change(root, name, "Changed")
        own_run = benchproof(root, "build").seconds
        multiply(root, name, size - 1)
        assembling = benchproof(root, "build")
        benchproof(root, "build")  # files lie still by now, and the manifest says so
        nothing = [benchproof(root, "build") for _ in range(3)]
        assert f"{size} unchanged" in nothing[-1].said
        change(root, name, "Again")
        one = benchproof(root, "build")
        assert f"1 built, {size - 1} unchanged" in one.said
    return {
        "campaigns": size,
        "seconds_assembling_all": round(assembling.seconds, 2),
        "seconds_nothing_changed": round(min(ran.seconds for ran in nothing), 2),
        "seconds_its_own_run": round(own_run, 2),
        "seconds_one_changed": round(one.seconds, 2),
        "seconds_more_than_its_own_run": round(one.seconds - own_run, 2),
        "peak_memory_mb": round(max(ran.memory for ran in (assembling, *nothing, one))),
    }


def main() -> None:
    """Run the benchmark and write its result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    chosen = parser.parse_args()
    rows = [at_size(size) for size in chosen.sizes]
    record: dict[str, object] = {"load_before": round(os.getloadavg()[2], 2), "archives": rows}
    if len(rows) > 1:
        sizes = [row["campaigns"] for row in rows]
        record["milliseconds_a_campaign"] = {
            name: round(1e3 * float(np.polyfit(sizes, [row[f"seconds_{name}"] for row in rows], 1)[0]), 3)
            for name in ("nothing_changed", "one_changed", "assembling_all")
        }
    sys.stdout.write(json.dumps(record, indent=1) + "\n")
    RESULT.write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
