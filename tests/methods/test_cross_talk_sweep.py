"""A sweep on a stand whose torque cell feels thrust: the method gets the correction from its bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from benchproof.campaign.check import check_campaign
from benchproof.campaign.workspace import Workspace
from benchproof.methods import built_tests, known_choices, thrust_sweep
from benchproof.methods.bench import Bench
from benchproof.trials.engine import Trials
from stands import ARM, INTO_TORQUE, with_stand

if TYPE_CHECKING:
    from pathlib import Path

    from benchproof.methods.records import Reduction


def reduced(root: Path) -> Reduction:
    checked = check_campaign(Workspace(root), "2026-03-a", built_tests=built_tests(), known_choices=known_choices())
    bench = Bench(
        checked.lab, checked.rig, checked.campaign, Trials(1, 2000), checked.log, checked.table, checked.loadings
    )
    inputs = [thrust_sweep.gather(test, bench) for test in bench.tests("thrust_sweep")]
    return thrust_sweep.reduce(inputs, bench)


def torque_over_thrust(found: Reduction) -> float:
    at = {"electrical_power": "100 W"}
    torque, thrust = (
        next(f.quantity for f in found.figures if f.name == name and dict(f.at) == at) for name in ("torque", "thrust")
    )
    assert torque is not None
    assert thrust is not None
    return torque.value / thrust.value


def test_torque_is_freed_from_thrust_where_the_rig_has_loadings(tmp_path: Path) -> None:
    plain = reduced(with_stand(tmp_path / "plain", loadings=False))
    corrected = reduced(with_stand(tmp_path / "corrected"))
    # The thrust cell's own calibration reads 0.2 % off the log's units; the torque cell has none.
    assert torque_over_thrust(plain) == pytest.approx(ARM + INTO_TORQUE, rel=5e-3)
    assert torque_over_thrust(corrected) == pytest.approx(ARM, rel=5e-3)
    assert "cross_talk" not in {table.name for table in plain.tables}
    table = next(table for table in corrected.tables if table.name == "cross_talk")
    assert [row[1] for row in table.rows] == ["thrust", "torque"]
    assert table.rows[1][2].startswith("1.2")
    efficiency = next(f.quantity for f in corrected.figures if f.name == "motor_efficiency" and f.quantity)
    assert any("cross-talk into torque" in share.label for share in efficiency.budget())
