"""An airframe that motors are judged for: what it weighs without them, its pack, and how it is flown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Self

from pydantic import model_validator

from benchproof.campaign.models.base import Model, doc
from benchproof.campaign.models.values import Energy, Mass, Ratio, Time, Voltage
from benchproof.campaign.problems import Problem, refuse
from benchproof.campaign.units import read_measured

if TYPE_CHECKING:
    from collections.abc import Iterator

_WHOLE: Final = 1 + 1e-9


class Needs(Model):
    """What the airframe must reach; without a need nothing is called unsuitable for missing it."""

    thrust_to_weight: float | None = doc("least thrust over weight at full throttle", 4.0, default=None, gt=0)
    flight_time: Time | None = doc("least time of a flight", "240 s", default=None)


class Airframe(Model):
    """One airframe; every part of it is the lab's to state."""

    mass: Mass = doc("all-up mass without the motors, pack included", "520 g")
    motors: int = doc("number of motors", 4, ge=1, le=24)
    pack_energy: Energy = doc("energy of the full pack", "22 W*h")
    pack_voltage: Voltage = doc("voltage of the pack under load", "14.8 V")
    usable: Ratio = doc("share of the pack's energy that a flight uses", "80 %", default=read_measured("80 %", "ratio"))
    hover_share: Ratio = doc("share of the flight in hover", "80 %")
    full_throttle_share: Ratio = doc("share of the flight at full throttle", "20 %")
    needs: Needs = doc("what it must reach", {"thrust_to_weight": 4.0}, default=Needs())

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        refuse(self._problems())
        return self

    def _problems(self) -> Iterator[Problem]:
        together = self.hover_share.si + self.full_throttle_share.si
        if not 1 / _WHOLE <= together <= _WHOLE:
            found = f"{self.hover_share.text} and {self.full_throttle_share.text}"
            expected = "hover_share and full_throttle_share that make 100 % together"
            yield Problem(found, expected, "Correct one of the two.", ("full_throttle_share",))
        if not 0 < self.usable.si <= 1:
            yield Problem(self.usable.text, "a share from 0 % to 100 %", "Correct it.", ("usable",))
