"""Moments of inertia: declared, from a disc's size, or from the swings of a pendulum.

Disc and annulus: ``J = m (D^2 + d^2) / 8``, elementary mechanics. Body on two parallel wires at a distance d,
swinging about the vertical: ``J = m g d^2 T^2 / (16 pi^2 L)``; on three wires at a radius r: ``J = m g r^2 T^2 / (4
pi^2 L)`` (Jardin and Mueller, AIAA 2007-6822, read in secondary sources). A swing of amplitude A lasts longer than a
small one by ``(2 / pi) K(sin(A / 2))``, K the complete elliptic integral, as for any pendulum whose restoring torque
goes with the sine.
"""

from __future__ import annotations

import re
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.special import ellipk

from benchproof.errors import Fault, InputError, MethodError
from benchproof.methods.spin.discs import material_of
from benchproof.rig.gravity import local_gravity
from benchproof.trials.distributions import NORMAL, RECTANGULAR
from benchproof.trials.engine import Source
from benchproof.trials.quantity import Quantity, combine

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from benchproof.campaign.models.rig import Flywheel
    from benchproof.campaign.models.tests import Pendulum
    from benchproof.methods.bench import Bench
    from benchproof.trials.engine import Trials

    FloatArray = NDArray[np.float64]

PENDULUM_READINGS: Final = MappingProxyType(
    {"mass": "mass", "period": "time", "separation": "length", "length": "length"}
)
"""What a pendulum's readings were measured with."""

STANDARD_GRAVITY: Final = 9.80665
"""m/s2, where the rig does not say where it stands; anywhere on earth is within 0.3 %."""

_GRAVITY_UNKNOWN: Final = 0.03
_DENSITY_HALF_WIDTH: Final = 0.015
_NUMBER: Final = re.compile(r"\s*([+-]?\d*\.?(\d*))(?:[eE]([+-]?\d+))?")


def annulus(mass: Any, outer: Any, inner: Any = 0.0) -> Any:
    """Return the moment of inertia of a disc or annulus of even thickness, kg m2: ``m (D^2 + d^2) / 8``.

    Parameters
    ----------
    mass : float or array
        kg.
    outer, inner : float or array
        Diameters, m.
    """
    return mass * (outer**2 + inner**2) / 8


def small_swing(period: Any, amplitude: Any) -> Any:
    """Return the period of small swings from that of swings of an amplitude (rad), s."""
    return period / (2 / np.pi * ellipk(np.sin(np.asarray(amplitude) / 2) ** 2))


def bifilar(mass: Any, separation: Any, period: Any, length: Any, gravity: Any) -> Any:
    """Return the moment of inertia of a body on two parallel wires, kg m2: ``m g d^2 T^2 / (16 pi^2 L)``."""
    return mass * gravity * separation**2 * period**2 / (16 * np.pi**2 * length)


def trifilar(mass: Any, radius: Any, period: Any, length: Any, gravity: Any) -> Any:
    """Return the moment of inertia of a body on three wires, kg m2: ``m g r^2 T^2 / (4 pi^2 L)``."""
    return mass * gravity * radius**2 * period**2 / (4 * np.pi**2 * length)


def flywheel_inertia(name: str, flywheel: Flywheel, bench: Bench) -> tuple[Quantity, str]:
    """Return a flywheel's moment of inertia and how it is known; the same draws for all campaigns on the rig.

    Raises
    ------
    InputError
        If the rig file neither declares it nor says enough of the disc.
    """
    owner = (bench.rig.rig, "flywheel", name)
    if flywheel.inertia is not None:
        declared = _stated(flywheel.inertia, (*owner, "inertia"), f"inertia of {name}", bench.trials)
        return declared, "declared"
    outer = _stated(flywheel.diameter, (*owner, "diameter"), f"diameter of {name}", bench.trials)
    inner = (
        Quantity.exact(0.0, bench.trials.count)
        if flywheel.bore is None
        else _stated(flywheel.bore, (*owner, "bore"), f"bore of {name}", bench.trials)
    )
    if flywheel.mass is not None:
        mass = _stated(flywheel.mass, (*owner, "mass"), f"mass of {name}", bench.trials)
        return combine(annulus, mass, outer, inner), "from mass and size"
    return combine(annulus, _mass_from_size(owner, flywheel, bench, outer, inner), outer, inner), "from size"


def _mass_from_size(
    owner: tuple[str, ...], flywheel: Flywheel, bench: Bench, outer: Quantity, inner: Quantity
) -> Quantity:
    material = material_of(flywheel.material)
    if material is None:
        raise InputError(
            Fault(
                file=f"runs/rigs/{bench.rig.rig}/rig.yaml",
                place=f"flywheels.{owner[-1]}",
                found=f"no inertia, no mass, and a material whose density is not known here ({flywheel.material})",
                expected="the inertia, or the mass, or one of the usual metals",
                remedy='Weigh the disc and add mass: "111.2 g", or add its inertia: with its uncertainty.',
            )
        )
    density = Quantity.of(
        material.density,
        material.density * _DENSITY_HALF_WIDTH / 3**0.5,
        Source((*owner, "density"), f"density of {owner[-1]}", RECTANGULAR),
        bench.trials,
    )
    thickness = _stated(flywheel.thickness, (*owner, "thickness"), f"thickness of {owner[-1]}", bench.trials)
    return combine(lambda r, t, a, b: r * t * np.pi / 4 * (a**2 - b**2), density, thickness, outer, inner)


def rotor_inertia(sample: str, bench: Bench) -> tuple[Quantity, str] | None:
    """Return the moment of inertia of a sample's rotor and how it is known; None where no test of it says so.

    A rotor is one body: whichever test of a sample states its inertia, states it for all.
    """
    tests = [t for key in ("flywheel_run", "coast_down") for t in bench.tests(key) if t.sample == sample]
    stating = next((test for test in tests if test.rotor_inertia is not None), None)
    if stating is None:
        return None
    written = stating.rotor_inertia
    owner = (bench.campaign.campaign, "rotor inertia", sample)
    if not hasattr(written, "pendulum"):
        return _stated(written, owner, f"rotor inertia of {sample}", bench.trials), "declared"
    return _pendulum_inertia(written, stating, owner, bench), f"{written.pendulum} pendulum"


def _pendulum_inertia(written: Pendulum, test: Any, owner: tuple[str, ...], bench: Bench) -> Quantity:
    """Return the moment of inertia from a pendulum's readings, made on the rig's instruments."""
    occasion = replace(bench.occasion(test), run=f"rotor inertia {owner[-1]}")
    read = []
    for name, measures in PENDULUM_READINGS.items():
        value = getattr(written, name)
        if hasattr(value, "standard"):
            read.append(_stated(value, (*owner, name), f"{name} of the pendulum", bench.trials))
        else:
            instrument = bench.instrument(measures, test, test.named(name, measures))
            read.append(instrument.reading([value.si], occasion, f"pendulum {name}", bench.trials).quantity)
    mass, period, separation, length = read
    if written.amplitude is not None:
        amplitude = _stated(written.amplitude, (*owner, "amplitude"), "amplitude of the pendulum", bench.trials)
        if not 0 <= amplitude.value < np.pi / 2:
            message = f"swings of {written.amplitude} are too wide for a pendulum; let it swing by less than 90 deg"
            raise MethodError(occasion.run, message)
        period = combine(small_swing, period, amplitude)
    law = bifilar if written.pendulum == "bifilar" else trifilar
    return combine(law, mass, separation, period, length, _gravity(bench))


def _gravity(bench: Bench) -> Quantity:
    place = bench.rig.location
    if place is not None:
        return Quantity.exact(local_gravity(place.latitude.si, place.elevation.si), bench.trials.count)
    source = Source((bench.rig.rig, "gravity"), "local gravity, place not stated", RECTANGULAR)
    return Quantity.of(STANDARD_GRAVITY, _GRAVITY_UNKNOWN / 3**0.5, source, bench.trials)


def _stated(written: Any, identity: tuple[str, ...], label: str, trials: Trials) -> Quantity:
    """Return a stated value with its uncertainty, or with half its last digit where it states none."""
    if hasattr(written, "standard"):
        if not written.standard:
            return Quantity.exact(written.value.si, trials.count)
        shape = RECTANGULAR if written.shape == "rectangular" else NORMAL
        return Quantity.of(written.value.si, written.standard, Source(identity, label, shape), trials)
    standard = last_digit(written) / 2 / 3**0.5
    return Quantity.of(written.si, standard, Source(identity, f"{label}, last digit", RECTANGULAR), trials)


def last_digit(written: Any) -> float:
    """Return what one step of the last written digit of a quantity comes to, SI."""
    found = _NUMBER.match(written.text)
    number = float(found.group(0)) if found else 0.0
    if found is None or not number:
        return 0.0
    step = 10.0 ** (int(found.group(3) or 0) - len(found.group(2)))
    return float(abs(step * written.si / number))
