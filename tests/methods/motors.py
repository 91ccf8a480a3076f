"""What tests of the motor's constants share: a bench without error, typed tests, and figures by name."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import yaml

from benchmarks.constants_coverage import open_campaign, reduced
from simulator.campaigns import Bench as Truth
from simulator.demo import DRIVE, PROPELLERS, STORIES, SUPPLY
from simulator.demo_words import RIG
from simulator.instruments import Rig
from simulator.streams import stream

if TYPE_CHECKING:
    from benchproof.methods.bench import Bench
    from benchproof.methods.records import Figure
    from benchproof.trials.quantity import Quantity

STEADY = replace(STORIES[0].model, saturation=0.0)
"""A motor whose torque constant does not change with current: both sides of an identity are exact."""


def error_free(description: dict[str, Any] | None = None, **errors: list[dict[str, Any]]) -> Truth:
    """Return a bench whose instruments err only as said by the name of what they measure."""
    plain = description or yaml.safe_load(RIG)
    for raw in plain["instruments"].values():
        raw.pop("errors", None)
        raw.pop("calibrations", None)
        if raw["measures"] in errors:
            raw["errors"] = errors[raw["measures"]]
    return Truth(Rig.drawn(plain, stream(4, "plain")), STEADY, {"A": STEADY, "B": STEADY}, PROPELLERS, DRIVE, SUPPLY)


def opened(truth: Truth, tests: list[dict[str, Any]], points: dict[str, list[str]] | None = None, **more: Any) -> Bench:
    """Return a campaign opened with a thousand trials."""
    return open_campaign(truth, tests, 1000, points, **more)


def figure(bench: Bench, key: str, name: str, sample: str = "A", **at: str) -> Figure:
    """Return a sample's figure of a method."""
    found = reduced(bench, key).figures
    return next(f for f in found if (f.name, f.sample, dict(f.at)) == (name, sample, at))


def value(bench: Bench, key: str, name: str, sample: str = "A", **at: str) -> Quantity:
    """Return a sample's figure of a method, which must have a value."""
    quantity = figure(bench, key, name, sample, **at).quantity
    assert quantity is not None
    return quantity


def codes(bench: Bench, key: str) -> list[str]:
    """Return the codes of a method's remarks."""
    return [remark.code for remark in reduced(bench, key).remarks]
