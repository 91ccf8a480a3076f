"""Building an archive: against the plain loop of papermill's and nbconvert's commands, and against the library alone.

The plain loop runs the same installed notebook on the same campaign files, as many at once, and turns each executed
notebook into a page. The library alone is one process that runs the notebook's cells and assembles the report,
without kernels, messages or a scratch workspace. Seconds count only on a machine with nothing else to do.

    PYTHONPATH=tests:analysis python -m benchmarks.archive_build full --campaigns 100
    PYTHONPATH=tests:analysis python -m benchmarks.archive_build small --campaigns 100
"""

from __future__ import annotations

import argparse
import ast
import itertools
import json
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from benchmarks.archives import SCRIPTS, benchproof, write_archive

RESULTS = Path(__file__).parent / "results"


def processor_seconds() -> float:
    """Return the processor time of everything that was started and has ended: what a busy machine cannot blur."""
    spent = os.times()
    return spent.children_user + spent.children_system


def plain_loop(root: Path, names: tuple[str, ...], workers: int) -> float:
    """Return the seconds of papermill and nbconvert, a pair of commands a campaign, some campaigns at once."""
    from benchproof.archive.notebook_files import notebook_path

    notebook = str(notebook_path("motor"))

    def one(name: str) -> None:
        folder = root / "runs" / name
        out = root / "plain" / f"{name}.ipynb"
        for command in (
            [str(SCRIPTS / "papermill"), notebook, str(out), "-f", str(folder / "campaign.yaml"), "--no-progress-bar"],
            [str(SCRIPTS / "jupyter-nbconvert"), "--to", "html", "--log-level", "ERROR", str(out)],
        ):
            subprocess.run(command, cwd=folder, check=True, capture_output=True)

    (root / "plain").mkdir()
    begun = time.perf_counter()
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(one, names))
    return time.perf_counter() - begun


def library_alone(root: Path, names: tuple[str, ...]) -> float:
    """Return the seconds that the notebooks' cells and the reports take in one process that has imported all."""
    command = [sys.executable, "-m", "benchmarks.archive_build", "library", "--root", str(root), "--names", *names]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(done.stdout.split()[-1])  # cells may print


def library_here(root: Path, names: list[str]) -> float:
    """Do it in this process."""
    from benchproof.archive.assembling import checked_files, previewed
    from benchproof.archive.forkserver import prepare
    from benchproof.archive.steps import Place
    from benchproof.findings.archive import Glance

    prepare()
    place = Place(str(root), "")
    total = 0.0
    for name in names:
        os.chdir(root / "runs" / name)
        begun = time.perf_counter()
        executed(checked_files(place.workspace, name))
        previewed(place.workspace, place.kept, name, Glance(), root / "library" / name)
        total += time.perf_counter() - begun
    return total


def executed(checked: Any) -> dict[str, Any]:
    """Run the cells of the installed notebook here, and return the notebook with what they showed."""
    import nbformat

    from benchproof.archive.running import Run, prepared
    from benchproof.methods import registry
    from benchproof.notebooks import session

    present = frozenset(test.test for test in checked.campaign.tests if test.exclude is None)
    run = Run(checked.campaign.campaign, checked.campaign.kind, checked.values, present & set(registry()))
    notebook = json.loads(nbformat.writes(prepared(run)))
    namespace: dict[str, Any] = {}
    for cell in notebook["cells"]:
        if cell["cell_type"] != "code":
            continue
        shown: list[Any] = []
        session.display = shown.append
        body = ast.parse("".join(cell["source"])).body
        last = body.pop() if body and isinstance(body[-1], ast.Expr) else None
        exec(compile(ast.Module(body, []), "cell", "exec"), namespace)  # noqa: S102 - our own notebook
        if last is not None:
            shown.append(eval(compile(ast.Expression(last.value), "cell", "eval"), namespace))  # noqa: S307
        if "parameters" in cell["metadata"].get("tags", ()):
            namespace |= checked.values
        bundles = [each._repr_mimebundle_() for each in shown if each is not None]
        cell["outputs"] = [{"output_type": "display_data", "metadata": {}, "data": bundle} for bundle in bundles]
    namespace["bench"].trials()
    return json.loads(json.dumps(notebook))


def main() -> None:
    """Run the benchmark and write its result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=("full", "small", "library"))
    parser.add_argument("--campaigns", type=int, default=100)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--root", type=Path)
    parser.add_argument("--names", nargs="*")
    chosen = parser.parse_args()
    if chosen.kind == "library":
        sys.stdout.write(f"{library_here(chosen.root, chosen.names)}\n")
        return
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "archive"
        names = write_archive(root, chosen.campaigns, chosen.kind)
        marks = [processor_seconds()]
        build = benchproof(root, "build", "--workers", str(chosen.workers))
        marks.append(processor_seconds())
        plain = plain_loop(root, names, chosen.workers)
        marks.append(processor_seconds())
        library = library_alone(root, names)
        marks.append(processor_seconds())
    spent = [after - before for before, after in itertools.pairwise(marks)]
    count, workers = len(names), chosen.workers
    record = {
        "campaigns": count,
        "workers": workers,
        "processors": os.cpu_count(),
        "load_before": round(os.getloadavg()[2], 2),
        "seconds_plain_loop": round(plain, 2),
        "seconds_build": round(build.seconds, 2),
        "ratio": round(plain / build.seconds, 2),
        "seconds_library_in_one_process": round(library, 2),
        "processor_seconds": dict(zip(("build", "plain_loop", "library"), (round(s, 2) for s in spent), strict=True)),
        "processor_ratio": round(spent[1] / spent[0], 2),
        "machinery_seconds_a_campaign": round((build.seconds - library / workers) / count, 3),
        "peak_memory_mb": round(build.memory),
    }
    sys.stdout.write(json.dumps(record, indent=1) + "\n")
    (RESULTS / f"archive_build_{chosen.kind}.json").write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
