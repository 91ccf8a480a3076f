"""Campaigns without files: a specimen, a rig, and figures with known sources of error."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from benchproof.campaign.models.campaign import Campaign
from benchproof.campaign.models.rig import RigFile
from benchproof.findings.entrants import Entrant
from benchproof.findings.samples import with_model
from benchproof.methods.records import Figure
from benchproof.trials.distributions import NORMAL
from benchproof.trials.engine import Source, Trials
from benchproof.trials.quantity import Quantity, combine

AT_200 = {"electrical_power": "200 W"}
RIG = {
    "rig": "north",
    "instruments": {"balance": {"measures": "mass", "errors": [{"repeatability": "0.01 g"}]}},
    "propellers": {
        "ref": {"serial": "P1", "diameter": "129.5 mm", "blades": 3, "pitch": "114 mm"},
        "other": {"serial": "P2", "diameter": "129.5 mm", "blades": 3, "pitch": "114 mm"},
    },
    "drives": {
        "slow": {"model": "Invented 45", "firmware": "1.0", "timing": "16 deg"},
        "fast": {"model": "Invented 45", "firmware": "1.0", "timing": "24 deg"},
    },
    "logs": {},
}


def entrant(
    name: str,
    figures: Mapping[tuple[str, str], Quantity],
    trials: Trials,
    *,
    rig: str = "north",
    propeller: str = "ref",
    drive: str | None = "slow",
    at: Mapping[str, Mapping[str, str]] | None = None,
    **more: Any,
) -> Entrant:
    """Return a campaign with figures by name and sample; `more` goes into the campaign's file."""
    samples = list(dict.fromkeys(sample for _, sample in figures))
    claims = more.pop("claims", [])
    tested = more.pop("tested", "2026-03-02")
    specimen = {"maker": "Invented Works", "model": name, "source": "bought", **more.pop("specimen", {})}
    specimen.setdefault("samples", [{"id": sample} for sample in samples])
    campaign = Campaign.model_validate(
        {
            "kind": "motor",
            "campaign": name,
            "title": name,
            "dates": {"tested": tested},
            "rig": rig,
            "drive": drive,
            "specimen": specimen,
            "tests": [
                {"test": "thrust_sweep", "sample": sample, "log": f"raw/{sample}.csv", "propeller": propeller}
                for sample in samples
            ],
            "claims": claims,
            **more,
        }
    )
    places = {"thrust": AT_200, **(at or {})}
    made = [
        Figure(quantity, places.get(quantity, {}), sample, value, _method(quantity), ())
        for (quantity, sample), value in figures.items()
    ]
    golden = {sample.id for sample in campaign.specimen.samples if sample.golden} if campaign.specimen else set()
    listed = with_model(made, name, trials, golden=golden)
    return Entrant(campaign, RigFile.model_validate({**RIG, "rig": rig}), listed)


def _method(quantity: str) -> str:
    return "weighing/1.0" if quantity == "mass" else "no_load/1.0" if quantity == "kv_no_load" else "thrust_sweep/1.0"


def measured(
    value: float,
    own: str,
    trials: Trials,
    *,
    scale: float = 0.01,
    noise: float = 0.003,
    scope: tuple[str, ...] = ("north", "cell", "scale", "calibration:1"),
) -> Quantity:
    """Return a figure with a scale error of some scope and noise of its own, both relative and normal."""
    gain = Quantity.of(1.0, scale, Source(scope, "scale of cell", NORMAL), trials)
    scatter = Quantity.of(value, noise * value, Source((own, "noise"), "noise", NORMAL), trials)
    return combine(np.multiply, gain, scatter)
