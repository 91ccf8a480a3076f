"""Reading a log of 1 GB: time against pyarrow's streaming reader, and peak memory, each in a process of its own.

Ours keeps the columns in SI and judges them; pyarrow's reader, with its default blocks, keeps nothing. The two take
turns, five times, and the ratio is the median of the five. A log of 5000 rows is timed too.

PYTHONPATH=tests:analysis python -m benchmarks.log_reading [--small]
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from itertools import islice
from pathlib import Path

import numpy as np

RESULT = Path(__file__).parent / "results" / "log_reading.json"
STEP = 200_000
TURNS = 5
SMALL_ROWS = 5000
COLUMNS = {
    "time": ("t_ms", "ms"),
    "throttle": ("throttle", "%"),
    "thrust": ("thrust_gf", "gf"),
    "voltage": ("volts", "V"),
    "current": ("amps", "A"),
    "speed": ("erpm", "rpm"),
}


def write(path: Path, size: int) -> int:
    """Write a log of about a size in bytes; return its rows."""
    rng = np.random.default_rng(1)
    rows = 0
    with path.open("w") as stream:
        stream.write("t_ms,throttle,thrust_gf,volts,amps,erpm\n")
        while stream.tell() < size:
            time_ms = np.arange(rows, rows + STEP)
            thrust = 400 + 30 * rng.standard_normal(STEP)
            volts, amps = 15 + 0.01 * rng.standard_normal(STEP), 20 + rng.standard_normal(STEP)
            erpm = 100 * np.round(1500 + 10 * rng.standard_normal(STEP))
            level = 10.0 + (time_ms // 3000) % 90
            block = np.column_stack([time_ms, level, thrust, volts, amps, erpm])
            stream.writelines(
                f"{t:.0f},{u:.1f},{f:.1f},{v:.3f},{i:.2f},{n:.0f}\n" for t, u, f, v, i, n in block.tolist()
            )
            rows += STEP
    return rows


def ours(path: str) -> None:
    """Read with our reader."""
    from benchproof.campaign.logs import read_log
    from benchproof.campaign.models.layout import LogChannel

    layout = {
        name: LogChannel(column=column, unit=unit, divide_by="pole_pairs" if name == "speed" else None)
        for name, (column, unit) in COLUMNS.items()
    }
    log = read_log(Path(path), layout, pole_pairs=7, name="raw/log.csv")
    assert log.rows > 0


def theirs(path: str) -> None:
    """Read the same columns with pyarrow's streaming reader, keeping nothing."""
    import pyarrow as pa
    from pyarrow import csv

    names = [column for column, _ in COLUMNS.values()]
    options = csv.ConvertOptions(include_columns=names, column_types=dict.fromkeys(names, pa.float64()))
    total = 0
    for batch in csv.open_csv(path, convert_options=options):
        total += batch.num_rows
    assert total > 0


def measured(what: str, path: Path) -> tuple[float, float]:
    """Return seconds inside the reader and peak memory in MB of a process of its own."""
    command = [sys.executable, "-m", "benchmarks.log_reading", "--run", what, "--log", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds, memory = done.stdout.split()
    return float(seconds), float(memory)


def small_log_seconds(path: Path) -> float:
    """Return the time our reader takes for a log of a few seconds, the best of many as befits so short a time."""
    with path.open() as stream, tempfile.TemporaryDirectory() as folder:
        short = Path(folder) / "short.csv"
        short.write_text("".join(islice(stream, SMALL_ROWS + 1)))
        times = []
        for _ in range(50):
            begun = time.perf_counter()
            ours(str(short))
            times.append(time.perf_counter() - begun)
    return min(times)


def main() -> None:
    """Run the benchmark and write its result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", action="store_true", help="20 MB instead of 1 GB; writes no result")
    parser.add_argument("--run", choices=("ours", "theirs"))
    parser.add_argument("--log")
    chosen = parser.parse_args()
    if chosen.run:
        read = {"ours": ours, "theirs": theirs}[chosen.run]
        with tempfile.TemporaryDirectory() as folder:  # imports and tables of units are paid for before the clock runs
            write(Path(folder) / "small.csv", 100_000)
            read(str(Path(folder) / "small.csv"))
        begun = time.perf_counter()
        read(chosen.log)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        sys.stdout.write(f"{time.perf_counter() - begun} {peak}\n")
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        rows = write(path, 20_000_000 if chosen.small else 1_000_000_000)
        repeats = [(measured("theirs", path), measured("ours", path)) for _ in range(TURNS)]
        small = small_log_seconds(path)
        size = path.stat().st_size
    ratio = float(np.median([mine[0] / other[0] for other, mine in repeats]))
    record = {
        "bytes": size,
        "rows": rows,
        "seconds_pyarrow": round(min(other[0] for other, _ in repeats), 2),
        "seconds_ours": round(min(mine[0] for _, mine in repeats), 2),
        "ratio": round(ratio, 3),
        "peak_memory_mb": round(max(mine[1] for _, mine in repeats)),
        f"milliseconds_{SMALL_ROWS}_rows": round(1e3 * small, 2),
    }
    sys.stdout.write(json.dumps(record, indent=1) + "\n")
    if not chosen.small:
        RESULT.write_text(json.dumps(record, indent=1) + "\n")


if __name__ == "__main__":
    main()
