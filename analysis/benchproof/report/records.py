"""What a notebook hands to its page: one frozen record for each of our display types.

The data comes out of a notebook's cell outputs, so it is judged again here. Unknown keys are refused: a key that no
page prints would be a figure nobody sees.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue, field_validator

MIME_PREFIX: Final = "application/vnd.benchproof."
"""Start of the mime types of our own display objects; ``<kind>+json`` follows."""

Facts = Mapping[str, JsonValue]
"""Open facts as somebody wrote them, printed in their own order."""

Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]*$", max_length=120)]
"""A name that becomes part of a file name or an anchor."""

CampaignName = Annotated[str, Field(pattern=r"^[\p{L}\p{N}][\p{L}\p{N}_.+-]*$", max_length=200)]
"""A campaign's key: the name of its folder."""

CurveFile = Annotated[str, Field(pattern=r"^curves/\w[\w.+-]*\.csv$", max_length=200)]
"""Where a curve is written, inside the report's folder."""


class Record(BaseModel):
    """Base of all display records: frozen, strict, closed."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)


class Axis(Record):
    """One axis of a chart: nomenclature name, words, unit as in results, linear or logarithmic."""

    name: Name
    label: str
    unit: str
    scale: Literal["linear", "log"] = "linear"


class Series(Record):
    """One curve, band or set of points; ``low`` and ``high`` are the ends of the coverage interval."""

    label: str
    sample: str | None = None
    role: Literal["band", "points", "line"]
    x: tuple[float | None, ...]
    y: tuple[float | None, ...]
    low: tuple[float | None, ...] | None = None
    high: tuple[float | None, ...] | None = None
    file: CurveFile | None = None

    @field_validator("low", "high")
    @classmethod
    def _absent(cls, ends: tuple[float | None, ...] | None) -> tuple[float | None, ...] | None:
        """Read an empty column as no interval."""
        return ends or None


class Chart(Record):
    """One chart, to be drawn twice: still for print, live for the screen."""

    section: Name
    name: Name
    title: str
    caption: str
    x: Axis
    y: Axis
    series: tuple[Series, ...]
    samples: tuple[str, ...] = ()
    keyed: Literal["sample", "model"] = "sample"


class Column(Record):
    """Heading of a table's column."""

    label: str
    unit: str | None = None
    align: Literal["left", "right"] = "left"


class Table(Record):
    """One table of printed cells."""

    section: Name
    name: Name
    title: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


class Choice(Record):
    """One choice of the analysis, its default and what it does."""

    name: str
    value: JsonValue
    default: JsonValue
    meaning: str


class Version(Record):
    """One version of a method and what changed with it."""

    version: str
    note: str


class Method(Record):
    """What a section's figures were made by."""

    section: Name
    name: str = ""
    title: str
    version: str
    summary: str
    equations: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    choices: tuple[Choice, ...] = ()
    cautions: tuple[str, ...] = ()
    history: tuple[Version, ...] = ()


class Dates(Record):
    """When the specimen came and when it was tested, as written."""

    received: str | None = None
    tested: str


class Lab(Record):
    """Who tests, and what they disclose."""

    name: str
    url: str | None = None
    currency: str | None = None
    disclosure: str | None = None
    data_license: str | None = None


class Price(Record):
    """What one piece cost, where and when."""

    amount: float
    currency: str
    channel: str | None = None
    seen: str | None = None
    shipping: float | None = None
    margin: str | None = None


class Sample(Record):
    """One piece of the specimen."""

    id: str
    batch: str | None = None
    golden: bool = False


class Specimen(Record):
    """The specimen as the campaign file describes it."""

    maker: str
    model: str
    label: Facts | None = None
    price: Price | None = None
    source: Literal["bought", "supplied", "loan"]
    pole_pairs: int | None = None
    connection: str | None = None
    design: Facts | None = None
    samples: tuple[Sample, ...]


class Calibration(Record):
    """The calibration in force on the day of the test."""

    file: str
    dated: str
    expires: str | None = None
    applied_unit: str | None = None
    indicated_unit: str | None = None


class Instrument(Record):
    """One instrument of the rig with its error statements as written."""

    name: str
    measures: str
    full_scale: str | None = None
    errors: tuple[JsonValue, ...] = ()
    calibration: Calibration | None = None
    lag: str | None = None


class Exclusion(Record):
    """A log that was recorded, is kept, and counts in no figure."""

    test: str
    sample: str
    log: str | None = None
    reason: str


class Finding(Record):
    """What an inspection found."""

    sample: str
    finding: str
    photo: str | None = None
    about: str | None = None


class Notice(Record):
    """A warning as data."""

    code: str
    where: str
    message: str


class HeadlineName(Record):
    """The name and operating point of a figure that stands at the top."""

    name: str
    at: Mapping[str, str] = Field(default_factory=dict)


class Page(Record):
    """Everything a page prints beside figures, charts, tables and methods."""

    section: Literal["page"] = "page"
    name: str = ""
    campaign: CampaignName
    title: str
    dates: Dates
    lab: Lab
    specimen: Specimen
    rig: Facts
    drive: Facts | None = None
    propellers: tuple[Facts, ...] = ()
    flywheels: tuple[Facts, ...] = ()
    instruments: tuple[Instrument, ...] = ()
    conditions: tuple[Facts, ...] = ()
    exclusions: tuple[Exclusion, ...] = ()
    inspections: tuple[Finding, ...] = ()
    reply: str | None = None
    text: str | None = None
    warnings: tuple[Notice, ...] = ()
    headline: tuple[str | HeadlineName, ...] = ()
    main_chart: str | None = None
    invented: bool


class Figure(Record):
    """One entry of ``quantities`` in results.json; ``campaign`` in a comparison alone."""

    campaign: str | None = None
    name: str
    at: Mapping[str, str]
    sample: str | None
    unit: str
    value: float | None
    standard_uncertainty: float | None
    degrees_of_freedom: float | None
    interval: tuple[float, float] | None
    coverage: float
    method: str
    flags: tuple[str, ...]


class Spread(Record):
    """How pieces of one model scatter, pooled over the lab's archive: relative standard deviation, where it is from."""

    standard: Annotated[float, Field(gt=0, le=10)]
    degrees_of_freedom: Annotated[int, Field(ge=1)]
    campaigns: Annotated[int, Field(ge=1)]
    samples: Annotated[int, Field(ge=1)]


class PooledModel(Record):
    """One entry of ``pooled_models`` in results.json: the model's figure with the pooled spread in its uncertainty."""

    name: str
    at: Mapping[str, str]
    unit: str
    samples: Annotated[int, Field(ge=1)]
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float | None
    interval: tuple[float, float]
    coverage: float
    spread: Spread

    def figure(self, whose: str | None = None) -> Figure:
        """Return it as an entry of ``quantities``; ``whose`` stands where a comparison names a campaign."""
        fields = self.model_dump(exclude={"samples", "spread"})
        return Figure(**fields, campaign=whose, sample=None, method="", flags=())


class Curve(Record):
    """One entry of ``curves`` in results.json."""

    name: str
    sample: str | None
    file: str


class Claim(Record):
    """One entry of ``claims`` in results.json."""

    say: str
    verdict: Literal["supported", "not shown", "contradicted"]
    probability: float | None
    detail: str = ""
    together: bool | None = None


class Results(Record):
    """results.json, read again."""

    schema_: str = Field(alias="schema")
    campaign: CampaignName
    methods: Mapping[str, str]
    software: Mapping[str, JsonValue]
    inputs: Mapping[str, str]
    quantities: tuple[Figure, ...]
    comparison: Mapping[str, JsonValue] | None = None
    pooled_models: tuple[PooledModel, ...] = ()
    curves: tuple[Curve, ...] = ()
    claims: tuple[Claim, ...] = ()
    warnings: tuple[Notice, ...] = ()
