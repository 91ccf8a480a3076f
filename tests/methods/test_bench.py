"""What a method gets from the bench: the instrument that a test names, for a field or for what it measures."""

from __future__ import annotations

from typing import Any

import pytest
import yaml

from benchmarks.constants_coverage import reduced
from benchproof.errors import InputError
from methods.motors import error_free, opened, value
from simulator.demo_words import RIG

POINTS = [{"speed": f"{n} rpm", "voltage": f"{n * 5.6e-4:.4f} V"} for n in (1000, 2000, 3000, 4000)]


def rig() -> dict[str, Any]:
    """The demo rig with a second voltmeter and a second thermometer, each with errors of its own."""
    plain: dict[str, Any] = yaml.safe_load(RIG)
    plain["instruments"] |= {"multimeter": {"measures": "voltage"}, "thermocouple": {"measures": "temperature"}}
    return plain


def truth():
    return error_free(rig(), voltage=[{"scale": "0.1 %"}], temperature=[{"offset": "1 degC"}])


def instruments(quantity) -> set[str]:
    return {part.source.identity[1] for part in quantity.parts}


def resistance(**named: str) -> dict[str, Any]:
    return {
        "test": "winding_resistance",
        "sample": "A",
        "pairs": dict.fromkeys(("ab", "bc", "ca"), "55 mohm"),
        "winding_temperature": "22 degC",
        "instruments": named,
    }


def back_emf(**named: str) -> dict[str, Any]:
    return {"test": "back_emf", "sample": "A", "waveform": "peak", "points": POINTS, "instruments": named}


@pytest.mark.parametrize("key", ["winding_temperature", "temperature"])
@pytest.mark.parametrize("name", ["thermocouple", "thermometer"])
def test_an_instrument_is_named_by_field_or_by_what_it_measures(key: str, name: str) -> None:
    bench = opened(truth(), [resistance(**{key: name})])
    assert instruments(value(bench, "winding_resistance", "winding_resistance_20c")) == {name}


def test_the_field_goes_before_what_is_measured() -> None:
    named = {"winding_temperature": "thermocouple", "temperature": "thermometer"}
    bench = opened(truth(), [resistance(**named)])
    assert instruments(value(bench, "winding_resistance", "winding_resistance_20c")) == {"thermocouple"}


def test_points_are_read_with_the_named_instrument() -> None:
    bench = opened(truth(), [back_emf(voltage="multimeter")])
    assert "multimeter" in instruments(value(bench, "back_emf", "kv_back_emf"))


def test_air_is_read_with_the_instrument_named_for_its_field() -> None:
    air = {"temperature": "21 degC", "pressure": "1002 hPa", "humidity": "45 %"}
    test = {
        "test": "thrust_sweep", "sample": "A", "log": "raw/a.csv", "propeller": "oar-51x45", "air": air,
        "instruments": {"temperature": "thermocouple"},
    }  # fmt: skip
    bench = opened(truth(), [test])
    density = bench.air_density(bench.campaign.tests[0])
    assert density is not None
    assert instruments(density) == {"thermocouple"}


def test_a_channel_is_read_with_the_instrument_that_the_test_names() -> None:
    layout = {"time": {"column": "t", "unit": "s"}, "winding_temperature": {"column": "w", "unit": "degC"}}
    test = {
        "test": "heat_soak", "sample": "A", "log": "raw/a.csv", "airflow": "propwash", "layout": layout,
        "instruments": {"winding_temperature": "thermocouple"},
    }  # fmt: skip
    bench = opened(truth(), [test])
    assert bench.channel_instrument("winding_temperature", bench.campaign.tests[0]).name == "thermocouple"


def test_several_instruments_and_none_named_is_an_error_that_says_so() -> None:
    with pytest.raises(InputError, match="multimeter"):
        reduced(opened(truth(), [back_emf()]), "back_emf")


def test_a_named_instrument_that_measures_something_else_is_an_error() -> None:
    with pytest.raises(InputError, match="balance"):
        reduced(opened(truth(), [back_emf(voltage="balance")]), "back_emf")
