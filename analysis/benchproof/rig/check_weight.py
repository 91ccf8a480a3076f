"""The check weight: a known load, read before a session, to see that a calibration still holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from benchproof.campaign.units import spellings
from benchproof.rig.build import gravity_at
from benchproof.rig.instrument import Occasion
from benchproof.rig.loads import errors_of, force_of_mass, torque_of_force
from benchproof.trials.distributions import NORMAL, RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Part, Quantity, combine

if TYPE_CHECKING:
    from benchproof.campaign.models.calibrations import CheckWeight
    from benchproof.campaign.models.rig import RigFile
    from benchproof.rig.instrument import Instrument
    from benchproof.trials.engine import Trials

EXPANDED: Final = 2.0
"""Coverage factor of both uncertainties in E_n (ISO 13528 [from memory])."""


@dataclass(frozen=True, slots=True)
class CheckResult:
    """A check weight, judged.

    Parameters
    ----------
    read, reference : Quantity
        What the instrument made of the load, and the load, SI.
    normalised : float
        ``E_n = (read - reference) / sqrt(U_read^2 + U_reference^2)``, both U with k = 2.
    """

    read: Quantity
    reference: Quantity
    normalised: float

    @property
    def passed(self) -> bool:
        """Whether ``|E_n| <= 1``: read and stated load agree within their uncertainties."""
        return abs(self.normalised) <= 1


def judge_check(rig: RigFile, instrument: Instrument, check: CheckWeight, trials: Trials) -> CheckResult:
    """Judge one check weight.

    Parameters
    ----------
    rig : RigFile
        For gravity.
    instrument : Instrument
        Under the calibration in force that day.
    check : CheckWeight
        As the rig file states it.
    trials : Trials
        The laboratory's trials.

    Raises
    ------
    InputError
        If a mass was used and the rig's place is not stated.
    """
    occasion = Occasion(rig.rig, "check weight", instrument.name, check.date)
    with_load = instrument.reading([check.indicated.si], occasion, "with the load", trials).quantity
    without = instrument.reading([0.0], occasion, "without the load", trials).quantity
    read = combine(np.subtract, with_load, without)
    reference = _reference(rig, instrument, check, trials)
    expanded = EXPANDED * float(np.hypot(read.standard_uncertainty, reference.standard_uncertainty))
    with np.errstate(divide="ignore"):  # a load and a cell without any error cannot differ and agree
        normalised = float(np.float64(read.value - reference.value) / expanded)
    return CheckResult(read, reference, normalised)


def _reference(rig: RigFile, instrument: Instrument, check: CheckWeight, trials: Trials) -> Quantity:
    stated = check.applied
    shape = RECTANGULAR if stated.shape == "rectangular" else NORMAL
    identity = (rig.rig, instrument.name, "check weight", check.date.isoformat())
    load = Quantity.of(stated.value.si, stated.standard, Source(identity, "check weight", shape), trials)
    if instrument.measures == "mass" or stated.value.unit not in spellings("mass"):
        return load
    gravity, arm = gravity_at(rig), check.arm
    load = combine(lambda mass: force_of_mass(mass, gravity), load)
    if arm is None:
        return load
    load = combine(lambda force: torque_of_force(force, arm), load)
    for error in errors_of(None, arm):
        source = Source((*identity, error.name), f"{error.name} under the check weight", error.shape)
        draws = trials.draw(source)
        load = Quantity(load.value, load.trials * error.factor(draws), (*load.parts, Part(source, draws)))
    return load
