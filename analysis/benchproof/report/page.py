"""From what a notebook shows to what a page prints: the context records."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from benchproof.findings.wording import probability_words
from benchproof.report.charts import chart_view
from benchproof.report.collect import CollectedComparison
from benchproof.report.comparison import comparison_row
from benchproof.report.framing import (
    FIRST_WARNINGS,
    Files,
    coverage_words,
    framed,
    report_frame,
    warning_view,
)
from benchproof.report.linked_data import linked_data
from benchproof.report.notebook_page import notebook_body
from benchproof.report.pieces import sample_words, spread_view
from benchproof.report.printing import print_figure
from benchproof.report.prose import prose
from benchproof.report.render import method_templates
from benchproof.report.setup import setup_of
from benchproof.report.tables import figure_table, headlines_of, table_view
from benchproof.report.views import (
    ChartView,
    ChoiceView,
    ClaimView,
    ExclusionView,
    Frame,
    IndexContext,
    IndexRow,
    InspectionView,
    Link,
    MethodView,
    NotebookContext,
    Provenance,
    ReportContext,
    ScepticsContext,
    SectionView,
)
from benchproof.report.words import (
    SOURCES,
    Fact,
    facts,
    href,
    not_measured,
    point_words,
    price_words,
    quantity_title,
    slug,
    value_words,
    words,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from benchproof.campaign.models.lab import LabDetails
    from benchproof.report.collect import Collected, DrawnChart, Section
    from benchproof.report.comparison_records import ComparisonPage
    from benchproof.report.history import Past
    from benchproof.report.prose import Compare
    from benchproof.report.records import Claim, Method, Page, Results

_DEFAULT_TEMPLATE: Final = "_section.html.j2"


def report_context(
    collected: Collected, files: Files, past: Past, *, preview: bool, compare: Compare | None = None
) -> ReportContext:
    """Return everything a report's page prints.

    Parameters
    ----------
    collected : Collected
        What the notebook shows.
    files : Files
        What stands beside the page.
    past : Past
        What was published of it.
    preview : bool
        Whether it is a preview.
    compare : callable, optional
        Answers the text's comparing quotes.

    Raises
    ------
    InputError
        If the reviewer's text quotes a figure that is not there.
    """
    page, results = collected.page, collected.results
    text = prose(page.text, results.quantities, campaign=page.campaign, compare=compare)
    charts = [chart for section in collected.sections for chart in section.charts]
    main = _main_chart(page, charts)
    warnings = tuple(map(warning_view, results.warnings))
    shown = chart_view(main) if main else None
    sections = tuple(
        _section_view(section, page, files, (main, shown)) for section in collected.sections if section.method
    )
    others = tuple(t for s in _others(collected) for t in s.tables)
    budgets = tuple(table_view(t) for t in others if t.name.startswith("budget"))
    specimen = f"{page.specimen.maker} {page.specimen.model}"
    measured = [figure.name for figure in results.quantities if figure.value is not None]
    return ReportContext(
        frame=report_frame(page, text.plain or f"Bench test of {specimen}.", past, preview=preview),
        linked=linked_data(page, results, text.plain, files.groups),
        campaign=page.campaign,
        kind="motor",
        heading=page.title,
        specimen=specimen,
        tested=page.dates.tested,
        provenance=_provenance(page),
        prose=text,
        headlines=headlines_of(page, results),
        coverage=coverage_words(results),
        main_chart=shown,
        claims=tuple(map(_claim, results.claims)),
        labels=tuple(table_view(t) for t in others if t.section == "label"),
        uses=tuple(table_view(t) for t in others if t.section == "use"),
        warnings=warnings[:FIRST_WARNINGS],
        more_warnings=warnings[FIRST_WARNINGS:],
        figures=figure_table(results, _titles(collected)),
        sample_words=sample_words(page, results),
        spreads=spread_view(results),
        sections=sections,
        budgets=budgets,
        setup=setup_of(page),
        exclusions=tuple(_exclusions(page, files)),
        reply=page.reply or "",
        not_measured=not_measured(measured),
        unreached=tuple(_unreached(results)),
        cautions=tuple(dict.fromkeys(c for s in collected.sections if s.method for c in s.method.cautions)),
        downloads=files.groups,
        software=facts(results.software),
        inputs=tuple(Fact(name, digest) for name, digest in results.inputs.items()),
        data_license=page.lab.data_license or "",
        contents=_contents(sections, page, results, has_budget=bool(budgets), has_history=bool(past.history.revisions)),
        history=past.history,
    )


def notebook_context(
    page: Page | ComparisonPage, notebook: Mapping[str, Any], past: Past, *, preview: bool
) -> NotebookContext:
    """Return everything the page of an executed notebook prints."""
    return NotebookContext(
        frame=report_frame(
            page, f"How the figures of {page.title} were computed, step by step.", past, preview=preview
        ),
        campaign=page.campaign,
        heading=page.title,
        body=notebook_body(notebook),
    )


def sceptics_context(frame: Frame) -> ScepticsContext:
    """Return everything the sceptics' page prints, in the frame of the list of reports."""
    said = f"How to check a report of {frame.lab}, what would change our mind, how errata work."
    return ScepticsContext(replace(frame, title=f"For sceptics · {frame.lab}", description=said))


def index_context(rows: Sequence[IndexRow], lab: LabDetails, *, preview: bool) -> IndexContext:
    """Return everything the list of reports prints, newest test first."""
    ordered = sorted(sorted(rows, key=lambda row: row.campaign), key=lambda row: row.tested, reverse=True)
    frame = framed(
        lab,
        title=f"Reports · {lab.name}",
        description=f"Bench tests of small electric motors by {lab.name}.",
        root="",
        preview=preview,
        invented=any(row.invented for row in rows),
        mark="Preview." if preview else "",
        standing="Reports as they would look now, published or not." if preview else "",
    )
    return IndexContext(frame, lab.disclosure, tuple(ordered))


def index_row(collected: Collected | CollectedComparison, stands: str = "") -> IndexRow:
    """Return a report's row in the list; ``stands`` says in a word where it stands."""
    if isinstance(collected, CollectedComparison):
        return comparison_row(collected, stands)
    page = collected.page
    return IndexRow(
        campaign=page.campaign,
        href=f"reports/{href(page.campaign)}/index.html",
        heading=page.title,
        specimen=f"{page.specimen.maker} {page.specimen.model}",
        tested=page.dates.tested,
        headlines=headlines_of(page, collected.results)[:2],
        source=SOURCES[page.specimen.source][0],
        invented=page.invented,
        stands=stands,
    )


def _others(collected: Collected) -> tuple[Section, ...]:
    """Return the sections that belong to no method."""
    return (*(section for section in collected.sections if section.method is None), collected.shared)


def _titles(collected: Collected) -> dict[str, str]:
    return {section.key: section.method.title for section in collected.sections if section.method}


def _claim(claim: Claim) -> ClaimView:
    together = {None: "", True: "; holds with all of them together", False: "; not with all of them together"}
    chance = "" if claim.probability is None else f"probability {probability_words(claim.probability)}"
    return ClaimView(claim.say, claim.verdict, f"{chance}{together[claim.together] if chance else ''}", claim.detail)


def _provenance(page: Page) -> Provenance:
    word, sentence = SOURCES[page.specimen.source]
    price = price_words(page.specimen.price, bought=page.specimen.source == "bought")
    return Provenance(word, sentence, price, page.lab.disclosure or "")


def _main_chart(page: Page, charts: Sequence[DrawnChart]) -> DrawnChart | None:
    named = [chart for chart in charts if chart.record.name == page.main_chart]
    banded = [chart for chart in charts if any(series.role == "band" for series in chart.record.series)]
    return next(iter(named or banded), None)


def _section_view(
    section: Section, page: Page, files: Files, main: tuple[DrawnChart | None, ChartView | None]
) -> SectionView:
    """Return a test's section; of the page's main chart, which stands at the top, it only says where it is."""
    method = section.method
    own = f"{section.key}.html.j2"
    charts = [chart for chart in section.charts if chart is not main[0]]
    return SectionView(
        key=section.key,
        anchor=f"section-{slug(section.key)}",
        title=method.title if method else words(section.key),
        template=f"methods/{own}" if own in method_templates() else _DEFAULT_TEMPLATE,
        method=_method_view(method) if method else None,
        charts=tuple(map(chart_view, charts)),
        tables=tuple(table_view(table) for table in section.tables),
        moved=main[1] if len(charts) < len(section.charts) else None,
        inspections=tuple(_inspections(page, files)) if section.key == "inspection" else (),
    )


def _method_view(method: Method) -> MethodView:
    return MethodView(
        title=method.title,
        version=method.version,
        summary=method.summary,
        equations=method.equations,
        sources=method.sources,
        choices=tuple(
            ChoiceView(
                choice.name,
                value_words(choice.value),
                "" if choice.value == choice.default else value_words(choice.default),
                choice.meaning,
            )
            for choice in method.choices
        ),
        history=tuple(Fact(change.version, change.note) for change in method.history),
    )


def _inspections(page: Page, files: Files) -> Iterable[InspectionView]:
    for finding in page.inspections:
        width, height = files.photos.get(finding.photo or "", (0, 0))
        photo = href(finding.photo) if finding.photo and width else ""
        yield InspectionView(
            finding.sample,
            finding.about or "",
            finding.finding,
            photo,
            width,
            height,
        )


def _exclusions(page: Page, files: Files) -> Iterable[ExclusionView]:
    for each in page.exclusions:
        file = files.find(each.log or "")
        yield ExclusionView(words(each.test), each.sample, file, each.log or "", each.reason)


def _unreached(results: Results) -> Iterable[str]:
    for figure in results.quantities:
        if figure.value is None:
            whom = "the model" if figure.sample is None else f"sample {figure.sample}"
            point = point_words(figure.at)
            where = f" {point}" if point else ""
            yield f"{quantity_title(figure.name)}{where}, {whom}: {print_figure(figure).text}"


def _contents(
    sections: Sequence[SectionView], page: Page, results: Results, *, has_budget: bool, has_history: bool
) -> tuple[Link, ...]:
    links = [Link("figures", "All figures")]
    if results.pooled_models:
        links.append(Link("spread", "From piece to piece"))
    links += [Link(section.anchor, section.title) for section in sections]
    if has_budget:
        links.append(Link("budget", "Where the uncertainty comes from"))
    links.append(Link("setup", "Specimen, bench and conditions"))
    if page.reply:
        links.append(Link("reply", "The maker's reply"))
    links += [Link("limits", "What was not measured"), Link("cautions", "Cautions")]
    if has_history:
        links.append(Link("history", "What was published when"))
    links.append(Link("files", "Data and files"))
    return tuple(links)
