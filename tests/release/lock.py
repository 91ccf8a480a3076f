"""Make requirements.lock: every package that benchproof stands on, pinned, with the hashes of its wheels.

Run at a release, in any environment with pip:  PYTHONPATH=tests python -m release.lock

pip itself finds the versions for this machine; the same versions are then asked for on the other platforms and Python
versions in ``TARGETS``, for the hashes of their wheels. No address of an index comes into the file.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

ROOT = Path(__file__).parents[2]
LOCK = ROOT / "analysis" / "benchproof" / "requirements.lock"
OURSELVES = "benchproof"
TARGETS = tuple(
    (python, platforms)
    for python in ("3.11", "3.12", "3.13")
    for platforms in (
        ("manylinux_2_34_x86_64", "manylinux_2_28_x86_64", "manylinux_2_27_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64", "manylinux2010_x86_64", "manylinux1_x86_64"),
        ("manylinux_2_34_aarch64", "manylinux_2_28_aarch64", "manylinux_2_27_aarch64", "manylinux_2_17_aarch64", "manylinux2014_aarch64"),
        tuple(f"macosx_{v}_0_arm64" for v in (14, 13, 12, 11)) + tuple(f"macosx_{v}_0_universal2" for v in (13, 12, 11)) + ("macosx_10_9_universal2",),
    )
)  # fmt: skip
ONLY_ON = {"appnope": 'sys_platform == "darwin"'}
"""Packages that others ask for on one platform only; pip reads such conditions for the machine it runs on."""

HEAD = """\
# Every package that benchproof {version} stands on, as it was tested; Python 3.11 on Linux is the reference.
#   pip install --require-hashes -r requirements.lock
#   pip install --no-deps benchproof-{version}-py3-none-any.whl
# Made by tests/release/lock.py.
"""


def report(*words: str) -> list[dict[str, Any]]:
    """What pip would install, with hashes."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "report.json"
        command = [
            sys.executable,
            "-m",
            "pip",
            "install",
            "--dry-run",
            "--quiet",
            "--ignore-installed",
            "--report",
            str(path),
        ]
        done = subprocess.run([*command, *words], capture_output=True, text=True, check=False)
        if done.returncode:
            print(f"  nothing for {' '.join(words)}: {done.stderr.strip().splitlines()[-1]}", file=sys.stderr)
            return []
        return json.loads(path.read_text())["install"]


def hashes(installs: list[dict[str, Any]]) -> dict[str, set[str]]:
    """Hashes of the wheels, by pinned requirement."""
    found: dict[str, set[str]] = {}
    for each in installs:
        name, version = each["metadata"]["name"].lower().replace("_", "-"), each["metadata"]["version"]
        archive = each["download_info"].get("archive_info")
        if archive is not None and name != OURSELVES:
            found.setdefault(f"{name}=={version}", set()).add(f"sha256:{archive['hashes']['sha256']}")
    return found


def elsewhere(pins: list[str], python: str, platforms: tuple[str, ...]) -> dict[str, set[str]]:
    """Hashes of the same versions on another platform; where one of them has no wheel there, one by one."""
    target = ["--no-deps", "--only-binary=:all:", "--python-version", python, "--target", "unused"]
    target += [word for platform in platforms for word in ("--platform", platform)]
    together = report(*target, *pins)
    return hashes(together or [each for pin in pins for each in report(*target, pin)])


def main() -> None:
    found = hashes(report(str(ROOT)))
    for name, marker in ONLY_ON.items():
        found |= {f"{pin} ; {marker}": its for pin, its in hashes(report("--no-deps", name)).items()}
    plain = [pin for pin in found if ";" not in pin]
    for python, platforms in TARGETS:
        print(f"{python} {platforms[0]}", file=sys.stderr)
        for pin, its in elsewhere(plain, python, platforms).items():
            found[pin] |= its
    version = next(line for line in (ROOT / "pyproject.toml").read_text().splitlines() if line.startswith("version"))
    lines = [HEAD.format(version=version.split('"')[1])]
    lines += [
        " \\\n    ".join([pin, *(f"--hash={each}" for each in sorted(found[pin]))]) + "\n" for pin in sorted(found)
    ]
    LOCK.write_text("".join(lines), encoding="utf-8")
    print(f"{len(found)} packages, {sum(map(len, found.values()))} wheels in {LOCK.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
