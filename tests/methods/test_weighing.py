"""Weighing: readings, repeatability, parts and the whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from benchproof.campaign.check import check_campaign
from benchproof.campaign.workspace import Workspace
from benchproof.campaign.yaml import compose
from benchproof.methods import built_tests, known_choices
from benchproof.notebooks.session import OpenBench
from workspaces import CAMPAIGN, sweep_log, write_workspace

if TYPE_CHECKING:
    from pathlib import Path


def opened(root: Path) -> OpenBench:
    workspace = Workspace(root)
    return OpenBench(
        workspace,
        check_campaign(workspace, "2026-03-a", built_tests=built_tests(), known_choices=known_choices()),
    )


def test_the_mean_counts_with_step_and_repeatability_of_the_balance(tmp_path: Path) -> None:
    section = opened(write_workspace(tmp_path, log=sweep_log(levels=5, rate=10))).section("weighing")
    (mass,) = section.reduction.figures
    assert mass.quantity is not None
    assert mass.quantity.value == pytest.approx(0.03241)
    expected = ((0.01e-3**2 / 12 + 0.006e-3**2) / 3) ** 0.5
    assert mass.quantity.standard_uncertainty == pytest.approx(expected, rel=1e-3)
    assert dict(mass.at) == {}


def test_parts_that_weigh_more_than_the_whole_are_remarked_on(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=sweep_log(levels=5, rate=10))
    part = '  - {test: weighing, sample: A1, part: bell, readings: ["40.1 g"]}\n  - {test: thrust'
    path = root / "runs" / "2026-03-a" / "campaign.yaml"
    path.write_text(CAMPAIGN.format(name="2026-03-a").replace("  - {test: thrust", part))
    section = opened(root).section("weighing")
    assert [r.code for r in section.reduction.remarks] == ["parts_exceed_whole"]
    assert {tuple(f.at.items()) for f in section.reduction.figures} == {(), (("part", "bell"),)}


def test_an_inserted_test_redraws_nothing_else(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=sweep_log(levels=5, rate=10))
    before = opened(root).section("weighing").reduction.figures[0].quantity
    more = '  - {test: weighing, sample: A1, part: shaft, readings: ["4.1 g"]}\n  - {test: weighing, sample: A1, part: motor'
    path = root / "runs" / "2026-03-a" / "campaign.yaml"
    path.write_text(compose_text(path).replace("  - {test: weighing, sample: A1, part: motor", more, 1))
    after = next(f for f in opened(root).section("weighing").reduction.figures if not f.at).quantity
    assert before is not None
    assert after is not None
    assert (before.trials == after.trials).all()


def compose_text(path: Path) -> str:
    compose(path, path.name)
    return path.read_text()
