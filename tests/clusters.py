"""A Dask cluster on this machine."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def cluster(folder: Path, workers: int) -> Iterator[tuple[str, list[int]]]:
    """Start a scheduler and workers of one thread each on this machine; give its address and the workers' processes."""
    code = (
        "import json, sys, time\nfrom distributed import LocalCluster\nif __name__ == '__main__':\n"
        f"    with LocalCluster(n_workers={workers}, threads_per_worker=1, processes=True, host='127.0.0.1',\n"
        f"                      dashboard_address=None, local_directory={str(folder)!r}) as cluster:\n"
        "        pids = [nanny.pid for nanny in cluster.workers.values()]\n"
        "        print(json.dumps([cluster.scheduler_address, pids]), flush=True)\n"
        "        sys.stdin.read()\n"
    )
    script = folder / "cluster.py"
    script.write_text(code)
    with subprocess.Popen(
        [sys.executable, str(script)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as process:
        try:
            address, pids = json.loads(process.stdout.readline())
            yield address, pids
        finally:
            process.stdin.close()
            process.wait(timeout=60)
