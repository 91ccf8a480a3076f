"""From what a comparison's notebook shows to what its page prints."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from benchproof.report.archive_effects import beside_pairs, with_archive
from benchproof.report.charts import chart_view
from benchproof.report.framing import FIRST_WARNINGS, coverage_words, report_frame, warning_view
from benchproof.report.prose import prose
from benchproof.report.tables import table_view
from benchproof.report.views import (
    ComparisonContext,
    Frame,
    IndexRow,
    Link,
    MemberView,
    PartView,
    Provenance,
)
from benchproof.report.words import SOURCES, Fact, facts, href, words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchproof.report.collect import CollectedComparison, DrawnChart, Section
    from benchproof.report.comparison_records import ComparisonPage, Member
    from benchproof.report.framing import Files
    from benchproof.report.history import Past

_PARTS: Final = {
    "ranking": ("Who is best at what", ""),
    "conditions": ("What was compared", ""),
    "figures": ("Figures side by side", ""),
    "differences": (
        "Differences",
        "What two motors share in errors cancels here, so these intervals are the ones to judge a difference by.",
    ),
    "pairs": ("What a change of design does", ""),
    "batches": ("A later batch", ""),
    "value": ("Value for money", ""),
    "use": ("Who it suits", ""),
    "curves": ("Curves", "Keys switch a model on and off."),
    "spread": ("From piece to piece", ""),
}
"""Parts of a comparison in page order: title and how to read it."""

_OPEN: Final = {"ranking": 1, "figures": 0, "differences": 1, "pairs": 1, "spread": 0, "curves": 0}
"""How many tables and charts of a part stand open where not all do; a phone has room for few."""

_MAIN: Final = "compared_thrust_vs_electrical_power"


def comparison_context(collected: CollectedComparison, files: Files, past: Past, *, preview: bool) -> ComparisonContext:
    """Return everything a comparison's page prints.

    Parameters
    ----------
    collected : CollectedComparison
        What the notebook shows.
    files : Files
        What stands beside the page.
    past : Past
        What was published of it.
    preview : bool
        Whether it is a preview.

    Raises
    ------
    InputError
        If the reviewer's text quotes a figure that is not there.
    """
    page, results = collected.page, collected.results
    answers = iter(page.compared)
    text = prose(page.text, results.quantities, campaign=page.campaign, compare=lambda _: next(answers))
    main = _main_chart(collected)
    parts = tuple(_parts(collected, main))
    warnings = tuple(map(warning_view, results.warnings))
    return ComparisonContext(
        frame=_frame(page, text.plain, past, preview=preview),
        campaign=page.campaign,
        kind="comparison",
        heading=page.title,
        prose=text,
        leaders=page.leaders,
        disclosure=page.lab.disclosure or "",
        sources=tuple(_sources(page)),
        members=tuple(map(_member, page.members)),
        coverage=coverage_words(results),
        main_chart=chart_view(main) if main else None,
        parts=parts,
        warnings=warnings[:FIRST_WARNINGS],
        more_warnings=warnings[FIRST_WARNINGS:],
        reply=page.reply or "",
        cautions=page.cautions,
        downloads=files.groups,
        software=facts(results.software),
        inputs=tuple(Fact(name, digest) for name, digest in results.inputs.items()),
        data_license=page.lab.data_license or "",
        contents=(
            *(Link(part.anchor, part.title) for part in parts),
            Link("notes", "What was noted of each"),
            Link("cautions", "Cautions"),
            *([Link("history", "What was published when")] if past.history.revisions else []),
            Link("files", "Data and files"),
        ),
        history=past.history,
    )


def comparison_row(collected: CollectedComparison, stands: str = "") -> IndexRow:
    """Return a comparison's line in the list of reports; it stands by its latest test."""
    page = collected.page
    sources = dict.fromkeys(SOURCES[member.source][0] for member in page.members)
    return IndexRow(
        campaign=page.campaign,
        href=f"reports/{href(page.campaign)}/index.html",
        heading=page.title,
        specimen=f"Comparison: {', '.join(member.label for member in page.members)}",
        tested=max(member.tested for member in page.members),
        headlines=(),
        source=", ".join(sources),
        invented=page.invented,
        stands=stands,
    )


def _frame(page: ComparisonPage, plain: str, past: Past, *, preview: bool) -> Frame:
    compared = ", ".join(member.label for member in page.members)
    return report_frame(page, plain or f"Bench comparison of {compared}.", past, preview=preview)


def _main_chart(collected: CollectedComparison) -> DrawnChart | None:
    charts = [chart for section in collected.sections if section.key == "curves" for chart in section.charts]
    return next((chart for chart in charts if chart.record.name == _MAIN), next(iter(charts), None))


def _parts(collected: CollectedComparison, main: DrawnChart | None) -> Iterator[PartView]:
    by_key: dict[str, Section] = {section.key: section for section in collected.sections}
    for key, (title, lead) in _PARTS.items():
        section = by_key.get(key)
        if section is None:
            continue
        charts = tuple(chart_view(chart) for chart in section.charts if chart is not main)
        beside = beside_pairs(collected.results_data) if key == "pairs" else {}
        tables = tuple(with_archive(table_view(table), beside.get(table.name)) for table in section.tables)
        if charts or tables:
            first = _OPEN.get(key, len(tables) + len(charts))
            yield PartView(f"part-{key}", title, lead, tables[:first], tables[first:], charts[:first], charts[first:])


def _sources(page: ComparisonPage) -> Iterator[Provenance]:
    """Yield who paid, with the motors it holds for."""
    for source, (word, sentence) in SOURCES.items():
        labels = [member.label for member in page.members if member.source == source]
        if labels:
            yield Provenance(f"{word}: {', '.join(labels)}", sentence, "", "")


def _member(member: Member) -> MemberView:
    return MemberView(
        label=member.label,
        maker=member.maker,
        href=f"../{href(member.campaign)}/index.html",
        tested=member.tested,
        notes=tuple(f"{note.sample}{f', {note.about}' if note.about else ''}: {note.finding}" for note in member.notes),
        exclusions=tuple(f"{words(e.test)}, {e.sample}, left out: {e.reason}" for e in member.exclusions),
    )
