"""What a published revision holds: figures, verdicts and words as they were, and what they came from."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, Literal

from pydantic import Field, JsonValue

from benchproof.findings.causes import Origin, spread_key
from benchproof.report.archive_effects import effect_words
from benchproof.report.comparison_records import ComparisonPage
from benchproof.report.printing import print_figure
from benchproof.report.records import CampaignName, Claim, Figure, HeadlineName, Page, Record
from benchproof.report.words import point_words, quantity_title

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.report.collect import Collected, CollectedComparison
    from benchproof.report.records import Results, Spread

SCHEMA: Final = "benchproof-record/1"

Strings = Mapping[str, str]

_SETUP: Final = ("rig", "drive", "propellers", "flywheels", "instruments", "conditions")
_NO_WORDS: Final = frozenset(
    {"section", "name", "campaign", "warnings", "headline", "main_chart", "lab", "leaders", "compared", "cautions"}
    | set(_SETUP)
)
_MEASURED: Final = ("kind", "campaigns", "rig", "drive", "dates", "tests")
_MEASURED_SPECIMEN: Final = ("pole_pairs", "connection", "samples")


class Rank(Record):
    """The order of campaigns in one figure, largest first."""

    name: str
    at: Strings
    order: tuple[str, ...]


class Content(Record):
    """What a report says and what it came from; what a revision keeps of it."""

    trials: int = 0
    methods: Strings = Field(default_factory=dict)
    choices: Mapping[str, Mapping[str, JsonValue]] = Field(default_factory=dict)
    software: Mapping[str, JsonValue] = Field(default_factory=dict)
    inputs: Strings = Field(default_factory=dict)
    measured: str = ""
    setup: str = ""
    words: Mapping[str, JsonValue] = Field(default_factory=dict)
    headline: tuple[str | HeadlineName, ...] = ()
    propellers: Strings = Field(default_factory=dict)
    quantities: tuple[Figure, ...] = ()
    claims: tuple[Claim, ...] = ()
    ranks: tuple[Rank, ...] = ()
    compared: tuple[str, ...] | None = None
    spreads: Strings = Field(default_factory=dict)
    archive: Strings = Field(default_factory=dict)

    @property
    def origin(self) -> Origin:
        """What the figures came from."""
        return Origin(self.methods, self.choices, self.software, self.inputs, self.measured, self.spreads)

    def entries(self) -> list[dict[str, Any]]:
        """Return the figures as results.json has them."""
        return [figure.model_dump(mode="json") for figure in self.quantities]

    def verdicts(self) -> list[dict[str, Any]]:
        """Return the claims as results.json has them."""
        return [claim.model_dump(mode="json") for claim in self.claims]

    def orders(self) -> list[dict[str, str]]:
        """Return the order of motors in each figure as a sentence and what it says."""
        return [{"say": _order_words(rank), "verdict": ", ".join(rank.order)} for rank in self.ranks]


class Revision(Content):
    """One line of a campaign's record."""

    schema_: Literal["benchproof-record/1"] = Field(default=SCHEMA, alias="schema")
    campaign: CampaignName
    revision: int = Field(ge=1)
    date: str = Field(pattern=r"^\d{4}-\d{2}-\d{2}$")
    state: Literal["published", "withdrawn"]
    reason: str
    previous: str | None = None

    @property
    def withdrawn(self) -> bool:
        """Whether the report was withdrawn with this revision."""
        return self.state == "withdrawn"


def content_of(
    collected: Collected | CollectedComparison,
    *,
    trials: int = 0,
    measured: str = "",
    compared: tuple[str, ...] | None = None,
) -> Content:
    """Return what a revision would keep of a report.

    Parameters
    ----------
    collected : Collected
        The report.
    trials : int
        Number of trials of the lab file; 0 where it plays no part.
    measured : str
        Digest of what was measured (:func:`measured_digest`); empty where it plays no part.
    compared : tuple of str or None
        Answers to the text's comparing quotes; None where they are not known.
    """
    page, results = collected.page, collected.results
    said = page.model_dump(mode="json", exclude_none=True)
    disclosure = {"disclosure": page.lab.disclosure} if page.lab.disclosure else {}
    words = {key: value for key, value in said.items() if key not in _NO_WORDS and value not in ([], {}, "")}
    return Content(
        trials=trials,
        methods=dict(results.methods),
        choices={
            section.key: {choice.name: choice.value for choice in section.method.choices}
            for section in collected.sections
            if section.method and section.method.choices
        },
        software=dict(results.software),
        inputs=dict(results.inputs),
        measured=measured,
        setup=digest({key: said[key] for key in _SETUP if said.get(key)}),
        words={**words, **disclosure},
        headline=page.headline if isinstance(page, Page) else (),
        propellers=_serials(page) if isinstance(page, Page) else {},
        quantities=results.quantities,
        claims=results.claims,
        ranks=tuple(_ranks(collected.results_data.get("comparison") or {})),
        compared=page.compared if isinstance(page, ComparisonPage) else compared,
        spreads={spread_key(each.name, each.at): _spread_words(each.spread) for each in results.pooled_models},
        archive={**_model_words(results), **effect_words(collected.results_data)},
    )


def _spread_words(spread: Spread) -> str:
    return f"{100 * spread.standard:.2g} % ({spread.degrees_of_freedom} degrees of freedom)"


def _model_words(results: Results) -> dict[str, str]:
    """Return what the page prints of the model with the archive's spread of pieces."""
    return {spread_key(each.name, each.at): print_figure(each.figure()).text for each in results.pooled_models}


def _ranks(comparison: Mapping[str, Any]) -> Iterator[Rank]:
    """Yield the order of motors in each figure of a comparison."""
    for each in comparison.get("rankings", ()):
        placed = sorted(each["places"], key=lambda place: place["place"])
        yield Rank(name=each["name"], at=dict(each["at"]), order=tuple(place["campaign"] for place in placed))


def _order_words(rank: Rank) -> str:
    return " ".join(["Order by", quantity_title(rank.name).lower(), point_words(rank.at)]).strip()


def measured_digest(values: Mapping[str, Any]) -> str:
    """Return a digest of what a campaign file says was measured, apart from words, choices, claims and price.

    Parameters
    ----------
    values : Mapping
        The campaign file's values.
    """
    specimen = values.get("specimen") or {}
    kept = {key: values.get(key) for key in _MEASURED}
    return digest({**kept, "specimen": {key: specimen.get(key) for key in _MEASURED_SPECIMEN}})


def digest(value: object) -> str:
    """Return ``sha256:…`` of plain data, whatever the order of its keys."""
    text = json.dumps(value, sort_keys=True, ensure_ascii=True, default=str)
    return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"


def _serials(page: Page) -> dict[str, str]:
    """Return the serial number of each propeller by its name: figures compare on the same one only."""
    return {str(each.get("name", "")): str(each.get("serial", "")) for each in page.propellers}
