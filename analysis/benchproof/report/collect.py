"""Find our display objects in an executed notebook and put them in page order."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from pydantic import ValidationError

from benchproof.errors import Fault, InputError
from benchproof.findings.archive_results import FromArchive
from benchproof.findings.results import in_order
from benchproof.report.comparison_records import ComparisonPage
from benchproof.report.drawings import inert_drawing
from benchproof.report.records import MIME_PREFIX, Chart, Method, Page, Record, Results, Table

SVG: Final = "image/svg+xml"
_R = TypeVar("_R", bound=Record)


@dataclass(frozen=True, slots=True)
class DrawnChart:
    """A chart and its still.

    Parameters
    ----------
    record : Chart
        The chart as data.
    svg : str
        The still of the same output, checked to hold shapes only.
    cell : str
        The notebook's cell that shows it.
    """

    record: Chart
    svg: str
    cell: str


@dataclass(frozen=True, slots=True)
class Section:
    """What one test shows.

    Parameters
    ----------
    key : str
        The method's key, or ``page`` for what belongs to the campaign as a whole.
    method : Method or None
        What its figures were made by.
    charts : tuple of DrawnChart
        Charts in the order of the notebook.
    tables : tuple of Table
        Tables in the order of the notebook.
    """

    key: str
    method: Method | None = None
    charts: tuple[DrawnChart, ...] = ()
    tables: tuple[Table, ...] = ()


@dataclass(frozen=True, slots=True)
class CollectedComparison:
    """Everything a comparison's page is made of.

    Parameters
    ----------
    page : ComparisonPage
        Campaigns, words, notes.
    sections : tuple of Section
        Charts and tables by part, in the order of the notebook.
    results : Results
        results.json, judged.
    results_data : Mapping
        results.json as the notebook gave it, keys in its order.
    """

    page: ComparisonPage
    sections: tuple[Section, ...]
    results: Results
    results_data: Mapping[str, Any]

    @property
    def unsorted(self) -> tuple[Section, ...]:
        """What belongs to no part: nothing."""
        return ()


@dataclass(frozen=True, slots=True)
class Collected:
    """Everything a page is made of.

    Parameters
    ----------
    page : Page
        Campaign, specimen, rig, words.
    sections : tuple of Section
        One a test, in the order of the notebook.
    shared : Section
        Charts and tables that belong to no single test.
    results : Results
        results.json, judged.
    results_data : Mapping
        results.json as the notebook gave it, keys in its order.
    """

    page: Page
    sections: tuple[Section, ...]
    shared: Section
    results: Results
    results_data: Mapping[str, Any]

    @property
    def unsorted(self) -> tuple[Section, ...]:
        """What belongs to no single test."""
        return (self.shared,)


def collect(
    notebook: Mapping[str, Any],
    claims: Sequence[Mapping[str, Any]] = (),
    archive: FromArchive = FromArchive(),  # noqa: B008 - frozen
) -> Collected | CollectedComparison:
    """Return what an executed notebook shows, by section.

    Parameters
    ----------
    notebook : Mapping
        The notebook as JSON gives it (nbformat 4). Only our own mime types are read; HTML never is.
    claims : sequence of Mapping
        ``claims`` of results.json, which look at other campaigns and so are no output of the notebook.
    archive : FromArchive
        What else is no output of the notebook, because it looks at the whole archive.

    Returns
    -------
    Collected or CollectedComparison
        Sections in the order of their first appearance.

    Raises
    ------
    InputError
        If an output of ours is malformed, doubled, or if page or results are missing.
    """
    outputs = list(_outputs(notebook))
    results_place, unordered = _only_data(outputs, "results")
    results_data = in_order({**archive.into(unordered), "claims": list(claims)})
    charts = [_drawn(place, bundle, data) for place, kind, data, bundle in outputs if kind == "chart"]
    tables = _named(outputs, "table", Table)
    methods = _named(outputs, "method", Method)
    _refuse_doubles("chart", [chart.record.name for chart in charts])
    _refuse_doubles("curve file", [s.file for chart in charts for s in chart.record.series if s.file])
    _refuse_doubles("table", [f"{table.section} {table.name}" for table in tables])
    _refuse_doubles("method", [method.section for method in methods])
    sections = {key: _section(key, methods, charts, tables) for key in _order(outputs)}
    results = _judge(results_place, results_data, Results)
    if any(kind == "comparison" for _, kind, _, _ in outputs):
        compared = _only(outputs, "comparison", ComparisonPage)
        return CollectedComparison(compared, tuple(sections.values()), results, results_data)
    page = _only(outputs, "page", Page)
    shared = sections.pop("page", Section("page"))
    return Collected(page, tuple(sections.values()), shared, results, results_data)


def results_of(notebook: Mapping[str, Any]) -> dict[str, Any]:
    """Return results.json of an executed notebook, keys in the contract's order.

    Raises
    ------
    InputError
        If the notebook shows none, or several.
    """
    return in_order(_only_data(list(_outputs(notebook)), "results")[1])


_Output = tuple[str, str, Mapping[str, Any], Mapping[str, Any]]
"""Place in words, kind, our data, the whole bundle with the cell's name."""

_CELL: Final = "cell"


def _outputs(notebook: Mapping[str, Any]) -> Iterator[_Output]:
    """Yield each of our display objects with its place."""
    for number, cell in enumerate(notebook.get("cells", ()), start=1):
        for output in cell.get("outputs", ()):
            bundle = {**output.get("data", {}), _CELL: str(cell.get("id", number))}
            for mime in bundle:
                if mime.startswith(MIME_PREFIX) and mime.endswith("+json"):
                    kind = mime.removeprefix(MIME_PREFIX).removesuffix("+json")
                    yield f"cell {number}, {kind}", kind, bundle[mime], bundle


def _judge(place: str, data: Mapping[str, Any], model: type[_R]) -> _R:
    """Return the record, or raise with every fault of it."""
    try:
        return model.model_validate_json(json.dumps(data))
    except ValidationError as error:
        faults = [
            Fault(
                file="executed notebook",
                place=f"{place}: {'.'.join(str(step) for step in item['loc'])}",
                found=f"{item['input']!r:.80}",
                expected=item["msg"],
                remedy="Show it through benchproof's own display objects.",
            )
            for item in error.errors(include_url=False)
        ]
        raise InputError(*faults) from None


def _named(outputs: Sequence[_Output], kind: str, model: type[_R]) -> list[_R]:
    return [_judge(place, data, model) for place, found, data, _ in outputs if found == kind]


def _only_data(outputs: Sequence[_Output], kind: str) -> tuple[str, Mapping[str, Any]]:
    """Return the one output of that kind."""
    found = [(place, data) for place, its_kind, data, _ in outputs if its_kind == kind]
    if len(found) != 1:
        raise InputError(
            Fault(
                file="executed notebook",
                place=kind,
                found=f"{len(found)} outputs of that kind",
                expected="exactly one",
                remedy="Run the whole notebook as it was installed; each kind is shown by one cell.",
            )
        )
    return found[0]


def _only(outputs: Sequence[_Output], kind: str, model: type[_R]) -> _R:
    place, data = _only_data(outputs, kind)
    return _judge(place, data, model)


def _drawn(place: str, bundle: Mapping[str, Any], data: Mapping[str, Any]) -> DrawnChart:
    """Return a chart with the still shown beside it."""
    record = _judge(place, data, Chart)
    _check_lengths(place, record)
    still = bundle.get(SVG, "")
    text = still if isinstance(still, str) else "".join(still)
    return DrawnChart(record, inert_drawing(text, place=place), bundle[_CELL])


def _check_lengths(place: str, chart: Chart) -> None:
    """Raise if the columns of a series differ in length."""
    for series in chart.series:
        columns = [
            series.x,
            series.y,
            *(column for column in (series.low, series.high) if column is not None),
        ]
        if len({len(column) for column in columns}) > 1:
            raise InputError(
                Fault(
                    file="executed notebook",
                    place=f"{place}: series {series.label!r:.60}",
                    found=f"columns of {', '.join(str(len(column)) for column in columns)} values",
                    expected="x, y, low and high of one length",
                    remedy="Give each point all its values, null where one is missing.",
                )
            )


def _refuse_doubles(kind: str, names: Sequence[str]) -> None:
    """Raise if a name comes twice: one file or anchor would stand for two things."""
    for name, count in Counter(names).items():
        if count > 1:
            raise InputError(
                Fault(
                    file="executed notebook",
                    place=f"{kind} {name}",
                    found=f"shown {count} times",
                    expected="each once",
                    remedy="Show it once, or under another name.",
                )
            )


def _order(outputs: Sequence[_Output]) -> dict[str, None]:
    """Return the section keys in the order of first appearance."""
    shown = ("chart", "table", "method")
    return dict.fromkeys(str(data["section"]) for _, kind, data, _ in outputs if kind in shown)


def _section(key: str, methods: list[Method], charts: list[DrawnChart], tables: list[Table]) -> Section:
    method = next((method for method in methods if method.section == key), None)
    return Section(
        key,
        method,
        tuple(chart for chart in charts if chart.record.section == key),
        tuple(table for table in tables if table.section == key),
    )
