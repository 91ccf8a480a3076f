"""From the rig file to instruments: the calibration in force, masses to forces, statements to sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from benchproof.campaign.models.rig import dimension_of
from benchproof.campaign.units import scale_of, spellings
from benchproof.errors import Fault, InputError
from benchproof.rig.calibration import calibrate
from benchproof.rig.cross_talk import CHANNELS, fit_cross_talk
from benchproof.rig.gravity import local_gravity
from benchproof.rig.instrument import ErrorStatement, Instrument
from benchproof.rig.loads import errors_of, force_of_mass, torque_of_force
from benchproof.trials.distributions import NORMAL, RECTANGULAR

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import date

    from numpy.typing import NDArray

    from benchproof.campaign.calibration_files import CalibrationTable, LoadingTable
    from benchproof.campaign.models.calibrations import CoupledCell, CrossTalkEntry, Loading
    from benchproof.campaign.models.rig import ErrorStatement as Written
    from benchproof.campaign.models.rig import InstrumentEntry, RigFile
    from benchproof.campaign.spellings import Dimension
    from benchproof.rig.calibration import Calibration
    from benchproof.rig.cross_talk import CrossTalk

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
        known_loads(rig, chosen, points.applied, entry.dimension),
        _converted(points.indicated, chosen.indicated_unit, entry.dimension),
        points.direction,
        key=f"{chosen.file}:{chosen.dated}",
        dated=chosen.dated,
        expires=chosen.expires,
        load_errors=errors_of(chosen.masses.si if chosen.masses is not None else None, chosen.arm),
    )


def build_cross_talk(
    rig: RigFile, cells: Mapping[str, Instrument], on: date, loadings: Callable[[str], LoadingTable]
) -> CrossTalk | None:
    """Return the cross-talk of two cells of the rig as it was on a day.

    Parameters
    ----------
    rig : RigFile
        The rig.
    cells : Mapping of str to Instrument
        The cells under ``thrust`` and ``torque``.
    on : date
        The test day; the loading in force then applies.
    loadings : callable
        Reads a cross-talk file by its path in the rig file.

    Returns
    -------
    CrossTalk or None
        None where the rig has no loading of these two cells.

    Raises
    ------
    InputError
        If the rig has loadings of these cells and none is in force, or masses were used and the rig's place is not
        stated.
    MethodError
        If the loadings do not settle the matrix.
    """
    loaded = [entry for entry in rig.cross_talk if _is_of(entry, cells)]
    if not loaded:
        return None
    valid = [entry for entry in loaded if entry.in_force(on)]
    if not valid:
        raise InputError(
            Fault(
                file=f"runs/rigs/{rig.rig}/rig.yaml",
                place="cross_talk",
                found=f"none in force on {on}",
                expected="a loading dated on or before the test day and not expired",
                remedy="Add the loading that applied that day, or correct a date.",
            )
        )
    entry = max(valid, key=lambda each: each.dated)
    table = loadings(entry.file)
    applied, shown, errors = [], [], []
    for k, name in enumerate(CHANNELS):
        loading: CoupledCell = getattr(entry, name)
        dimension = dimension_of(name)
        applied.append(known_loads(rig, loading, table.applied[:, k], dimension))
        indicated = _converted(table.indicated[:, k], loading.indicated_unit, dimension)
        shown.append(cells[name].corrected(indicated))
        errors.append(errors_of(loading.masses.si if loading.masses is not None else None, loading.arm))
    return fit_cross_talk(
        np.column_stack(applied),
        np.column_stack(shown),
        rig=rig.rig,
        key=f"{entry.file}:{entry.dated}",
        keeps_gain=(cells["thrust"].calibration is not None, cells["torque"].calibration is not None),
        load_errors=(errors[0], errors[1]),
    )


def _is_of(entry: CrossTalkEntry, cells: Mapping[str, Instrument]) -> bool:
    return all(getattr(entry, name).instrument == cells[name].name for name in CHANNELS)


def _converted(values: FloatArray, unit: str, dimension: Dimension) -> FloatArray:
    scale = scale_of(unit, dimension)
    return values * scale.factor + scale.offset


def known_loads(rig: RigFile, loading: Loading, applied: FloatArray, dimension: Dimension) -> FloatArray:
    """Return applied loads, SI; masses become forces at the rig's own gravity, and torques on an arm.

    Raises
    ------
    InputError
        If masses were used and the rig's place is not stated.
    """
    if dimension == "mass" or loading.applied_unit not in spellings("mass"):
        return _converted(applied, loading.applied_unit, dimension)
    force = force_of_mass(applied * scale_of(loading.applied_unit, "mass").factor, gravity_at(rig))
    return force if loading.arm is None else torque_of_force(force, loading.arm)


def gravity_at(rig: RigFile) -> float:
    """Return the acceleration of free fall at the rig, m/s2.

    Raises
    ------
    InputError
        If the rig's place is not stated.
    """
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
    return local_gravity(rig.location.latitude.si, rig.location.elevation.si)
