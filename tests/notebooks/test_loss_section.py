"""The notebook's section on losses, on a demo campaign with a torque cell."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from benchproof.campaign.check import check_campaign
from benchproof.campaign.workspace import Workspace
from benchproof.methods import built_tests, known_choices
from benchproof.methods.records import Figure
from benchproof.notebooks.losses import LossSection
from benchproof.notebooks.session import OpenBench
from benchproof.trials.quantity import combine
from simulator import demo
from simulator.physics import operate_at
from stands import with_stand

ROOT = Path(__file__).parents[2]
NAME = "2026-03-burdock-2208"


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> OpenBench:
    root = tmp_path_factory.mktemp("lab")
    (root / "runs").mkdir()
    shutil.copytree(ROOT / "runs" / "rigs", root / "runs" / "rigs")
    shutil.copytree(ROOT / "runs" / NAME, root / "runs" / NAME)
    lab = (ROOT / "runs" / "lab.yaml").read_text().replace("trials: 20000", "trials: 2000")
    (root / "runs" / "lab.yaml").write_text(lab)
    campaign = root / "runs" / NAME / "campaign.yaml"
    text = campaign.read_text().replace("conductor: copper", 'conductor: "silver plated copper", plating: "2 um"')
    # The winding of B1 was read at the end of full throttle; nobody looked at B2.
    hot = f'    winding_temperature: {{value: "{hottest("B1"):.1f} degC", standard: "2 degC"}}\n'
    text = text.replace("    log: raw/b1-sweep-1.csv\n", f"    log: raw/b1-sweep-1.csv\n{hot}")
    assert hot in text
    campaign.write_text(text.partition("claims:")[0])
    workspace = Workspace(root)
    checked = check_campaign(workspace, NAME, built_tests=built_tests(), known_choices=known_choices())
    return OpenBench(workspace, checked)


def hottest(sample: str) -> float:
    story = next(story for story in demo.STORIES if story.campaign == NAME)
    bench, air = demo.bench_of(story, demo.rig()), story.runs[0].air
    state = operate_at(bench.setup(sample, "oar-51x45", air.density, air.temperature), "throttle", 1.0)
    return float(state.winding_temperature[0])


def true_losses(sample: str, power: float) -> dict[str, float]:
    story = next(story for story in demo.STORIES if story.campaign == NAME)
    bench = demo.bench_of(story, demo.rig())
    motor, air = bench.motor(sample), story.runs[0].air
    state = operate_at(bench.setup(sample, "oar-51x45", air.density, air.temperature), "electrical_power", power)
    return {
        "shaft_power": float(state.shaft_power[0]),
        "copper": float((state.winding_current**2 * motor.resistance_at(state.winding_temperature))[0]),
        "drag": float((motor.drag_torque(state.speed) * state.speed)[0]),
    }


def test_the_demo_motors_losses_are_found_where_they_are(opened: OpenBench) -> None:
    budgets = {budget.sample: budget for budget in opened.losses.budgets}
    assert set(budgets) == {"B1", "B2"}
    for sample, budget in budgets.items():
        for power in (100.0, 200.0, 400.0):
            place = int(np.argmin(np.abs(budget.states.electrical_power[:, 0] - power)))
            for name, true in true_losses(sample, power).items():
                low, high = np.quantile(budget.terms[name][place, 1:], [0.0005, 0.9995])
                assert low <= true <= high, (sample, power, name)
    assert not [remark for remark in opened.losses.remarks if remark.code == "losses_exceed_power"]


def test_a_stated_winding_temperature_makes_the_copper_loss_surer(opened: OpenBench) -> None:
    stated, unknown = opened.losses.budgets
    spread = [float(np.std(each.terms["copper"][-1, 1:]) / each.terms["copper"][-1, 0]) for each in (stated, unknown)]
    assert spread[0] < 0.4 * spread[1]
    assert stated.temperature[-1, 0] == pytest.approx(hottest("B1"), abs=6.0)


def test_what_the_section_shows(opened: OpenBench, capsys: pytest.CaptureFixture[str]) -> None:
    losses = opened.losses
    about = losses.about()
    assert about is not None
    assert about.record["section"] == "losses"
    losses.show()
    shown = capsys.readouterr().out
    for words in ("Losses against electrical power, sample B1", "Loss budget", "wound otherwise", "What the conductor"):
        assert words in shown


def test_a_coat_of_silver_does_next_to_nothing(opened: OpenBench) -> None:
    claim = opened.losses.conductor
    assert claim is not None
    low, high = claim.change.interval(0.95)
    assert -0.005 < low < high < 0
    assert -0.085 < claim.bound.interval(0.95)[0] < claim.bound.interval(0.95)[1] < -0.05
    assert claim.skin < 0.005


def test_without_drag_there_is_no_budget_and_no_section(opened: OpenBench) -> None:
    losses = opened.losses
    bare = LossSection(opened.bench, losses.figures, losses.sweeps, ())
    assert bare.budgets == ()
    assert bare.about() is None
    bare.show()


def test_a_flywheel_run_has_a_budget_at_its_speeds(opened: OpenBench) -> None:
    """Figures such as a run gives, made from the sweep's own states: the same losses come out."""
    losses = opened.losses
    budget = losses.budgets[0]
    text, written = "20000 rpm", next(p for p in opened.bench.lab.operating_points.speed if p.text == "20000 rpm")
    place = int(np.argmin(np.abs(budget.states.speed[:, 0] - written.si)))
    torque = budget.quantity(budget.states.torque, place)
    factor = written.si / budget.states.speed[place, 0]
    efficiency = combine(
        lambda p: torque.value * written.si / p, budget.quantity(budget.states.electrical_power * factor, place)
    )
    made = [
        Figure(name, {"speed": text}, budget.sample, quantity, "flywheel_run/1.0")
        for name, quantity in (("torque", torque), ("motor_efficiency", efficiency))
    ]
    others = [f for f in losses.figures if not f.method.startswith("flywheel_run/")]
    section = LossSection(opened.bench, [*others, *made], losses.sweeps, losses.free_runs)
    ((run, speeds),) = section.run_budgets
    assert speeds == (text,)
    assert run.terms["shaft_power"][0, 0] == pytest.approx(torque.value * written.si)
    assert run.current[0, 0] == pytest.approx(budget.current[place, 0], rel=0.03)
    # Cold at the start, and up to 60 K warmer: the copper loss of a settled step lies in that range.
    low, high = run.interval(run.terms["copper"], 0.999)
    assert low[0] <= budget.terms["copper"][place, 0] <= high[0]


def test_a_logged_winding_temperature_is_read_at_the_end_of_the_highest_throttle(tmp_path: Path) -> None:
    root = with_stand(tmp_path)
    log = root / "runs" / "2026-03-a" / "raw" / "sweep.csv"
    header, *rows = log.read_text().splitlines()
    levels = np.array([float(row.split(",")[1]) for row in rows])
    last = int(np.flatnonzero(levels == levels.max())[-1])
    warm = [f"{row},{60 + (k == last) * 13.5 + 0.01 * (k % 7):.2f}" for k, row in enumerate(rows)]
    log.write_text("\n".join([f"{header},winding", *warm]) + "\n")
    rig = root / "runs" / "rigs" / "bench" / "rig.yaml"
    column = "    winding_temperature: {column: winding, unit: degC, instrument: thermometer}\n"
    rig.write_text(rig.read_text().replace("cross_talk:", f"{column}cross_talk:"))
    workspace = Workspace(root)
    checked = check_campaign(workspace, "2026-03-a", built_tests=built_tests(), known_choices=known_choices())
    losses = OpenBench(workspace, checked).losses
    hot = losses._temperature("A1", "thrust_sweep", "winding")
    assert hot is not None
    assert hot.value == pytest.approx(73.5, abs=0.07)
    assert hot.standard_uncertainty == pytest.approx(0.5 / 3**0.5, rel=0.02)
