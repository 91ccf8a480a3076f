"""JSON Schema of the three files, for editors that complete and check while one types."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from benchproof.campaign.models.campaign import Campaign
from benchproof.campaign.models.lab import Lab
from benchproof.campaign.models.rig import RigFile

if TYPE_CHECKING:
    from benchproof.campaign.models.base import Model


def schemas() -> dict[str, dict[str, Any]]:
    """Return the schemas of lab, rig and campaign files, made from the models that read them."""
    models: dict[str, type[Model]] = {"lab": Lab, "rig": RigFile, "campaign": Campaign}
    return {name: model.model_json_schema(by_alias=True) for name, model in models.items()}
