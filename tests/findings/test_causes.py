"""Why a figure moved, and what one version of a method makes of the figures of another."""

from __future__ import annotations

import math

import pytest

from benchproof.findings.bridging import bridges, log_ratios
from benchproof.findings.causes import NOTHING_RECORDED, Origin, all_causes, causes
from benchproof.findings.moves import key_of

LOG = "runs/2026-03-a/raw/sweep.csv"


def origin(**changed) -> Origin:
    base = {
        "methods": {"thrust_sweep": "1.0", "weighing": "1.0"},
        "choices": {"thrust_sweep": {"settle": "0.5 s"}},
        "software": {"benchproof": "0.1.0"},
        "inputs": {
            "runs/lab.yaml": "sha256:1", "runs/rigs/r/rig.yaml": "sha256:2", "runs/rigs/r/calibration/c.csv": "sha256:3",
            "runs/2026-03-a/campaign.yaml": "sha256:4", LOG: "sha256:5",
        },
        "measured": "sha256:6",
    }  # fmt: skip
    return Origin(**{**base, **changed})


def said(old: Origin, new: Origin, method: str = "thrust_sweep/1.0") -> list[tuple[str, str]]:
    return [(cause.kind, cause.what) for cause in causes(old, new, method)]


def test_a_method_version_moves_its_own_figures_only() -> None:
    new = origin(methods={"thrust_sweep": "1.1", "weighing": "1.0"})
    assert said(origin(), new) == [("method", "thrust_sweep 1.0 to 1.1")]
    assert causes(origin(), new, "weighing/1.0") == (NOTHING_RECORDED,)


def test_a_choice_is_told_as_such_and_not_as_a_changed_file() -> None:
    inputs = {**origin().inputs, "runs/2026-03-a/campaign.yaml": "sha256:9"}
    new = origin(choices={"thrust_sweep": {"settle": "1 s"}}, inputs=inputs)
    assert said(origin(), new) == [("choice", "settle of thrust_sweep: 0.5 s to 1 s")]


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("runs/lab.yaml", "lab"),
        ("runs/rigs/r/rig.yaml", "rig"),
        ("runs/rigs/r/calibration/c.csv", "calibration"),
        (LOG, "log"),
    ],
)
def test_files_are_told_by_what_they_are(path: str, kind: str) -> None:
    new = origin(inputs={**origin().inputs, path: "sha256:9"})
    assert said(origin(), new) == [(kind, f"{path} changed")]


def test_a_reading_corrected_in_the_campaign_file_is_a_cause() -> None:
    inputs = {**origin().inputs, "runs/2026-03-a/campaign.yaml": "sha256:9"}
    assert said(origin(), origin(inputs=inputs, measured="sha256:0"))[0][0] == "campaign"


def test_several_causes_are_named_together_in_a_fixed_order() -> None:
    new = origin(software={"benchproof": "0.2.0"}, inputs={**origin().inputs, LOG: "sha256:0"})
    assert [kind for kind, _ in said(origin(), new)] == ["log", "software"]
    assert all_causes(origin(), origin()) == ()


def test_a_file_added_or_taken_out_is_told() -> None:
    fewer = {path: digest for path, digest in origin().inputs.items() if path != LOG}
    assert said(origin(), origin(inputs=fewer)) == [("log", f"{LOG} taken out")]
    assert said(origin(inputs=fewer), origin()) == [("log", f"{LOG} added")]


def entry(value: float, version: str, point: str = "100 W", sample: str | None = None) -> dict:
    return {"name": "thrust", "at": {"electrical_power": point}, "sample": sample, "value": value,
            "method": f"thrust_sweep/{version}"}  # fmt: skip


def ratios(pairs: list[tuple[float, float]]) -> dict:
    old = [entry(was, "1.0", f"{k} W") for k, (was, _) in enumerate(pairs)]
    new = [entry(now, "1.1", f"{k} W") for k, (_, now) in enumerate(pairs)]
    return log_ratios({key_of(e): e for e in old}, {key_of(e): e for e in new})


def test_the_bridge_is_the_mean_over_campaigns_with_students_interval() -> None:
    """Log ratios 0.01, 0.02, 0.03: mean 0.02, s = 0.01, t(2) = 4.303 (tabulated), half-width 0.02484."""
    each = [ratios([(10.0, 10.0 * math.exp(shift)), (4.0, 4.0 * math.exp(shift))]) for shift in (0.01, 0.02, 0.03)]
    (bridge,) = bridges(each)
    assert (bridge.method, bridge.old, bridge.new, bridge.name, bridge.campaigns) == (
        "thrust_sweep",
        "1.0",
        "1.1",
        "thrust",
        3,
    )
    assert bridge.ratio == pytest.approx(math.exp(0.02))
    assert bridge.interval == pytest.approx((math.exp(0.02 - 0.02484), math.exp(0.02 + 0.02484)), rel=1e-5)


def test_one_campaign_has_a_ratio_and_no_interval() -> None:
    (bridge,) = bridges([ratios([(10.0, 11.0)])])
    assert bridge.interval is None


def test_samples_and_methods_that_kept_their_version_are_no_bridge() -> None:
    old, new = entry(1.0, "1.0", sample="A"), entry(2.0, "1.1", sample="A")
    assert log_ratios({key_of(old): old}, {key_of(new): new}) == {}
    old, new = entry(1.0, "1.0"), entry(2.0, "1.0")
    assert log_ratios({key_of(old): old}, {key_of(new): new}) == {}


def test_a_moved_spread_of_pieces_is_the_cause_of_its_own_figure_alone() -> None:
    old = origin(spreads={"mass": "0.24 % (6 degrees of freedom)", "thrust at electrical_power 200 W": "1 %"})
    new = origin(spreads={"mass": "0.27 % (7 degrees of freedom)", "thrust at electrical_power 200 W": "1 %"})
    (cause,) = causes(old, new, "weighing/1.0", "mass")
    assert (cause.kind, cause.what) == (
        "spread",
        "the archive's spread of pieces, mass: 0.24 % (6 degrees of freedom) to 0.27 % (7 degrees of freedom)",
    )
    assert causes(old, new, "thrust_sweep/1.0", "thrust at electrical_power 200 W") == (NOTHING_RECORDED,)
    assert [each.what for each in all_causes(old, new)] == ["the archive's spread of pieces"]
    assert causes(origin(), new, "weighing/1.0", "mass")[0].what.endswith("mass: none to 0.27 % (7 degrees of freedom)")
