"""What a campaign names is there: instruments, calibrations, campaigns to compare with; all files are judged together."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from benchproof.campaign.check import check_campaign
from benchproof.campaign.workspace import Workspace
from benchproof.errors import Fault, InputError, RequestError
from benchproof.methods import built_tests, known_choices
from workspaces import CAMPAIGN, LAB, RIG, sweep_log, write_workspace

if TYPE_CHECKING:
    from pathlib import Path

    from benchproof.campaign.check import Checked

NAME = "2026-03-a"
GOOD = CAMPAIGN.format(name=NAME)
LOG = sweep_log(levels=5, rate=10.0)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A valid workspace with a short log."""
    return write_workspace(tmp_path, log=LOG)


def write(root: Path, *, campaign: str = GOOD, rig: str = RIG, lab: str = LAB) -> None:
    (root / "runs" / NAME / "campaign.yaml").write_text(campaign)
    (root / "runs" / "rigs" / "bench" / "rig.yaml").write_text(rig)
    (root / "runs" / "lab.yaml").write_text(lab)


def check(root: Path) -> Checked:
    return check_campaign(Workspace(root), NAME, built_tests=built_tests(), known_choices=known_choices())


def faults(root: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        check(root)
    return caught.value.faults


def added(tests: str) -> str:
    return GOOD.replace("text: |", f"{tests}text: |")


RESISTANCE = (
    '  - {test: winding_resistance, sample: A1, pairs: {ab: "55.1 mohm", bc: "54.8 mohm", ca: "55.0 mohm"}, '
    'winding_temperature: "22 degC"%s}\n'
)
METER = '  meter: {measures: resistance, errors: [{scale: "0.2 %"}, {repeatability: "0.02 mohm"}]}\n'


def with_instrument(line: str) -> str:
    return RIG.replace("instruments:\n", f"instruments:\n{line}")


def test_faults_of_lab_and_campaign_are_told_together(root: Path) -> None:
    write(root, campaign=GOOD.replace("bought", "stolen"), lab=LAB.replace("EUR", "EURO"))
    assert [(fault.file, fault.place) for fault in faults(root)] == [
        ("runs/2026-03-a/campaign.yaml", "specimen.source"),
        ("runs/lab.yaml", "lab.currency"),
    ]


def test_faults_of_references_claims_and_text_are_told_together_in_the_order_of_the_file(root: Path) -> None:
    claim = "claims: [{say: S, quantity: mass, relation: less, than: 2026-01-none}]\n"
    text = GOOD.replace("drive: drive-1", "drive: drive-2").replace("text: |", f"{claim}text: |")
    write(root, campaign=text.replace('quote("mass")', 'quote("mass", sample="B7")'))
    assert [fault.place for fault in faults(root)] == ["drive", "claims[0].than", "text"]


def test_a_reading_without_an_instrument_is_refused(root: Path) -> None:
    write(root, campaign=added(RESISTANCE % ""))
    assert [str(fault) for fault in faults(root)] == [
        (
            "runs/2026-03-a/campaign.yaml:16: tests[2].pairs.ab: found no instrument; expected one instrument that measures "
            "resistance. Declare it in the rig file."
        )
    ]


def test_the_three_pairs_are_repeated_readings(root: Path) -> None:
    write(root, campaign=added(RESISTANCE % ""), rig=with_instrument(METER))
    assert check(root)
    write(
        root, campaign=added(RESISTANCE % ""), rig=with_instrument(METER.replace(', {repeatability: "0.02 mohm"}', ""))
    )
    assert [str(fault) for fault in faults(root)] == [
        (
            "runs/2026-03-a/campaign.yaml:16: tests[2].pairs: found 3 readings of meter, which states no repeatability; "
            'expected a stated repeatability, or at least 4 readings. Add {repeatability: "…"} to the errors of meter.'
        )
    ]


def test_of_several_instruments_the_test_names_one_by_its_field_or_by_what_is_measured(root: Path) -> None:
    rig = with_instrument(METER + '  couple: {measures: temperature, errors: [{offset: "1 degC"}]}\n')
    write(root, campaign=added(RESISTANCE % ""), rig=rig)
    told = faults(root)
    assert {fault.place for fault in told} == {"tests[1].air.temperature", "tests[2].winding_temperature"}
    assert told[1].found == "2 instruments"
    assert told[1].expected == "one instrument that measures temperature: couple, thermometer"
    assert told[1].remedy == "Name it: instruments: {winding_temperature: …}."
    named = added(RESISTANCE % ", instruments: {winding_temperature: couple}")
    write(root, campaign=named.replace("air: {", "instruments: {temperature: thermometer}, air: {"), rig=rig)
    assert check(root)


@pytest.mark.parametrize(
    ("instruments", "sentence"),
    [
        ("{winding_temprature: couple}", "Write winding_temperature."),
        ("{winding_temperature: meter}", "expected an instrument that measures temperature: thermometer."),
        (
            "{voltage: volts}",
            'found "voltage"; expected a reading of this winding_resistance: resistance, winding_temperature, temperature',
        ),
    ],
)
def test_an_instrument_named_for_nothing_is_refused(root: Path, instruments: str, sentence: str) -> None:
    write(root, campaign=added(RESISTANCE % f", instruments: {instruments}"), rig=with_instrument(METER))
    assert any(sentence in str(fault) for fault in faults(root)), faults(root)


def test_the_layout_of_a_test_names_instruments_of_the_rig(root: Path) -> None:
    layout = (
        "layout: {time: {column: t_ms, unit: ms}, throttle: {column: throttle, unit: '%'}, "
        "thrust: {column: thrust_gf, unit: gf, instrument: volts}, voltage: {column: volts, unit: V}, "
        "current: {column: amps, unit: A}}, "
    )
    write(root, campaign=GOOD.replace("air: {", f"{layout}air: {{"))
    assert [(fault.place, fault.remedy) for fault in faults(root)] == [
        ("tests[1].layout.thrust.instrument", "Use an instrument that measures thrust that exists, or declare it.")
    ]


def test_a_claim_against_a_value_needs_the_figures_own_unit(root: Path) -> None:
    claim = 'claims: [{say: S, quantity: thrust, at: {electrical_power: "100 W"}, relation: at_least, than: "9 %s"}]\n'
    write(root, campaign=GOOD.replace("text: |", claim % "N" + "text: |"))
    assert check(root)
    write(root, campaign=GOOD.replace("text: |", claim % "V" + "text: |"))
    assert [str(fault) for fault in faults(root)] == [
        (
            'runs/2026-03-a/campaign.yaml:16: claims[0].than: found "9 V"; expected a force with its unit, such as "8 N". '
            "V is a unit of voltage. Use one of N, mN, kN, gf, kgf, ozf, lbf."
        )
    ]


@pytest.mark.parametrize(("margin", "good"), [("3 %", True), ("0.5 N", True), ("0.5 g", False), ("-3 %", False)])
def test_a_margin_is_relative_or_in_the_figures_own_unit(root: Path, margin: str, good: bool) -> None:
    claim = f'claims: [{{say: S, quantity: thrust, relation: more, by: "{margin}", than: 8 N}}]\n'
    write(root, campaign=GOOD.replace("text: |", f"{claim}text: |"))
    assert check(root) if good else faults(root)[0].place == "claims[0].by"


def test_a_label_is_claimed_against_only_where_it_states_the_figure(root: Path) -> None:
    claim = "claims: [{say: S, quantity: thrust, relation: at_least, than: label}]\n"
    write(root, campaign=GOOD.replace("text: |", f"{claim}text: |"))
    assert [(fault.place, fault.found) for fault in faults(root)] == [
        ("claims[0].than", "label, which states no thrust")
    ]


def test_one_log_is_not_two_runs(root: Path) -> None:
    sweep = next(line for line in GOOD.splitlines() if "thrust_sweep" in line)
    write(root, campaign=GOOD.replace(sweep, f"{sweep}\n{sweep}"))
    assert [(fault.place, fault.expected) for fault in faults(root)] == [
        ("tests[2].log", "a log of its own; tests[1] has this one")
    ]


def test_a_test_is_not_before_its_sample_came(root: Path) -> None:
    write(root, campaign=GOOD.replace("part: motor", "part: motor, date: 2026-02-01"))
    assert [(fault.place, fault.found, fault.expected) for fault in faults(root)] == [
        ("tests[0].date", "2026-02-01", "a day from 2026-02-24 on")
    ]


def test_masses_need_the_place_of_the_rig(root: Path) -> None:
    write(root, rig=RIG.replace('location: {latitude: "54.1 deg", elevation: "180 m"}\n', ""))
    assert [fault.place for fault in faults(root)] == ["tests[1]"]


def test_the_latest_calibration_in_force_applies_until_it_expires(root: Path) -> None:
    entry = "file: calibration/cell.csv, dated: 2026-01-10, expires: 2026-07-10, applied_unit: kg, indicated_unit: gf"
    later = entry.replace("2026-01-10", "2026-02-01").replace("cell.csv", "later.csv")
    write(root, rig=RIG.replace(f"- {{{entry}}}", f"- {{{entry}}}\n      - {{{later}}}"))
    cell = Workspace(root).rig("bench").instruments["cell"]
    in_force = {day: cell.calibration_on(date.fromisoformat(day)) for day in ("2026-01-09", "2026-01-31", "2026-02-01")}
    assert [entry and entry.file for entry in in_force.values()] == [
        None,
        "calibration/cell.csv",
        "calibration/later.csv",
    ]
    assert cell.calibration_on(date(2026, 7, 10)) is None


def test_inputs_are_what_the_campaign_declares_in_a_fixed_order(root: Path) -> None:
    assert list(check(root).inputs) == [
        "runs/lab.yaml",
        "runs/rigs/bench/rig.yaml",
        "runs/rigs/bench/calibration/cell.csv",
        "runs/2026-03-a/campaign.yaml",
        "runs/2026-03-a/raw/sweep.csv",
    ]


def test_the_workspace_is_the_nearest_folder_above_with_a_lab_file(root: Path) -> None:
    assert Workspace.find(root / "runs" / NAME / "raw").root == root
    with pytest.raises(RequestError, match=r"no runs/lab\.yaml in"):
        Workspace.find(root.parent)


def test_campaigns_are_listed_by_name(tmp_path: Path) -> None:
    write_workspace(tmp_path, "b", "a", "c", log=LOG)
    (tmp_path / "runs" / "notes").mkdir()
    assert Workspace(tmp_path).campaign_names() == ("a", "b", "c")
