"""The campaign file: what was tested, how, and what is claimed."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, Self

from pydantic import Field, PlainValidator, WithJsonSchema, model_validator

from benchproof.campaign.models.airframe import Airframe
from benchproof.campaign.models.base import Day, Many, Model, Name, Prose, Scalar, Table, Words, doc, unknown
from benchproof.campaign.models.lab import POINT_DIMENSIONS
from benchproof.campaign.models.tests import AnyTest
from benchproof.campaign.models.values import Currency, Current, Force, Kv, Mass, Ratio, Resistance, measured
from benchproof.campaign.problems import Problem, refuse
from benchproof.campaign.units import Measured, UnitError, quantity_dimension, read_measured, spellings, what
from benchproof.nomenclature import QUANTITIES

if TYPE_CHECKING:
    from collections.abc import Iterator

RESERVED: Final = ("rigs",)
"""Folder names under runs/ that no campaign may have."""


LABELLED: Final = MappingProxyType(
    {
        "kv_no_load": "kv",
        "kv_back_emf": "kv",
        "mass": "mass",
        "thrust": "thrust",
        "current": "current",
        "winding_resistance_20c": "resistance",
    }
)
"""What a seller's label states, by the figure it is held against."""


class Dates(Model):
    """Days of the campaign."""

    received: Day | None = doc("day the samples arrived", "2026-02-24", default=None)
    tested: Day = doc("day of the tests; a test may state its own", "2026-03-02")

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.received is not None and self.received > self.tested:
            remedy = "Correct one of the two dates."
            refuse([Problem(str(self.tested), f"a day from {self.received} on", remedy, ("tested",))])
        return self


class LabelKv(Model):
    """Kv as the seller states it, with a tolerance."""

    value: Kv = doc("stated Kv", "1750 rpm/V")
    tolerance: Ratio = doc("stated tolerance", "5 %")


def _label_kv(value: object) -> Any:
    if isinstance(value, dict):
        return LabelKv.model_validate(value)
    return measured(value, "kv", "positive")


class Label(Model):
    """What the seller states."""

    kv: Annotated[
        Measured | LabelKv | None, PlainValidator(_label_kv), WithJsonSchema({"type": ["string", "object"]})
    ] = doc("stated Kv", "1750 rpm/V", default=None)
    mass: Mass | None = doc("stated mass", "33 g", default=None)
    cells: int | None = doc("stated number of cells in series", 6, default=None, ge=1, le=24)
    thrust: Force | None = doc("stated thrust", "12 N", default=None)
    current: Current | None = doc("stated current", "40 A", default=None)
    resistance: Resistance | None = doc("stated resistance", "55 mohm", default=None)


class Price(Model):
    """What it cost, where and when it was seen."""

    amount: float = doc("price", 24.0, ge=0)
    currency: Currency = doc("currency (ISO 4217)", "EUR")
    channel: Literal["direct", "retail"] = doc("who sold it: the maker (direct) or a shop (retail)", "direct")
    seen: Day = doc("day the price was seen", "2026-02-20")
    shipping: float | None = doc("shipping", 4.0, default=None, ge=0)
    margin: Ratio | None = doc("share of the price that stays with the shop, where it is known", "35 %", default=None)


class Sample(Model):
    """One piece."""

    id: Name = doc("mark of the piece", "A1")
    batch: Words | None = doc("batch", "2026-01", default=None)
    golden: bool = doc(
        "true for a retained piece of an earlier batch, tested again to see what the bench did", True, default=False
    )


class Specimen(Model):
    """What was tested."""

    maker: Words = doc("maker", "Larkspur Works")
    model: Words = doc("model", "2306")
    label: Label | None = doc("what the seller states", {"kv": "1750 rpm/V", "mass": "33 g"}, default=None)
    price: Price | None = doc("price", {"amount": 24.0, "currency": "EUR"}, default=None)
    source: Literal["bought", "supplied", "loan"] = doc("how the samples came", "bought")
    pole_pairs: int | None = doc("pairs of magnetic poles", 7, default=None, ge=1, le=50)
    connection: Literal["wye", "delta"] | None = doc("connection of the winding", "wye", default=None)
    design: Table[Words, Scalar] = Field(
        default={}, description="free attributes of the design", examples=[{"bell": "two-piece"}]
    )
    samples: Many[Sample] = doc("the pieces", [{"id": "A1", "batch": "2026-01"}], min_length=1)

    @model_validator(mode="after")
    def _distinct(self) -> Self:
        seen: set[str] = set()
        for position, sample in enumerate(self.samples):
            # Curve files carry the mark in their names, and some file systems do not tell a1 from A1.
            if sample.id.casefold() in seen:
                remedy = "Give each piece a mark of its own."
                refuse([Problem(f"the sample {sample.id} twice", "each once", remedy, ("samples", position, "id"))])
            seen.add(sample.id.casefold())
        return self


class Claim(Model):
    """A sentence that the figures support or not."""

    say: Words = doc("the sentence", "Makes more thrust at 200 W than the reference motor")
    quantity: Words = doc("the figure it is about", "thrust")
    at: Table[Words, Words] = Field(default={}, description="operating point", examples=[{"electrical_power": "200 W"}])
    relation: Literal["more", "less", "equal", "at_least", "at_most"] = doc("relation", "more")
    than: Words = doc("a campaign, label, or a value", "2026-01-alder-2306")
    by: Words | None = doc("margin of more and less", "3 %", default=None)
    within: Words | None = doc("margin of equal", "3 %", default=None)
    scope: Literal["model", "samples"] = doc("of the model or of these samples", "samples", default="model")
    sample: Name | None = doc("one sample only", "A1", default=None)
    part: Name | None = doc("part, for a mass", "bell", default=None)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        refuse(self._problems())
        return self

    def _problems(self) -> Iterator[Problem]:
        if self.quantity not in QUANTITIES:
            problem = unknown(self.quantity, tuple(QUANTITIES), "quantity")
            yield Problem(problem.found, problem.expected, problem.remedy, ("quantity",))
        for key, text in self.at.items():
            yield from point_problems(key, text, ("at", key))
        if (self.relation == "equal") != (self.within is not None):
            found = "equal without within:" if self.relation == "equal" else f"within: on {self.relation}"
            yield Problem(found, "within: beside equal, and only there", 'Add within: "3 %", or delete it.')
        if self.by is not None and self.relation not in ("more", "less"):
            yield Problem(f"by: on {self.relation}", "by: on more or less", "Delete by:.", ("by",))
        for name in ("by", "within"):
            text = getattr(self, name)
            if text is not None and self.quantity in QUANTITIES:
                yield from _margin_problems(name, text, self.quantity)


def _margin_problems(name: str, text: str, quantity: str) -> Iterator[Problem]:
    """Yield what is wrong with a margin: it is relative, or in a unit of the figure."""
    dimension = quantity_dimension(quantity)
    unit = text.strip().lstrip("+-.0123456789eE ")
    try:
        margin = read_measured(text, "ratio" if unit in spellings("ratio") else dimension, difference=True)
    except UnitError as error:
        yield Problem(error.found, f'"3 %", or {error.expected}', error.remedy, (name,))
    else:
        if margin.si < 0:
            yield Problem(what(text), "a margin that is not negative", "Delete the sign.", (name,))


def point_problems(key: str, text: str, inside: tuple[str, ...]) -> Iterator[Problem]:
    """Yield what is wrong with one key of an operating point."""
    if key in POINT_DIMENSIONS:
        try:
            read_measured(text, POINT_DIMENSIONS[key])
        except UnitError as error:
            yield Problem(error.found, error.expected, error.remedy, inside)
    elif key not in ("step", "rate", "pulse", "state_of_charge", "propeller", "flywheel", "airflow", "part"):
        problem = unknown(key, tuple(POINT_DIMENSIONS), "operating point")
        yield Problem(problem.found, problem.expected, problem.remedy, inside)


class Campaign(Model):
    """runs/<campaign>/campaign.yaml."""

    kind: Literal["motor", "comparison", "pack"] = doc("motor, comparison or pack", "motor")
    campaign: Name = doc("name of the campaign, equal to its folder's", "2026-03-larkspur-2306")
    title: Words = doc("heading of the report", "Larkspur 2306: light and thirsty")
    dates: Dates | None = doc("days of the campaign", {"tested": "2026-03-02"}, default=None)
    rig: Name | None = doc("the bench set-up", "north-bench", default=None)
    drive: Name | None = doc("drive of the rig", "drive-1", default=None)
    specimen: Specimen | None = doc("what was tested", {"maker": "Larkspur Works"}, default=None)
    tests: Many[AnyTest] = doc("the tests", [{"test": "weighing"}], default=())
    choices: Table[Words, Scalar] = Field(
        default={}, description="analysis choices other than the defaults", examples=[{"air": "as_tested"}]
    )
    claims: Many[Claim] = doc("sentences the figures must support", [{"say": "Meets its label"}], default=())
    reply: Prose | None = doc("the maker's answer, printed word for word", "We thank the lab.", default=None)
    text: Prose | None = doc("the reviewer's words, Markdown", "The motor weighs …", default=None)
    campaigns: Many[Name] = doc("campaigns of a comparison", ["2026-03-larkspur-2306"], default=())
    airframes: Table[Name, Airframe] = Field(
        default={}, description="airframes to judge the motors for, beside the lab's", examples=[{"quad-5in": {}}]
    )

    @model_validator(mode="before")
    @classmethod
    def _absent(cls, values: Any) -> Any:
        """Read a top-level key without a value as absent: the notebook's defaults are None."""
        if isinstance(values, dict):
            return {key: value for key, value in values.items() if value is not None and value != ""}
        return values

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        refuse(self._problems())
        return self

    def _problems(self) -> Iterator[Problem]:
        if self.campaign in RESERVED:
            yield Problem(what(self.campaign), "another name", "Rename the campaign.", ("campaign",))
        if self.kind == "comparison":
            yield from self._comparison_problems()
            return
        for key in ("dates", "rig", "specimen"):
            if getattr(self, key) is None:
                yield Problem(f"no {key}:", f"{key}: in a {self.kind} campaign", f"Add {key}:.", (key,))
        if not self.tests:
            yield Problem("no tests", "at least one test", "Add tests:.", ("tests",))
        if self.campaigns:
            yield Problem("campaigns:", "tests, in a campaign of its own", "Delete campaigns:.", ("campaigns",))
        samples = tuple(sample.id for sample in self.specimen.samples) if self.specimen else ()
        for position, test in enumerate(self.tests):
            if self.specimen and test.sample not in samples:
                problem = unknown(test.sample, samples, "sample of the specimen")
                yield Problem(problem.found, problem.expected, problem.remedy, ("tests", position, "sample"))
        yield from self._test_problems()

    def _test_problems(self) -> Iterator[Problem]:
        """Yield tests before the samples came, and logs that would count twice."""
        received = self.dates.received if self.dates else None
        used: dict[tuple[str, str], int] = {}
        for position, test in enumerate(self.tests):
            if received is not None and test.date is not None and test.date < received:
                remedy = "Correct one of the two dates."
                yield Problem(str(test.date), f"a day from {received} on", remedy, ("tests", position, "date"))
            log = getattr(test, "log", None)
            # Several steps of the throttle may stand in one log; any other test takes the log whole.
            if log is None or test.test == "throttle_step":
                continue
            first = used.setdefault((test.test, log), position)
            if first != position:
                remedy = "Name the log of this run, or delete one of the two tests."
                expected = f"a log of its own; tests[{first}] has this one"
                yield Problem(what(log), expected, remedy, ("tests", position, "log"))

    def _comparison_problems(self) -> Iterator[Problem]:
        if len(self.campaigns) < 2:
            yield Problem(what(self.campaigns), "two campaigns or more", "Add campaigns:.", ("campaigns",))
        for key in ("specimen", "tests", "rig", "drive"):
            if getattr(self, key):
                yield Problem(f"{key}: in a comparison", "campaigns: instead", f"Delete {key}:.", (key,))
        if self.claims:
            remedy = "Move each claim to the campaign it is about."
            yield Problem("claims: in a comparison", "claims in the campaigns compared", remedy, ("claims",))
