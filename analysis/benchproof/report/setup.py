"""What was tested, where and with what: the bench part of a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from benchproof.report.views import Setup, TableColumn, TableRow, TableView, Thing
from benchproof.report.words import Fact, facts, label, value_words, words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pydantic import JsonValue

    from benchproof.report.records import Page, Sample

_FIRST_CONDITIONS: Final = (
    "test",
    "sample",
    "log",
    "part",
    "propeller",
    "flywheel",
    "temperature",
    "pressure",
    "humidity",
)
_NAMES_ONLY: Final = frozenset({"test", "sample", "part"})
"""What says which test it is, and nothing of its conditions."""


def setup_of(page: Page) -> Setup:
    """Return specimen, bench and conditions as a page prints them."""
    specimen = page.specimen
    known = {
        "maker": specimen.maker,
        "model": specimen.model,
        "pole_pairs": specimen.pole_pairs,
        "connection": specimen.connection,
    }
    return Setup(
        specimen=facts(known),
        label=facts(specimen.label),
        design=facts(specimen.design),
        samples=tuple(
            Fact(
                f"Sample {sample.id}",
                _batch(sample),
            )
            for sample in specimen.samples
        ),
        dates=facts({"received": page.dates.received, "tested": page.dates.tested}),
        rig=_thing(page.rig),
        drive=_thing(page.drive) if page.drive else None,
        propellers=tuple(_thing(each) for each in page.propellers),
        flywheels=tuple(_thing(each) for each in page.flywheels),
        instruments=_instruments(page),
        calibrations=_calibrations(page),
        conditions=_conditions(page.conditions),
        tables=(),
        charts=(),
    )


def _batch(sample: Sample) -> str:
    words = f"batch {sample.batch}" if sample.batch else "batch not stated"
    return f"{words}; retained piece of an earlier batch, not counted for this one" if sample.golden else words


def _thing(mapping: Mapping[str, JsonValue]) -> Thing:
    return Thing(str(mapping.get("name", "")), facts(mapping, leave_out=("name",)))


def _table(
    anchor: str, title: str, caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]
) -> TableView | None:
    if not rows:
        return None
    columns = tuple(TableColumn(head, "", numeric=False) for head in heads)
    listed = tuple(TableRow(tuple(zip(columns, row, strict=True))) for row in rows)
    return TableView(anchor, title, caption, columns, listed)


def _instruments(page: Page) -> TableView | None:
    rows = [
        (
            words(each.name),
            each.measures,
            value_words(each.full_scale),
            "; ".join(value_words(error) for error in each.errors) or "none stated",
        )
        for each in page.instruments
    ]
    caption = "What the rig file states of each instrument. These statements are what the intervals rest on."
    return _table("instruments", "Instruments", caption, ("Instrument", "Measures", "Full scale", "Errors"), rows)


def _calibrations(page: Page) -> TableView | None:
    rows = [
        (words(each.name), each.calibration.file, each.calibration.dated, each.calibration.expires or "")
        for each in page.instruments
        if each.calibration
    ]
    caption = "The calibrations in force on the day of the test."
    return _table("calibrations", "Calibrations", caption, ("Instrument", "File", "Dated", "Expires"), rows)


def _conditions(conditions: Sequence[Mapping[str, JsonValue]]) -> TableView | None:
    """Return conditions by test; a row for each test that states any, a column for everything any states."""
    useful = [each for each in conditions if set(each) - _NAMES_ONLY]
    keys = dict.fromkeys(key for key in _FIRST_CONDITIONS if any(key in each for each in useful))
    keys.update(dict.fromkeys(key for each in useful for key in each))
    rows = [[_cell(key, each.get(key)) for key in keys] for each in useful]
    caption = "Where, when and in what air each test was made."
    return _table("conditions", "Conditions", caption, [label(key) for key in keys], rows)


def _cell(key: str, value: JsonValue) -> str:
    return words(str(value)) if key == "test" else value_words(value)
