"""A campaign as a comparison sees it: what was tested, on what, and its figures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from benchproof.campaign.models.base import required

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from benchproof.campaign.models.campaign import Campaign, Specimen
    from benchproof.campaign.models.rig import RigFile
    from benchproof.methods.records import Figure
    from benchproof.trials.quantity import Quantity

    Settle = Callable[["Entrant", Figure], Quantity | None]
    """Gives the quantity of a figure that is compared, such as the model's with a pooled spread."""

MEANS: Final = ("propeller", "flywheel")
"""Keys of an operating point that name what turned, not where the figure was read."""


@dataclass(frozen=True, slots=True)
class Entrant:
    """One campaign in a comparison.

    Parameters
    ----------
    campaign : Campaign
        Its file.
    rig : RigFile
        Its rig's file.
    figures : tuple of Figure
        Its figures, each sample's and the model's (``sample=None``).
    words : str
        How it is called where the model's name does not tell it from another campaign.
    """

    campaign: Campaign
    rig: RigFile
    figures: tuple[Figure, ...]
    words: str = ""

    @property
    def name(self) -> str:
        """The campaign's name."""
        return self.campaign.campaign

    @property
    def specimen(self) -> Specimen:
        """What was tested."""
        return required(self.campaign.specimen)

    @property
    def label(self) -> str:
        """The model's name, as legends have it."""
        return self.words or self.specimen.model

    @property
    def golden(self) -> frozenset[str]:
        """The marks of pieces of an earlier batch that were tested again beside this one."""
        return frozenset(sample.id for sample in self.specimen.samples if sample.golden)

    @property
    def batches(self) -> str:
        """The batches of the pieces that stand for the model, in words."""
        known = (sample.batch for sample in self.specimen.samples if not sample.golden)
        return ", ".join(dict.fromkeys(batch or "not stated" for batch in known))

    @property
    def drive(self) -> tuple[tuple[str, str], ...] | None:
        """Model, firmware, timing and switching frequency of the drive as written; None if it was not stated."""
        if self.campaign.drive is None or self.campaign.drive not in self.rig.drives:
            return None
        drive = self.rig.drives[self.campaign.drive]
        facts = {
            "model": drive.model,
            "firmware": drive.firmware,
            "timing": drive.timing.text if drive.timing else None,
            "pwm": drive.pwm.text if drive.pwm else None,
        }
        return tuple((key, value if value is not None else "not stated") for key, value in facts.items())

    @property
    def drive_words(self) -> str:
        """Drive, firmware and timing in a line."""
        if self.drive is None:
            return "drive not stated"
        facts = dict(self.drive)
        return f"{facts['model']}, firmware {facts['firmware']}, timing {facts['timing']}"

    def pieces(self, figure: Figure) -> tuple[Figure, ...]:
        """Return the figures of the pieces that stand for the model, for one of its figures."""
        same = (f for f in self.figures if f.name == figure.name and dict(f.at) == dict(figure.at))
        return tuple(f for f in same if f.sample is not None and f.sample not in self.golden)

    def of(self, name: str, at: Mapping[str, str], sample: str | None = None) -> tuple[Figure, ...]:
        """Return the figures of a name at a place, whatever propeller or flywheel they were read with."""
        place = where(at)
        return tuple(f for f in self.figures if f.name == name and f.sample == sample and where(f.at) == place)


def told_from_each_other(entrants: Sequence[Entrant]) -> tuple[Entrant, ...]:
    """Return campaigns whose words tell them apart: by batch where models are alike, else by campaign."""
    models = [entrant.specimen.model for entrant in entrants]
    batches = [f"{entrant.specimen.model}, batch {entrant.batches}" for entrant in entrants]

    def words(k: int) -> str:
        if models.count(models[k]) == 1:
            return ""
        return batches[k] if batches.count(batches[k]) == 1 else f"{models[k]} ({entrants[k].name})"

    return tuple(replace(entrant, words=words(k)) for k, entrant in enumerate(entrants))


def where(at: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Return an operating point without what turned; the whole motor is the part that has no name."""
    kept = ((key, value) for key, value in at.items() if key not in MEANS)
    return tuple(pair for pair in kept if pair != ("part", "motor"))
