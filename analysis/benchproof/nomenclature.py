"""Every quantity once: name, symbol, unit in results, unit on pages, meaning.

Results, curve files, pages and docstrings take names and units from here, so they cannot drift apart.
Inside the library everything is SI; ``Term.from_si`` is the one way out.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

RPM: Final = math.pi / 30
"""One revolution a minute in rad/s."""

GRAM_FORCE: Final = 9.80665e-3
"""One gram-force in newton; the standard acceleration of free fall is exact by convention."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A unit as pages show it.

    Parameters
    ----------
    unit : str
        The unit's spelling on the page.
    per_unit : float
        How many of the results' unit one of it is.
    """

    unit: str
    per_unit: float


@dataclass(frozen=True, slots=True)
class Term:
    """One quantity of the trade.

    Parameters
    ----------
    name : str
        Key in results.json.
    title : str
        Words on pages.
    symbol : str
        Symbol in equations and charts.
    unit : str
        Unit in results and curve files.
    si_per_unit : float
        SI value of one such unit.
    meaning : str
        What it is, in one sentence.
    shown : tuple of Shown
        Units pages print, the first beside the headline; empty means the results' unit.
    """

    name: str
    title: str
    symbol: str
    unit: str
    si_per_unit: float
    meaning: str
    shown: tuple[Shown, ...] = ()

    @property
    def spoken(self) -> str:
        """The title inside a sentence: a small first letter, symbols as they are."""
        first, _, rest = self.title.partition(" ")
        return self.title if first in ("Kv",) else f"{first.lower()} {rest}".strip()

    def from_si(self, si: float) -> float:
        """Return an SI value in the results' unit."""
        return si / self.si_per_unit


def _table(*terms: Term) -> Mapping[str, Term]:
    return MappingProxyType({term.name: term for term in terms})


_GRAM = Shown("g", 1e-3)
_GF = Shown("gf", GRAM_FORCE)
_MNM = Shown("mN*m", 1e-3)
_MOHM = Shown("mohm", 1e-3)
_MS = Shown("ms", 1e-3)

QUANTITIES: Final = _table(
    Term("mass", "Mass", "m", "kg", 1.0, "mass of the motor or of a named part, as weighed", (_GRAM,)),
    Term(
        "thrust",
        "Thrust",
        "T",
        "N",
        1.0,
        "static thrust of motor and propeller",
        (Shown("N", 1.0), _GF),
    ),
    Term(
        "thrust_per_power",
        "Thrust per power",
        "T/P",
        "N/W",
        1.0,
        "static thrust over electrical power; not fair between unequal thrusts",
        (Shown("gf/W", GRAM_FORCE),),
    ),
    Term("speed", "Speed", "n", "rpm", RPM, "speed of the shaft"),
    Term("current", "Supply current", "I", "A", 1.0, "mean current drawn from the supply"),
    Term("voltage", "Supply voltage", "U", "V", 1.0, "voltage at the drive's input terminals"),
    Term("throttle", "Throttle", "throttle", "%", 0.01, "commanded throttle"),
    Term(
        "electrical_power",
        "Electrical power",
        "P",
        "W",
        1.0,
        "mean product of supply voltage and supply current at the drive's input",
    ),
    Term("torque", "Torque", "Q", "N*m", 1.0, "torque of the shaft", (_MNM,)),
    Term("shaft_power", "Shaft power", "P_shaft", "W", 1.0, "torque times angular speed of the shaft"),
    Term(
        "motor_efficiency",
        "Efficiency of motor and drive",
        "eta",
        "1",
        1.0,
        "shaft power over electrical power",
        (Shown("%", 0.01),),
    ),
    Term(
        "figure_of_merit",
        "Figure of merit",
        "FM",
        "1",
        1.0,
        "ideal induced power of the disc over shaft power, at rest",
    ),
    Term(
        "thrust_coefficient",
        "Thrust coefficient",
        "C_T",
        "1",
        1.0,
        "T / (rho n^2 D^4), n in revolutions a second",
    ),
    Term(
        "power_coefficient",
        "Power coefficient",
        "C_P",
        "1",
        1.0,
        "P_shaft / (rho n^3 D^5), n in revolutions a second",
    ),
    Term(
        "winding_resistance_20c",
        "Winding resistance at 20 degC",
        "R_20",
        "ohm",
        1.0,
        "resistance between two phases at 20 degC",
        (_MOHM,),
    ),
    Term(
        "kv_back_emf",
        "Kv from back-emf",
        "Kv_emf",
        "rpm/V",
        RPM,
        "speed per peak volt between two lines, driven from outside",
    ),
    Term(
        "kv_no_load",
        "Kv at no load",
        "Kv_nl",
        "rpm/V",
        RPM,
        "speed per volt behind the resistive drop, at no load and full duty",
    ),
    Term(
        "kt",
        "Torque constant",
        "Kt",
        "N*m/A",
        1.0,
        "60 / (2 pi kv_no_load): torque per supply ampere at full duty",
        (Shown("mN*m/A", 1e-3),),
    ),
    Term(
        "km",
        "Motor constant",
        "Km",
        "N*m/W**0.5",
        1.0,
        "kt / sqrt(winding_resistance_20c)",
        (Shown("mN*m/W**0.5", 1e-3),),
    ),
    Term(
        "km_per_mass",
        "Motor constant per mass",
        "Km/m",
        "N*m/W**0.5/kg",
        1.0,
        "motor constant over the mass of the motor",
    ),
    Term(
        "no_load_current",
        "No-load current",
        "I_0",
        "A",
        1.0,
        "supply current without load at a stated supply voltage",
    ),
    Term(
        "drag_torque",
        "Drag torque",
        "T_0",
        "N*m",
        1.0,
        "all of the motor's own torque loss (iron, bearings, air) at a stated speed",
        (_MNM,),
    ),
    Term(
        "peak_torque",
        "Peak torque",
        "T_max",
        "N*m",
        1.0,
        "maximum of the smoothed steady-state-equivalent torque, corrected for its upward bias",
        (_MNM,),
    ),
    Term(
        "time_constant",
        "Time constant",
        "tau",
        "s",
        1.0,
        "time constant of the speed after a throttle step",
        (_MS,),
    ),
    Term(
        "dead_time",
        "Dead time",
        "t_d",
        "s",
        1.0,
        "time from a throttle step to the first response of the speed",
        (_MS,),
    ),
    Term(
        "thermal_resistance",
        "Thermal resistance",
        "R_th",
        "K/W",
        1.0,
        "steady temperature rise of the winding per watt of loss",
    ),
    Term(
        "thermal_time_constant",
        "Thermal time constant",
        "tau_th",
        "s",
        1.0,
        "time constant of the slow part of the heating",
    ),
    Term(
        "continuous_current",
        "Continuous current",
        "I_cont",
        "A",
        1.0,
        "supply current at full duty, which is the winding's, that holds the winding at the stated limit",
    ),
    Term(
        "residual_unbalance",
        "Residual unbalance",
        "U_res",
        "kg*m",
        1.0,
        "mass times eccentricity of the rotor in one plane",
        (Shown("mg*mm", 1e-9),),
    ),
    Term("capacity", "Capacity", "C", "A*h", 3600.0, "charge delivered between stated limits"),
    Term("energy", "Energy", "E", "W*h", 3600.0, "energy delivered between stated limits"),
    Term(
        "dc_resistance",
        "Direct-current resistance",
        "R_dc",
        "ohm",
        1.0,
        "voltage step over current step after a stated time",
        (_MOHM,),
    ),
    Term(
        "continuous_discharge_current",
        "Continuous discharge current",
        "I_dis",
        "A",
        1.0,
        "largest current that keeps the stated limits from full to empty",
    ),
)
"""Quantities of results.json by name."""

OPERATING_POINTS: Final = ("electrical_power", "thrust", "speed", "voltage", "throttle")
"""Keys a lab may quote figures at, in the order of the contract."""

PROPELLER_FIGURES: Final = frozenset(
    {
        "thrust",
        "thrust_per_power",
        "speed",
        "current",
        "electrical_power",
        "figure_of_merit",
        "torque",
        "shaft_power",
        "motor_efficiency",
        "thrust_coefficient",
        "power_coefficient",
    }
)
"""Figures that a thrust sweep gives, which depend on the propeller."""


def term(name: str) -> Term:
    """Return the quantity of that name.

    Raises
    ------
    KeyError
        If the nomenclature has no such quantity.
    """
    return QUANTITIES[name]


def unit_text(unit: str) -> str:
    """Return a unit of the contract's spelling as print has it.

    Examples
    --------
    >>> unit_text("kg*m**2"), unit_text("N*m/W**0.5"), unit_text("degC"), unit_text("mohm"), unit_text("1")
    ('kg·m²', 'N·m/√W', '°C', 'mΩ', '')
    """
    if unit == "1":
        return ""
    text = re.sub(r"(\w+)\*\*0\.5", r"√\1", unit)
    text = re.sub(r"\*\*(\d)", lambda power: "⁰¹²³⁴⁵⁶⁷⁸⁹"[int(power[1])], text)
    return text.replace("*", "·").replace("degC", "°C").replace("ohm", "Ω")
