"""Files people write: all faults together, each with line, field, found, expected and remedy."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchproof.campaign.check import check_campaign
from benchproof.campaign.faults import validated
from benchproof.campaign.models.campaign import Campaign
from benchproof.campaign.models.lab import Lab
from benchproof.campaign.models.rig import RigFile
from benchproof.campaign.schema import schemas
from benchproof.campaign.workspace import Workspace
from benchproof.campaign.yaml import compose_text
from benchproof.errors import InputError
from benchproof.methods import built_tests, known_choices
from workspaces import CALIBRATION, CAMPAIGN, LAB, RIG, sweep_log, write_workspace

if TYPE_CHECKING:
    from pathlib import Path

GOOD = CAMPAIGN.format(name="2026-03-a")
SHORT_LOG = sweep_log(levels=5, rate=10.0)


def checked(root: Path):
    return check_campaign(Workspace(root), "2026-03-a", built_tests=built_tests(), known_choices=known_choices())


def faults_of(root: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        checked(root)
    return [str(fault) for fault in caught.value.faults]


def test_a_good_workspace_is_good(tmp_path: Path) -> None:
    found = checked(write_workspace(tmp_path))
    assert found.campaign.specimen.samples[0].id == "A1"
    assert next(iter(found.inputs)) == "runs/lab.yaml"
    assert all(digest.startswith("sha256:") for digest in found.inputs.values())


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            '"32.41 g"',
            '"32,41 g"',
            (
                'tests[0].readings[0]: found "32,41 g" with a comma; expected a mass with its unit, such as "32.41 g". '
                "Write a decimal point, and no mark between thousands."
            ),
        ),
        (
            "source: bought",
            "source: buyed",
            'specimen.source: found "buyed"; expected one of bought, supplied, loan.',
        ),
        (
            "propeller: ref",
            "propeller: reff",
            'tests[1].propeller: found "reff"; expected a propeller of the rig: ref. Write ref.',
        ),
        (
            "pole_pairs: 7",
            "pole_pair: 7",
            "specimen.pole_pair: found the unknown key pole_pair; expected one of maker,",
        ),
        ("sample: A1, part", "sample: A9, part", 'tests[0].sample: found "A9"; expected one of A1.'),
        ("tested: 2026-03-02", "tested: 2026-09-02", "cell without a calibration in force on 2026-09-02"),
        ("tested: 2026-03-02", "tested: 2026-02-30", "There is no such day in the calendar."),
        ("raw/sweep.csv", "raw/../../lab.yaml", "tests[1].log: found"),
        ("raw/sweep.csv", "raw/other.csv", "raw/other.csv: found no such file"),
        (
            "rig: bench",
            "rig: bank",
            'rig: found "bank"; expected a rig of the workspace. Make runs/rigs/bank/rig.yaml',
        ),
        (
            'quote("mass")',
            'quote("mas")',
            'text: found {{ quote("mas") }}; expected a figure of the nomenclature, not mas. Write mass.',
        ),
        ('quote("mass")', "7 * 6", "Only quote(…) with texts in double quotes may stand in double braces."),
        (
            'electrical_power="100 W"',
            'electrical_power="120 W"',
            "electrical_power that the lab quotes: 100 W",
        ),
        (
            "kind: motor",
            "kind: pack",
            "kind: found pack; expected kind: motor or comparison in this version. This kind is not built yet.",
        ),
        (
            "campaign: 2026-03-a",
            "campaign: other",
            'campaign: found "other"; expected the name of its folder, "2026-03-a".',
        ),
        (
            '"32.41 g", "32.40 g", "32.42 g"',
            "",
            "tests[0].readings: found a list of 0; expected at least 1 items",
        ),
    ],
)
def test_a_fault_says_where_what_and_what_to_do(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    root = write_workspace(tmp_path, log=SHORT_LOG)
    assert old in GOOD
    (root / "runs" / "2026-03-a" / "campaign.yaml").write_text(GOOD.replace(old, new, 1))
    found = faults_of(root)
    assert any(sentence in line for line in found), found


def test_several_faults_are_reported_together_in_the_order_of_the_file(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=SHORT_LOG)
    text = GOOD.replace("source: bought", "source: found").replace('"32.40 g"', "32.40").replace("20 degC", "20 C")
    (root / "runs" / "2026-03-a" / "campaign.yaml").write_text(text)
    found = faults_of(root)
    assert len(found) == 3
    assert found == sorted(found, key=lambda line: int(line.split(":")[1]))


def test_two_readings_without_a_stated_repeatability_are_refused(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=SHORT_LOG)
    rig = root / "runs" / "rigs" / "bench" / "rig.yaml"
    rig.write_text(RIG.replace(', {repeatability: "0.006 g"}', ""))
    assert any("at least 4 readings" in line for line in faults_of(root))


def test_a_test_that_is_not_built_is_said_plainly(tmp_path: Path) -> None:
    root = write_workspace(tmp_path, log=SHORT_LOG)
    more = "  - {test: pack_pulse, sample: A1, log: raw/sweep.csv, layout: {time: {column: t_ms, unit: ms}}}\ntext"
    (root / "runs" / "2026-03-a" / "campaign.yaml").write_text(GOOD.replace("text", more, 1))
    assert [r.message for r in checked(root).remarks if r.code == "not_built"] == [
        "the test pack_pulse is not built in this version: its figures are left out"
    ]


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    root = write_workspace(tmp_path / "w", log=SHORT_LOG)
    secret = tmp_path / "secret.csv"
    secret.write_text(SHORT_LOG)
    log = root / "runs" / "2026-03-a" / "raw" / "sweep.csv"
    log.unlink()
    log.symlink_to(secret)
    assert any("a link out of its folder" in line for line in faults_of(root))


def test_editors_get_a_schema_of_every_file() -> None:
    found = schemas()
    assert set(found) == {"lab", "rig", "campaign"}
    assert "tests" in found["campaign"]["properties"]
    assert found["lab"]["additionalProperties"] is False


BASES = {"lab": (Lab, LAB), "rig": (RigFile, RIG), "campaign": (Campaign, GOOD)}
PIECES = [
    "",
    "0",
    "no",
    "012",
    "1e3",
    "nan",
    "[",
    "{",
    "}",
    ":",
    "- ",
    "&a ",
    "*a",
    "!!x ",
    '"',
    "'",
    "%",
    "\t",
    "\x00",
    "é",
    "\u202e",
    "<script>",
    "9" * 400,
    "null",
    "- - - -",
    "1,5 V",
    "3 Nm",
    "2026-13-01",
    "\ud7ff",
]


@settings(max_examples=450, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(sorted(BASES)), st.data())
def test_damaged_files_give_faults_and_nothing_else(kind: str, data) -> None:
    model, text = BASES[kind]
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        cut = data.draw(st.sampled_from([0, 0, 1, 3, 12, 60]))
        text = text[:at] + data.draw(st.sampled_from(PIECES)) + text[at + cut :]
    try:
        document = compose_text(text, "f.yaml")
        validated(model, document.values, document.places)
    except InputError as error:
        assert error.faults
        for fault in error.faults:
            assert fault.found
            assert fault.expected
            assert fault.remedy
            assert len(str(fault)) < 3000


@settings(max_examples=80, deadline=None, derandomize=True)
@given(data=st.data())
def test_damaged_calibration_files_give_faults_and_nothing_else(tmp_path_factory, data) -> None:
    from benchproof.campaign.calibration_files import read_calibration

    at = data.draw(st.integers(0, len(CALIBRATION)))
    text = CALIBRATION[:at] + data.draw(st.sampled_from(PIECES)) + CALIBRATION[at + data.draw(st.integers(0, 30)) :]
    path = tmp_path_factory.mktemp("c") / "c.csv"
    path.write_text(text, encoding="utf-8", errors="replace")
    try:
        read_calibration(path, "c.csv")
    except InputError as error:
        assert all(f.found and f.expected and f.remedy for f in error.faults)
