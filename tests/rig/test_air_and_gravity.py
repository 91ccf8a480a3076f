"""Air and free fall against published values (tests/reference/air, and as named)."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from benchproof.rig.air import moist_air_density, saturation_pressure
from benchproof.rig.gravity import local_gravity

if TYPE_CHECKING:
    from pathlib import Path


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(line for line in path.read_text().splitlines() if not line.startswith("#")))


def test_the_standard_atmosphere_at_21_heights(reference: Path) -> None:
    """ICAO Doc 7488/3 is an ideal gas; a real one is 0.05 % denser at most where a bench may stand."""
    table = rows(reference / "air" / "atm_icao_doc7488.csv")
    assert len(table) == 21
    for row in table:
        density = float(moist_air_density(float(row["T_K"]), float(row["p_Pa"]), 0.0))
        ideal_gas_departure = 2e-3 if float(row["p_Pa"]) > 1.1e5 or float(row["T_K"]) < 250 else 6e-4
        assert density == pytest.approx(float(row["rho_kgm3"]), rel=ideal_gas_departure), row


def test_cipm_2007_at_20_degrees_and_half_humidity() -> None:
    """Picard et al., Metrologia 45 (2008) 149; value recomputed from the formula: 1.199314 kg/m3."""
    assert float(moist_air_density(293.15, 101_325.0, 0.5)) == pytest.approx(1.199314, abs=2e-6)


@pytest.mark.parametrize("celsius", [10.0, 20.0, 30.0])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 0.9])
def test_moist_air_agrees_with_a_reference_library(celsius: float, humidity: float) -> None:
    """CoolProp's humid air agrees to 4 parts in 100 000 where the formula is meant to hold."""
    kelvin = celsius + 273.15
    volume = HAPropsSI("Vha", "T", kelvin, "P", 99_000.0, "R", humidity)
    assert float(moist_air_density(kelvin, 99_000.0, humidity)) == pytest.approx(1 / volume, rel=1.2e-4)


def test_saturation_pressure_as_in_the_ashrae_table(reference: Path) -> None:
    """ASHRAE Fundamentals 2017, chapter 1, table 3, over water and within the formula's range."""
    for row in rows(reference / "air" / "satvap_ashrae2017.csv"):
        celsius = float(row["t_degC"])
        if 0 < celsius <= 50:
            got = float(saturation_pressure(celsius + 273.15))
            assert got == pytest.approx(float(row["p_ws_Pa"]), rel=1.5e-3), row


@pytest.mark.parametrize(("degrees", "gravity"), [(0, 9.7803267715), (90, 9.8321863685), (45, 9.806199203)])
def test_normal_gravity_of_grs80(degrees: float, gravity: float) -> None:
    """GRS80; the value at 45 degrees [from memory]."""
    assert local_gravity(np.radians(degrees), 0.0) == pytest.approx(gravity, abs=2e-9)
