"""Check weights of a campaign's days: failed ones and missing ones are named."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from benchproof.campaign.check import check_campaign
from benchproof.campaign.workspace import Workspace
from benchproof.methods import built_tests, known_choices
from benchproof.methods.bench import Bench
from benchproof.methods.session_checks import check_remarks
from benchproof.trials.engine import Trials
from workspaces import RIG, write_workspace

if TYPE_CHECKING:
    from pathlib import Path


def bench_with(root: Path, check: str) -> Bench:
    write_workspace(root)
    text = RIG.replace('resolution: "0.005 N"}]', f'resolution: "0.005 N"}}]\n    checks: [{check}]')
    assert text != RIG
    (root / "runs" / "rigs" / "bench" / "rig.yaml").write_text(text)
    checked = check_campaign(
        Workspace(root), "2026-03-a", built_tests=built_tests(), known_choices=known_choices(), logs=False
    )
    return Bench(checked.lab, checked.rig, checked.campaign, Trials(1, 2000), checked.log, checked.table)


@pytest.mark.parametrize(
    ("check", "code", "words"),
    [
        ('{date: 2026-03-02, applied: {value: "1 kg", standard: "0.05 g"}, indicated: "998.0 gf"}', None, ""),
        (
            '{date: 2026-03-02, applied: {value: "1 kg", standard: "0.05 g"}, indicated: "985.0 gf"}',
            "check_failed",
            "the check weight 1 kg of 2026-03-02 fails on cell: E_n = -",
        ),
        (
            '{date: 2026-03-01, applied: {value: "1 kg", standard: "0.05 g"}, indicated: "998.0 gf"}',
            "check_missing",
            "cell was not checked with its weight on 2026-03-02",
        ),
    ],
)
def test_a_failed_or_missing_check_is_named(tmp_path: Path, check: str, code: str | None, words: str) -> None:
    remarks = check_remarks(bench_with(tmp_path, check))
    assert [remark.code for remark in remarks] == ([code] if code else [])
    assert all(words in remark.message and remark.where == "cell" for remark in remarks)
