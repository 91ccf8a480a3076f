"""Cross-talk in rig files and its loadings: what cannot be used is named."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from benchproof.campaign.calibration_files import read_loadings
from benchproof.campaign.check import check_campaign
from benchproof.campaign.faults import validated
from benchproof.campaign.models.rig import RigFile
from benchproof.campaign.workspace import Workspace
from benchproof.campaign.yaml import Places
from benchproof.errors import InputError
from benchproof.methods import built_tests, known_choices
from stands import CROSS_TALK, with_stand

if TYPE_CHECKING:
    from pathlib import Path

ENTRY = {
    "file": "calibration/stand.csv",
    "dated": "2026-01-10",
    "expires": "2026-07-10",
    "thrust": {"instrument": "cell", "applied_unit": "N", "indicated_unit": "N"},
    "torque": {"instrument": "torque", "applied_unit": "N*m", "indicated_unit": "N*m"},
}
INSTRUMENTS = {"cell": {"measures": "thrust"}, "torque": {"measures": "torque"}}


def rig(*entries: dict) -> RigFile:
    values = {"rig": "north", "instruments": INSTRUMENTS, "cross_talk": list(entries)}
    return validated(RigFile, values, Places("rig.yaml", {}))


@pytest.mark.parametrize(
    ("change", "place", "sentence"),
    [
        ({"thrust": {**ENTRY["thrust"], "instrument": "sell"}}, "thrust.instrument", "Write cell."),
        ({"thrust": {**ENTRY["thrust"], "instrument": "torque"}}, "thrust.instrument", "one of cell"),
        ({"torque": {**ENTRY["torque"], "applied_unit": "g"}}, "torque.applied_unit", "masses without an arm:"),
        ({"torque": {**ENTRY["torque"], "indicated_unit": "V"}}, "torque.indicated_unit", "N*m"),
        ({"expires": "2026-01-09"}, "expires", "a day after 2026-01-10"),
    ],
)
def test_a_loading_that_does_not_fit_the_rig_is_named(change: dict, place: str, sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        rig(ENTRY | change)
    (fault,) = caught.value.faults
    assert fault.place == f"cross_talk[0].{place}"
    assert sentence in str(fault)


def test_two_loadings_of_one_day_are_refused_and_the_latest_in_force_applies() -> None:
    with pytest.raises(InputError, match="two cross_talk of 2026-01-10"):
        rig(ENTRY, ENTRY)
    later = ENTRY | {"file": "calibration/later.csv", "dated": "2026-03-01", "expires": "2026-09-01"}
    both = rig(ENTRY, later)
    chosen = [both.cross_talk_on(date(2026, month, 1)) for month in (2, 3, 9)]
    assert [entry.file if entry else None for entry in chosen] == [
        "calibration/stand.csv",
        "calibration/later.csv",
        None,
    ]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "an empty file"),
        (CROSS_TALK.replace("torque_indicated", "torque_shown"), "one column torque_indicated"),
        (CROSS_TALK.replace("0,0.3,", "0,0,3,", 1), "more cells than columns"),
        (CROSS_TALK.replace("\n4,", "\nfour,", 1), 'found "four"'),
        ("\n".join(CROSS_TALK.splitlines()[:2]), "1 rows"),
    ],
)
def test_a_file_of_loadings_that_cannot_be_read_is_named(tmp_path: Path, text: str, sentence: str) -> None:
    path = tmp_path / "stand.csv"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_loadings(path, "stand.csv")
    assert sentence in str(caught.value)


def test_check_reads_the_loadings_and_the_campaign_declares_them(tmp_path: Path) -> None:
    root = with_stand(tmp_path)
    found = check_campaign(
        Workspace(root), "2026-03-a", built_tests=built_tests(), known_choices=known_choices(), logs=False
    )
    assert "runs/rigs/bench/calibration/stand.csv" in found.inputs
    (root / "runs" / "rigs" / "bench" / "calibration" / "stand.csv").unlink()
    with pytest.raises(InputError, match=r"stand\.csv: found no such file"):
        check_campaign(
            Workspace(root), "2026-03-a", built_tests=built_tests(), known_choices=known_choices(), logs=False
        )
