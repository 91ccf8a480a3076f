"""From the rig file to instruments: the calibration in force, masses to forces, statements to sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.campaign.units import scale_of, spellings
from benchproof.errors import Fault, InputError
from benchproof.rig.calibration import calibrate, force_of_mass
from benchproof.rig.gravity import local_gravity
from benchproof.rig.instrument import ErrorStatement, Instrument
from benchproof.trials.distributions import NORMAL, RECTANGULAR

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import date

    import numpy as np
    from numpy.typing import NDArray

    from benchproof.campaign.calibration_files import CalibrationTable
    from benchproof.campaign.models.calibrations import CalibrationEntry
    from benchproof.campaign.models.rig import InstrumentEntry, RigFile
    from benchproof.campaign.models.rig import ErrorStatement as Written
    from benchproof.rig.calibration import Calibration

    FloatArray = NDArray[np.float64]


def instrument_for(rig: RigFile, measures: str, stated: Mapping[str, str] | None) -> str:
    """Return the name of the instrument that measures something.

    Parameters
    ----------
    rig : RigFile
        The rig.
    measures : str
        What is measured.
    stated : Mapping of str to str or None
        The test's own ``instruments:``.

    Raises
    ------
    InputError
        If the rig has no such instrument, or several and the test names none.
    """
    named = (stated or {}).get(measures)
    able = [name for name, entry in rig.instruments.items() if entry.measures == measures]
    if named in able:
        return named
    if len(able) == 1 and named is None:
        return able[0]
    found = f"{named}" if named else (", ".join(able) if able else f"no instrument that measures {measures}")
    raise InputError(
        Fault(
            file=f"runs/rigs/{rig.rig}/rig.yaml",
            place="instruments",
            found=found,
            expected=f"one instrument that measures {measures}",
            remedy=f"Declare it in the rig file, or name it in the test: instruments: {{{measures}: …}}.",
        )
    )


def build_instrument(rig: RigFile, name: str, on: date, table: Callable[[str], CalibrationTable]) -> Instrument:
    """Return an instrument of the rig as it was on a day.

    Parameters
    ----------
    rig : RigFile
        The rig.
    name : str
        The instrument.
    on : date
        The test day; the calibration in force then applies.
    table : callable
        Reads a calibration file by its path in the rig file.

    Raises
    ------
    InputError
        If it has calibrations and none is in force, or masses were used and the rig's place is not stated.
    MethodError
        If the calibration's points carry no fit.
    """
    entry = rig.instruments[name]
    return Instrument(
        rig=rig.rig,
        name=name,
        measures=entry.measures,
        errors=tuple(_statement(written) for written in entry.errors),
        calibration=_calibration(rig, name, entry, on, table),
        full_scale=entry.full_scale.si if entry.full_scale is not None else None,
    )


def _statement(written: Written) -> ErrorStatement:
    normal = written.kind == "repeatability" or written.shape == "normal"
    shape = NORMAL if normal else RECTANGULAR
    return ErrorStatement(written.kind, written.standard, shape, written.scope, written.name or "")


def _calibration(
    rig: RigFile, name: str, entry: InstrumentEntry, on: date, table: Callable[[str], CalibrationTable]
) -> Calibration | None:
    if not entry.calibrations:
        return None
    chosen = entry.calibration_on(on)
    if chosen is None:
        raise InputError(
            Fault(
                file=f"runs/rigs/{rig.rig}/rig.yaml",
                place=f"instruments.{name}.calibrations",
                found=f"none in force on {on}",
                expected="a calibration dated on or before the test day and not expired",
                remedy="Add the calibration that applied that day, or correct a date.",
            )
        )
    points = table(chosen.file)
    return calibrate(
        _applied(rig, name, entry, chosen, points),
        _converted(points.indicated, chosen.indicated_unit, entry),
        points.direction,
        key=f"{chosen.file}:{chosen.dated}",
        dated=chosen.dated,
        expires=chosen.expires,
    )


def _converted(values: FloatArray, unit: str, entry: InstrumentEntry) -> FloatArray:
    scale = scale_of(unit, entry.dimension)
    return values * scale.factor + scale.offset


def _applied(
    rig: RigFile, name: str, entry: InstrumentEntry, chosen: CalibrationEntry, points: CalibrationTable
) -> FloatArray:
    """Return the applied values, SI; masses on a force cell become forces at the rig's own gravity."""
    if entry.dimension != "force" or chosen.applied_unit not in spellings("mass"):
        return _converted(points.applied, chosen.applied_unit, entry)
    if rig.location is None:
        raise InputError(
            Fault(
                file=f"runs/rigs/{rig.rig}/rig.yaml",
                place="location",
                found="no location",
                expected="latitude and elevation, because dead weights pull with local gravity",
                remedy='Add location: {latitude: "54.1 deg", elevation: "180 m"} with the bench\'s own values.',
            )
        )
    gravity = local_gravity(rig.location.latitude.si, rig.location.elevation.si)
    scale = scale_of(chosen.applied_unit, "mass")
    return force_of_mass(points.applied * scale.factor, gravity)
