"""From the rig file to instruments: the calibration in force, masses into forces, statements into sources."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from benchproof.campaign.calibration_files import CalibrationTable
from benchproof.campaign.models.rig import RigFile
from benchproof.errors import InputError
from benchproof.rig.build import build_instrument, instrument_for
from benchproof.rig.gravity import local_gravity

CALIBRATIONS = [
    {
        "file": f"calibration/{name}.csv",
        "dated": dated,
        "expires": expires,
        "applied_unit": "kg",
        "indicated_unit": "gf",
    }
    for name, dated, expires in (
        ("winter", "2026-01-10", "2026-07-10"),
        ("spring", "2026-04-01", "2026-10-01"),
    )
]
ERRORS = [
    {"scale": "0.15 %"},
    {"offset": "0.02 N", "per": "run"},
    {"linearity": "0.01 N", "shape": "normal", "k": 2},
    {"resolution": "0.005 N"},
    {"repeatability": "0.003 N"},
]


PLACE: dict[str, str] | None = {"latitude": "54.1 deg", "elevation": "180 m"}


def rig(place: dict[str, str] | None = PLACE) -> RigFile:
    cell = {"measures": "thrust", "full_scale": "30 N", "calibrations": CALIBRATIONS, "errors": ERRORS}
    volts = {"measures": "voltage", "errors": [{"offset": "5 mV"}]}
    instruments = {"cell": cell, "volts": volts, "more_volts": volts, "thermometer": {"measures": "temperature"}}
    return RigFile.model_validate(
        {"rig": "north", "instruments": instruments, **({"location": place} if place else {})}
    )


def table(path: str) -> CalibrationTable:
    """Dead weights of 0 to 3 kg, read in gram-force with a gain error that tells the two calibrations apart."""
    masses = np.linspace(0.0, 3.0, 9)
    gain = 1.01 if "winter" in path else 1.02
    return CalibrationTable(masses, 1000.0 * masses * gain + 0.2 * np.sin(masses), ("up",) * 9)


@pytest.mark.parametrize(
    ("day", "gain"),
    [(date(2026, 1, 10), 1.01), (date(2026, 3, 31), 1.01), (date(2026, 4, 1), 1.02), (date(2026, 9, 30), 1.02)],
)
def test_the_latest_calibration_in_force_on_the_test_day_applies(day: date, gain: float) -> None:
    cell = build_instrument(rig(), "cell", day, table)
    local_grams = 9.80665 / (local_gravity(np.radians(54.1), 180.0) * (1 - 1.2 / 8000))
    span = float(np.diff(cell.corrected(np.array([0.0, 20.0])))[0])
    assert span == pytest.approx(20.0 / gain / local_grams, rel=3e-4)


@pytest.mark.parametrize("day", [date(2026, 1, 9), date(2026, 10, 1)])
def test_a_day_without_a_calibration_is_an_error_with_a_remedy(day: date) -> None:
    with pytest.raises(InputError, match=r"north/rig.yaml: instruments.cell.calibrations.*Add the calibration"):
        build_instrument(rig(), "cell", day, table)


def test_dead_weights_need_the_place_of_the_bench() -> None:
    with pytest.raises(InputError, match="latitude and elevation"):
        build_instrument(rig(place=None), "cell", date(2026, 3, 1), table)


def test_statements_become_standard_uncertainties() -> None:
    errors = build_instrument(rig(), "cell", date(2026, 3, 1), table).errors
    found = [(e.kind, round(e.standard, 9), e.shape.kind, e.per) for e in errors]
    assert found == [
        ("scale", round(0.0015 / 3**0.5, 9), "rectangular", "calibration"),
        ("offset", round(0.02 / 3**0.5, 9), "rectangular", "run"),
        ("linearity", 0.005, "normal", "calibration"),
        ("resolution", round(0.005 / 12**0.5, 9), "rectangular", "reading"),
        ("repeatability", 0.003, "normal", "reading"),
    ]


def test_an_instrument_without_a_calibration_is_used_as_it_indicates() -> None:
    volts = build_instrument(rig(), "volts", date(2026, 3, 1), table)
    assert volts.calibration is None
    assert volts.corrected(np.array([10.0])).tolist() == [10.0]
    assert not volts.outside(np.array([1e6])).any()


def test_the_only_instrument_that_measures_it_made_the_reading() -> None:
    assert instrument_for(rig(), "temperature", None) == "thermometer"


def test_of_several_instruments_the_test_names_one() -> None:
    assert instrument_for(rig(), "voltage", {"voltage": "more_volts"}) == "more_volts"
    with pytest.raises(InputError, match="volts, more_volts"):
        instrument_for(rig(), "voltage", None)


@pytest.mark.parametrize(("measures", "named"), [("torque", {}), ("voltage", {"voltage": "thermometer"})])
def test_no_such_instrument_is_an_error_and_not_a_zero_uncertainty(measures: str, named: dict[str, str]) -> None:
    with pytest.raises(InputError, match=f"one instrument that measures {measures}"):
        instrument_for(rig(), measures, named)
