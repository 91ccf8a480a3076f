"""A workspace whose stand has a torque cell beside its thrust cell, and feels some of the thrust in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from workspaces import CAMPAIGN, RIG, sweep_log, write_workspace

if TYPE_CHECKING:
    from pathlib import Path

INTO_TORQUE = 1.2e-3
"""N m in the torque cell per N of thrust."""

ARM = 7.5e-3
"""Torque over thrust of the propeller, m."""

_LOADS = [(t, 0.0) for t in (0, 4, 8, 12, 16, 8)] + [(0.0, q) for q in (0.1, 0.2, 0.3, 0.2, 0.1)]

CROSS_TALK = "thrust_applied,torque_applied,thrust_indicated,torque_indicated\n" + "".join(
    f"{t:g},{q:g},{t + 0.002 * (-1) ** k:.4f},{q + INTO_TORQUE * t + 5e-5 * (-1) ** (k // 2):.6f}\n"
    for k, (t, q) in enumerate(_LOADS)
)

_STATED = """\
cross_talk:
  - file: calibration/stand.csv
    dated: 2026-01-10
    expires: 2026-07-10
    thrust: {instrument: cell, applied_unit: N, indicated_unit: N}
    torque: {instrument: torque, applied_unit: "N*m", indicated_unit: "N*m"}
"""


def with_stand(root: Path, *, loadings: bool = True) -> Path:
    """Write a workspace with one campaign whose sweep logs torque, with or without loadings of its cells."""
    write_workspace(root, log=_torque_log())
    rig = root / "runs" / "rigs" / "bench"
    text = RIG.replace("  volts: {", '  torque: {measures: torque, errors: [{scale: "0.2 %"}]}\n  volts: {', 1)
    text = text.rstrip() + '\n    torque: {column: torque, unit: "N*m", instrument: torque}\n'
    (rig / "rig.yaml").write_text(text + (_STATED if loadings else ""))
    if loadings:
        (rig / "calibration" / "stand.csv").write_text(CROSS_TALK)
    (root / "runs" / "2026-03-a" / "campaign.yaml").write_text(CAMPAIGN.format(name="2026-03-a"))
    return root


def _torque_log() -> str:
    """Return the usual sweep with the torque column of a cell that feels thrust."""
    header, *rows = sweep_log().splitlines()
    thrust = np.array([float(row.split(",")[2]) for row in rows]) * 9.80665e-3 - 12.0 * 9.80665e-3
    torque = (ARM + INTO_TORQUE) * thrust
    return "\n".join([f"{header},torque", *(f"{row},{q:.6f}" for row, q in zip(rows, torque, strict=True))]) + "\n"
