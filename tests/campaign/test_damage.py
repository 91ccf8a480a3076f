"""Whatever is done to the files people write, the answer is faults with file, line and remedy, or a good campaign."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchproof.campaign.check import check_campaign
from benchproof.campaign.faults import validated
from benchproof.campaign.models.base import Model
from benchproof.campaign.models.campaign import Campaign
from benchproof.campaign.models.lab import Lab
from benchproof.campaign.models.rig import RigFile
from benchproof.campaign.workspace import Workspace
from benchproof.campaign.yaml import Places, compose_text
from benchproof.errors import InputError
from benchproof.methods import built_tests, known_choices
from workspaces import CALIBRATION, CAMPAIGN, LAB, RIG, sweep_log, write_workspace

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.errors import Fault

RIG_WITH_FLYWHEEL = f"""{RIG}flywheels:
  disc:
    inertia: {{value: "5.0e-5 kg*m**2", standard: "0.3 %"}}
    diameter: "60 mm"
    thickness: "5 mm"
    material: steel
    rated_speed: "45000 rpm"
"""

EVERY_TEST = """\
kind: motor
campaign: c
title: T
dates: {received: 2026-02-24, tested: 2026-03-02}
rig: bench
drive: drive-1
specimen:
  maker: M
  model: "2306"
  label: {kv: {value: "1750 rpm/V", tolerance: "5 %"}, mass: "33 g", cells: 6}
  price: {amount: 24.00, currency: EUR, channel: direct, seen: 2026-02-20, shipping: 4}
  source: bought
  pole_pairs: 7
  connection: wye
  design: {bell: two-piece, conductor: copper, turns: 9}
  samples: [{id: A1, batch: "2026-01"}, {id: A2, batch: "2026-01"}]
tests:
  - {test: weighing, sample: A1, part: motor, readings: ["32.41 g", {value: "32.4 g", half_width: "0.1 g"}]}
  - test: winding_resistance
    sample: A1
    pairs: {ab: "55.1 mohm", bc: "54.8 mohm", ca: "55.0 mohm"}
    leads: "0 mohm"
    winding_temperature: "22.1 degC"
  - {test: back_emf, sample: A1, waveform: peak, points: [{speed: "5000 rpm", voltage: "2.86 V"}]}
  - test: no_load
    sample: A1
    winding_temperature: "25 degC"
    points: [{voltage: "10 V", current: "1.1 A", speed: "17420 rpm"}]
  - test: thrust_sweep
    sample: A1
    log: raw/a1-sweep-1.csv
    propeller: ref
    air: {temperature: "20 degC", pressure: "1000 hPa", humidity: {value: "40 %", standard: "3 %"}}
    layout: {dialect: {delimiter: ";", header: 3}, time: {column: t, unit: s}, cell_voltage_1: {column: c, unit: mV}}
  - test: flywheel_run
    sample: A1
    log: raw/a1-fly-1.csv
    flywheel: disc
    rotor_inertia: {value: "2e-6 kg*m**2", expanded: "1 %", k: 2}
    winding_temperature: "22 degC"
  - test: coast_down
    sample: A1
    log: raw/a1-coast-1.csv
    flywheel: none
    windings: open
    rotor_inertia:
      {pendulum: bifilar, mass: "14.2 g", period: "0.61 s", separation: "50 mm", length: "600 mm"}
  - {test: throttle_step, sample: A1, log: raw/a1-step-1.csv, from: "30 %", to: "70 %"}
  - {test: heat_soak, sample: A1, log: raw/a1-soak-1.csv, airflow: propwash}
  - test: vibration
    sample: A1
    log: raw/a1-vib-1.csv
    trial_masses: [{mass: "50 mg", radius: "12 mm", angle: "0 deg", log: raw/a1-vib-2.csv}]
  - test: inspection
    sample: A1
    finding: "The bell is glued."
    photo: photos/a1-bell.jpg
    about: bearing
    exclude: nut
    date: 2026-03-03
    instruments: {mass: balance}
choices: {air: as_tested}
claims:
  - {say: S, quantity: thrust, at: {electrical_power: "200 W"}, relation: more, by: "1 %", than: 2026-01-alder-2306}
  - {say: S, quantity: peak_torque, relation: equal, within: "3 %", than: label}
  - {say: S, quantity: thrust, at: {electrical_power: "200 W"}, relation: at_least, than: "9 N", scope: samples}
reply: |
  Thank you.
text: |
  The motor weighs {{ quote("mass") }}.
"""

FILES: dict[str, tuple[type[Model], str]] = {
    "lab.yaml": (Lab, LAB),
    "rig.yaml": (RigFile, RIG_WITH_FLYWHEEL),
    "campaign.yaml": (Campaign, EVERY_TEST),
}

WRONG: list[Any] = [
    *(None, True, False, 0, -1, 1.5, 10**17, "", "x", "a" * 5000, [], {}, [1], ["x"], [None], [{}], [[]], {"a": 1}),
    *(
        "5",
        "5 V",
        "1,5 V",
        "nan V",
        "3 Nm",
        "22 C",
        "50 %RH",
        "33 gr",
        "-5 g",
        "0 W",
        "1e999 V",
        " 5 g",
        "5\N{NO-BREAK SPACE}g",
    ),
    *(
        "../x",
        "raw/../x",
        "raw/a\nb",
        "raw/.hidden",
        "raw//x",
        "/etc/passwd",
        "<script>",
        "\u202e",
        "\x00",
        "rigs",
        "label",
    ),
    *("2026-13-01", "2026-03-02", "\N{ARABIC-INDIC DIGIT FIVE} g", "1e3", "no"),
    *({"value": "1 g"}, {"value": "5 g", "standard": "1 %", "half_width": "2 g"}, {"value": 3, "standard": []}),
    *(
        {"value": "1 g", "expanded": "2 %"},
        {"value": "1 g", "expanded": "2 %", "k": True},
        {"value": "1 g", "stndard": ""},
    ),
    *({"test": "weighing"}, {"test": 5}, {"test": []}, [{"test": "nope"}], {"pendulum": "bifilar"}, {"time": {}}),
]
KEYS = [
    "extra",
    "valu",
    "tests",
    "unit",
    "value",
    "k",
    "__class__",
    "model_config",
    "channels",
    "dialect",
    "per",
    "shape",
]


def complete(faults: tuple[Fault, ...]) -> bool:
    """Return whether every fault says where, what was found, what was expected and what to do, shortly."""
    return bool(faults) and all(
        fault.file and fault.found and fault.expected and fault.remedy and len(str(fault)) < 2500 for fault in faults
    )


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, inner in items:
        yield (*path, step)
        yield from places(inner, (*path, step))


def damage(values: Any, data: st.DataObject) -> None:
    """Delete, replace, rename or add a key or an item."""
    found = list(places(values))
    if not found:
        return
    *above, last = data.draw(st.sampled_from(found))
    inner = values
    for step in above:
        inner = inner[step]
    wrong = copy.deepcopy(data.draw(st.sampled_from(WRONG)))
    how = data.draw(st.sampled_from(["delete", "replace", "rename", "add"]))
    if how == "delete":
        del inner[last]
    elif how == "replace" or isinstance(inner, list):
        inner[last] = wrong
    else:
        inner[data.draw(st.sampled_from(KEYS))] = inner.pop(last) if how == "rename" else wrong


@pytest.mark.parametrize("file", FILES)
def test_the_undamaged_files_are_good(file: str) -> None:
    model, text = FILES[file]
    document = compose_text(text, file)
    assert validated(model, document.values, document.places)


@settings(max_examples=300, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(file=st.sampled_from(sorted(FILES)), data=st.data())
def test_wrong_values_missing_and_unknown_keys_are_faults_with_their_lines(file: str, data: st.DataObject) -> None:
    model, text = FILES[file]
    document = compose_text(text, file)
    for _ in range(data.draw(st.integers(1, 3))):
        damage(document.values, data)
    try:
        validated(model, document.values, document.places)
    except InputError as error:
        assert complete(error.faults), error.faults
        assert all(fault.line and "function-" not in fault.place for fault in error.faults)


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """A valid workspace that tests damage and mend."""
    return Workspace(write_workspace(tmp_path_factory.mktemp("damage"), "c", log=sweep_log(levels=4, rate=5.0)))


def bent(content: bytes, data: st.DataObject) -> bytes:
    """Flip a byte, delete, repeat or lengthen a line, cut the end off, or nest deeply."""
    lines = content.split(b"\n")
    at, line = data.draw(st.integers(0, len(content) - 1)), data.draw(st.integers(0, len(lines) - 1))
    how = data.draw(st.sampled_from(["flip", "delete", "repeat", "lengthen", "cut", "nest", "letter"]))
    if how == "flip":
        return content[:at] + bytes([content[at] ^ 1 << data.draw(st.integers(0, 7))]) + content[at + 1 :]
    if how == "cut":
        return content[:at]
    if how == "letter":
        letter = data.draw(st.sampled_from(["\N{MICRO SIGN}", "\N{CYRILLIC SMALL LETTER A}", "\N{MINUS SIGN}", "\x85"]))
        return content[:at] + letter.encode() + content[at:]
    new = {"delete": [], "repeat": [lines[line]] * 2, "lengthen": [lines[line] + b"9" * 7000]}
    nested = [lines[line].split(b":")[0] + b": " + b"[" * 4000]
    return b"\n".join([*lines[:line], *new.get(how, nested), *lines[line + 1 :]])


@settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_damaged_bytes_of_any_file_are_faults_of_that_workspace(root: Workspace, data: st.DataObject) -> None:
    sound = {
        "runs/lab.yaml": LAB,
        "runs/rigs/bench/rig.yaml": RIG,
        "runs/rigs/bench/calibration/cell.csv": CALIBRATION,
        "runs/c/campaign.yaml": CAMPAIGN.format(name="c"),
    }
    file = data.draw(st.sampled_from(sorted(sound)))
    content = sound[file].encode()
    for _ in range(data.draw(st.integers(1, 2))):
        content = bent(content, data) if content else b""
    (root.root / file).write_bytes(content)
    try:
        check_campaign(root, "c", built_tests=built_tests(), known_choices=known_choices(), logs=False)
    except InputError as error:
        assert complete(error.faults), error.faults
        assert all(fault.file.startswith("runs/") for fault in error.faults)
    finally:
        (root.root / file).write_text(sound[file])


def test_a_notebooks_defaults_are_absent_keys() -> None:
    values = compose_text(EVERY_TEST, "f.yaml").values
    keys = ("drive", "choices", "claims", "reply", "text", "campaigns")
    campaign = validated(Campaign, values | dict.fromkeys(keys), Places("parameters", {}))
    assert campaign.drive is None
    assert campaign.claims == ()


@pytest.mark.parametrize("model", [Lab, RigFile, Campaign])
def test_every_field_is_explained_with_an_example(model: type[Model]) -> None:
    schema = model.model_json_schema(by_alias=True)
    parts = [schema, *schema.get("$defs", {}).values()]
    for part in parts:
        for name, field in part.get("properties", {}).items():
            assert field.get("description"), f"{part['title']}.{name}"
            assert "examples" in field, f"{part['title']}.{name}"
