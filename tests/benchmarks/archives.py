"""Archives of many campaigns for the benchmarks: the demo's bench, other motors, every log its own."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import yaml

from simulator import demo, demo_tests, demo_words

Kind = Literal["full", "small"]
SCRIPTS = Path(sys.executable).parent
_MODEL = "2026-05-bistort-2207"
_TEXT = 'Weighs {{ quote("mass") }} and makes {{ quote("thrust", electrical_power="400 W") }}.\n'


def write_archive(root: Path, count: int, kind: Kind) -> tuple[str, ...]:
    """Write a workspace of different motors on the demo's bench; return the campaigns' names.

    ``full``: every test of one of the demo's campaigns, two samples. ``small``: a weighing and one sweep. Claims and
    comparing quotes are left out, for no plain loop over notebooks could answer them.
    """
    made = demo.rig()
    _write(root / "runs", {"lab.yaml": demo_words.LAB.encode(), f"rigs/{made.name}/rig.yaml": demo_words.RIG.encode()})
    _write(root / "runs", demo._calibrations(made))
    names = tuple(f"2026-06-motor-{number:04d}" for number in range(count))
    for number, name in enumerate(names):
        story = _story(name, number)
        found = demo.campaign_files(demo.bench_of(story, made), story)
        text = yaml.safe_load(found[f"{name}/campaign.yaml"])
        found[f"{name}/campaign.yaml"] = yaml.safe_dump(_trimmed(text, kind), sort_keys=False).encode()
        used = _trimmed(text, kind)["tests"]
        logs = {f"{name}/{test['log']}" for test in used if "log" in test}
        photos = {f"{name}/{test['photo']}" for test in used if "photo" in test}
        _write(root / "runs", {path: found[path] for path in (f"{name}/campaign.yaml", *sorted(logs | photos))})
    return names


def _story(name: str, number: int) -> demo.Story:
    """Return the demo's story with another motor; its samples and logs are drawn by its name."""
    model = next(story for story in demo.STORIES if story.campaign == _MODEL)
    motor = demo.motor(1750 + 3 * number, 2.0e5, 0.8 + 0.004 * number, 30.0 + 0.05 * number, 15.0)
    demo_words.CAMPAIGNS[name] = demo_words.CAMPAIGNS[_MODEL].replace(_MODEL, name)
    demo_tests.EXTRAS[name] = demo_tests.EXTRAS.get(_MODEL, ())
    return replace(model, campaign=name, model=motor)


def _trimmed(text: Mapping[str, Any], kind: Kind) -> dict[str, Any]:
    trimmed = {**text, "text": _TEXT}
    for key in ("claims", "reply"):
        trimmed.pop(key, None)
    if kind == "small":
        weighing = next(test for test in text["tests"] if test["test"] == "weighing")
        sweep = next(test for test in text["tests"] if test["test"] == "thrust_sweep")
        trimmed["tests"] = [weighing, sweep]
        trimmed["specimen"] = {**text["specimen"], "samples": text["specimen"]["samples"][:1]}
    return trimmed


def _write(folder: Path, files: Mapping[str, bytes]) -> None:
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


@dataclass(frozen=True, slots=True)
class Ran:
    """What a command took: seconds, and the peak memory of its own process in MB."""

    seconds: float
    memory: float
    said: str


_LOOK = 0.05
"""Seconds from one look at a command's memory to the next; a hundred looks a second would slow it by a twentieth."""


def benchproof(root: Path, *words: str) -> Ran:
    """Run a command on a workspace."""
    command = [str(SCRIPTS / "benchproof"), "--workspace", str(root), *words]
    begun = time.perf_counter()
    peak = 0
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        status = Path(f"/proc/{process.pid}/status")
        while process.poll() is None:
            peak = max(peak, _high_water(status))
            time.sleep(_LOOK)
        said = process.stdout.read() if process.stdout else ""
    seconds = time.perf_counter() - begun
    assert process.returncode == 0, said
    return Ran(seconds, peak / 1024, said)


def _high_water(status: Path) -> int:
    """Return the most memory a process has had, in kB, by the system's own account."""
    try:
        lines = status.read_text().splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith("VmHWM")), 0)
