"""A comparison's file: what it may name, and what is said of what it may not."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from benchproof.campaign.check import check_campaign, check_parameters
from benchproof.campaign.checked import CheckedComparison
from benchproof.campaign.workspace import Workspace
from benchproof.errors import InputError
from benchproof.methods import built_tests, known_choices
from workspaces import sweep_log, write_workspace

GOOD = """\
kind: comparison
campaign: both
title: Both
campaigns: [2026-03-a, 2026-03-b]
text: |
  {{ quote("mass", of="2026-03-a") }}, {{ quote("mass", of="2026-03-a", than="2026-03-b") }} than the other.
"""


def checked(root: Path, text: str) -> object:
    (root / "runs" / "both").mkdir(exist_ok=True)
    (root / "runs" / "both" / "campaign.yaml").write_text(text)
    return check_campaign(Workspace(root), "both", built_tests=built_tests(), known_choices=known_choices(), logs=False)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return write_workspace(tmp_path, "2026-03-a", "2026-03-b", log=sweep_log(levels=4, rate=5.0))


def test_a_comparison_declares_its_campaigns_files(root: Path) -> None:
    found = checked(root, GOOD)
    assert isinstance(found, CheckedComparison)
    assert [member.campaign.campaign for member in found.members] == ["2026-03-a", "2026-03-b"]
    assert {"runs/both/campaign.yaml", "runs/2026-03-b/raw/sweep.csv", "runs/rigs/bench/rig.yaml"} <= set(found.inputs)
    assert found.sections == {"batches"}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("2026-03-b]", "2026-03-c]", 'campaigns[1]: found "2026-03-c"'),
        ("[2026-03-a, 2026-03-b]", "[2026-03-a, 2026-03-a]", "each once"),
        ("[2026-03-a, 2026-03-b]", "[2026-03-a]", "two campaigns or more"),
        ("2026-03-b]", "both]", 'found "both"'),
        (', of="2026-03-a") }},', ") }},", "a quote without of="),
        ('than="2026-03-b"', 'than="2026-03-x"', 'found "2026-03-x"'),
        ("title: Both", "title: Both\nrig: bench", "rig: in a comparison"),
        (
            "title: Both",
            'title: Both\nclaims: [{say: "Heavy", quantity: mass, relation: more, than: "30 g"}]',
            "Move each claim to the campaign it is about.",
        ),
    ],
)
def test_what_it_may_not_say_is_named(root: Path, old: str, new: str, said: str) -> None:
    assert old in GOOD
    with pytest.raises(InputError) as caught:
        checked(root, GOOD.replace(old, new, 1))
    assert any(said in str(fault) for fault in caught.value.faults), caught.value.faults


def test_a_motors_text_quotes_its_own_campaign(root: Path) -> None:
    path = root / "runs" / "2026-03-a" / "campaign.yaml"
    path.write_text(path.read_text().replace('quote("mass")', 'quote("mass", of="2026-03-b")'))
    with pytest.raises(InputError, match=r"of= in a comparison alone"):
        checked(root, GOOD)


def test_faults_of_a_campaign_compared_are_the_comparisons(root: Path) -> None:
    path = root / "runs" / "2026-03-b" / "campaign.yaml"
    path.write_text(path.read_text().replace("propeller: ref", "propeller: gone"))
    with pytest.raises(InputError, match=r"2026-03-b/campaign.yaml.*gone"):
        checked(root, GOOD)


def test_a_campaign_compared_may_look_at_others_that_its_scratch_workspace_has_not(root: Path) -> None:
    path = root / "runs" / "2026-03-b" / "campaign.yaml"
    claim = 'claims: [{say: "Heavy", quantity: mass, relation: more, than: 2026-01-elsewhere}]\n'
    path.write_text(path.read_text() + claim)
    with pytest.raises(InputError, match="2026-01-elsewhere"):
        checked(root, GOOD)
    values = yaml.safe_load(GOOD)
    found = check_parameters(Workspace(root), values, built_tests=built_tests(), known_choices=known_choices())
    assert isinstance(found, CheckedComparison)
