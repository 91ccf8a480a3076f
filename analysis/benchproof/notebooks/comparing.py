"""What the comparison's notebook calls: every campaign opened and reduced in process, then set side by side.

Sources of error are drawn by their identity, so the campaigns' trials here are those of their own reports: what two of
them share has the same draws in both, and cancels.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from IPython.display import display

from benchproof.campaign.check import check_parameters
from benchproof.campaign.checked import CheckedComparison
from benchproof.campaign.quoting import Quote, parse
from benchproof.campaign.workspace import Workspace
from benchproof.errors import Fault, InputError
from benchproof.findings.batches import batch_table, drifts, retests
from benchproof.findings.comparable import cancelling, drive_differences
from benchproof.findings.comparing_quotes import Comparer
from benchproof.findings.comparison_results import difference_entry, drift_entry, pair_entry, ranking_entry
from benchproof.findings.differences import differences
from benchproof.findings.entrants import told_from_each_other
from benchproof.findings.pairs import effects_table, pair_tables, pairs, pooled_effects
from benchproof.findings.ranking import LESS_IS_BETTER, has_a_better_end
from benchproof.findings.rankings import leader_words, ranking_table, rankings
from benchproof.findings.results import entry, results
from benchproof.findings.side_by_side import (
    conditions_table,
    difference_table,
    figures_table,
    leading_table,
    places,
    spread_table,
)
from benchproof.findings.spread import Pool
from benchproof.findings.stored import packed
from benchproof.findings.use import fits, use_table
from benchproof.findings.value import PER_PRICE, by_currency, pareto_chart, value_tables
from benchproof.methods import built_tests, known_choices
from benchproof.notebooks.comparison_page import comparison_record, how_it_came
from benchproof.notebooks.display import Shown, shown_chart, shown_table
from benchproof.notebooks.hovering import Hovering
from benchproof.notebooks.overlay import overlays
from benchproof.notebooks.session import OpenBench, given, software
from benchproof.trials.engine import Trials

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from benchproof.errors import Remark
    from benchproof.findings.batches import Drift
    from benchproof.findings.differences import Difference
    from benchproof.findings.entrants import Entrant
    from benchproof.findings.pairs import Pair
    from benchproof.findings.rankings import Ranking
    from benchproof.methods.records import Figure, Table

LEADING: Final = ("thrust", "electrical_power", "mass", "motor_efficiency", "peak_torque")
"""Figures that are set against the price and lead the page, where they were measured."""

_MOST_LEADERS: Final = 4


def open_comparison(namespace: Mapping[str, Any]) -> OpenComparison:
    """Open the comparison a notebook's parameters describe.

    Parameters
    ----------
    namespace : Mapping
        The notebook's ``globals()``.

    Raises
    ------
    InputError
        If a parameter is misspelt or wrong, or a campaign it compares cannot be used.
    """
    workspace = Workspace.find(Path.cwd())
    checked = check_parameters(workspace, given(namespace), built_tests=built_tests(), known_choices=known_choices())
    if not isinstance(checked, CheckedComparison):
        remedy = "Run it with the notebook of its kind."
        raise InputError(Fault("parameters", "kind", checked.campaign.kind, "comparison", remedy))
    return OpenComparison(workspace, checked)


class OpenComparison:
    """A comparison in a notebook.

    Parameters
    ----------
    workspace : Workspace
        Where it lies.
    checked : CheckedComparison
        Its campaigns, read and judged.
    """

    def __init__(self, workspace: Workspace, checked: CheckedComparison) -> None:
        self.checked = checked
        self.benches = tuple(OpenBench(workspace, member) for member in checked.members)
        self.coverage = checked.lab.coverage
        self.draws = Trials(checked.lab.seed, checked.lab.trials)

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:
        """Show what the page's head needs to know."""
        return Shown("comparison", self.page(), repr(self))._repr_mimebundle_()

    def __repr__(self) -> str:
        campaign = self.checked.campaign
        return f"{campaign.campaign}: {campaign.title}"

    def page(self) -> dict[str, Any]:
        """Return the facts around the figures."""
        leaders = [leader_words(ranking, self.labels) for ranking in self._leading()]
        return comparison_record(self.checked, self.entrants, self.benches, leaders, self._compared())

    def _compared(self) -> list[str]:
        """Return the words of the text's comparing quotes, in their order."""
        by_name = {entrant.name: entrant for entrant in self.entrants}
        quotes = (piece for piece in parse(self.checked.campaign.text or "") if isinstance(piece, Quote))
        return [
            Comparer(by_name[str(quote.of)], by_name, self.pool, self.coverage)(quote)
            for quote in quotes
            if quote.than is not None
        ]

    @cached_property
    def entrants(self) -> tuple[Entrant, ...]:
        """The campaigns with their figures, the reference first."""
        return told_from_each_other([bench.entrant_of(bench.figures) for bench in self.benches])

    @property
    def labels(self) -> dict[str, str]:
        """What each campaign's motor is called."""
        return {entrant.name: entrant.label for entrant in self.entrants}

    @cached_property
    def pool(self) -> Pool:
        """The spread of pieces, pooled over the campaigns compared."""
        return Pool.over(self.entrants, self.draws)

    @cached_property
    def differences(self) -> tuple[Difference, ...]:
        """Every model figure of every campaign against that of the first."""
        return tuple(differences(self.entrants, self.pool))

    @cached_property
    def rankings(self) -> tuple[Ranking, ...]:
        """Every figure of merit, ranked."""
        name = self.checked.campaign.campaign
        return tuple(rankings(self.entrants, self.pool, self.draws, self.coverage, name))

    @cached_property
    def pairs(self) -> tuple[Pair, ...]:
        """Every two campaigns whose declared designs differ."""
        return pairs(self.entrants, self.pool)

    @cached_property
    def retests(self) -> tuple[tuple[Entrant, Entrant, tuple[Drift, ...]], ...]:
        """Every later batch against the earlier one."""
        found = retests(self.entrants)
        return tuple((old, new, tuple(drifts(old, new, self.pool, self.coverage))) for old, new in found)

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """Every campaign's warnings, of inputs and of methods, under its motor's name."""
        return tuple(
            replace(remark, where=f"{entrant.label}, {remark.where}")
            for bench, entrant in zip(self.benches, self.entrants, strict=True)
            for remark in bench.remarks
        )

    def show_conditions(self) -> Shown:
        """Return what stood behind each campaign's figures."""
        came = {bench.bench.campaign.campaign: how_it_came(bench.bench.campaign) for bench in self.benches}
        return shown_table(conditions_table(self.entrants, came), "conditions")

    def show_overlays(self) -> None:
        """Show every curve that two campaigns or more have on equal terms, laid over each other."""
        for chart in overlays(self.benches, self.entrants):
            display(shown_chart(chart, "curves", list(self.labels.values()), keyed="model"))

    def show_ranking(self) -> None:
        """Show the rankings that lead, then all."""
        lead = ranking_table(self._leading(), self.labels)
        all_of_them = ranking_table(self.rankings, self.labels)
        self._show("ranking", [lead, replace(all_of_them, name="all_rankings", title="All rankings")])

    def show_figures(self) -> Shown:
        """Return all figures side by side."""
        return shown_table(figures_table(self.entrants, self.pool, self.coverage), "figures")

    def show_differences(self) -> None:
        """Show each campaign against the first: the figures that lead, then all."""
        reference, leading = self.entrants[0], self._merits()
        display(shown_table(leading_table(self.differences, self.entrants, leading, self.coverage), "differences"))
        for entrant in self.entrants[1:]:
            found = [each for each in self.differences if each.campaign == entrant.name]
            said = cancelling(entrant, reference)
            if drives := drive_differences(entrant, reference):
                said += f" The drive differs: {', '.join(drives)}."
            table = difference_table(found, entrant, reference, said, self.coverage)
            display(shown_table(table, "differences"))

    def show_spread(self) -> Shown | None:
        """Return what pieces of one model scatter by; nothing where no model has two pieces."""
        table = spread_table(self.entrants, self.pool, self.coverage)
        return shown_table(table, "spread") if table is not None else None

    def show_pairs(self) -> None:
        """Show the controlled pairs, those that attribute nothing, and effects over several pairs."""
        self._show("pairs", pair_tables(self.pairs, self.coverage))
        effects = effects_table(pooled_effects(self.pairs), self.coverage)
        self._show("pairs", [effects] if effects is not None else [])

    def show_value(self) -> None:
        """Show prices, figures per price, and what no other motor beats."""
        chosen = [figure for figure in self._merits() if figure.name in PER_PRICE]
        self._show("value", value_tables(self.entrants, chosen, self.pool, self.coverage))
        for currency in by_currency(self.entrants):
            for figure in self._merits()[:2]:
                less = figure.name in LESS_IS_BETTER
                chart = pareto_chart(self.entrants, figure, self.pool, self.coverage, currency, less=less)
                if chart is not None:
                    display(shown_chart(chart, "value", list(self.labels.values()), keyed="model"))

    def show_use(self) -> None:
        """Show how each motor suits each airframe."""
        reader = Hovering(self.benches, self.pool)
        for name, airframe in self.checked.airframes.items():
            found = fits(airframe, self.entrants, self.pool, reader)
            self._show("use", [use_table(name, airframe, found, self.coverage)])

    def show_batches(self) -> None:
        """Show each later batch against the earlier one."""
        self._show("batches", [batch_table(old, new, found, self.coverage) for old, new, found in self.retests])

    def results(self) -> Shown:
        """Return results.json: the models' figures by campaign, and what the comparison makes of them."""
        lab = self.checked.lab
        record = results(
            self.checked.campaign.campaign,
            methods={s.method.key: s.method for bench in self.benches for s in bench.sections()}.values(),
            software=software(),
            inputs=self.checked.inputs,
            figures=(),
            charts=(),
            remarks=self.remarks,
            coverage=lab.coverage,
        )
        record["quantities"] = [
            {**entry(figure, lab.coverage), "campaign": name} for name, figure in self._model_figures()
        ]
        record["comparison"] = {
            "campaigns": [entrant.name for entrant in self.entrants],
            "differences": [difference_entry(each, self.coverage) for each in self.differences],
            "rankings": [ranking_entry(each) for each in self.rankings],
            "pairs": [pair_entry(each) for each in self.pairs],
            "batches": [
                drift_entry(old, new, each, self.coverage) for old, new, found in self.retests for each in found
            ],
        }
        return Shown("results", record, f"{len(record['quantities'])} figures of {self!r}")

    def trials(self) -> bytes:
        """Return the trials of all figures, packed."""
        return packed(figure for _, figure in self._model_figures())

    def _model_figures(self) -> list[tuple[str, Figure]]:
        """Return every model's figures, with the pooled spread where there is one."""
        models = [(e, figure) for e in self.entrants for figure in e.figures if figure.sample is None]
        return [(entrant.name, self.pool.settled(entrant, figure)) for entrant, figure in models]

    def _merits(self) -> list[Figure]:
        """Return one figure of merit of each name that two campaigns have: at the middle one of its places."""
        common = [figure for figure in places(self.entrants).values() if has_a_better_end(figure.name, figure.at)]
        by_name = [[f for f in common if f.name == name and f.quantity is not None] for name in LEADING]
        axes = [[f for f in found if list(f.at) == list(found[0].at)] for found in by_name if found]
        return [found[len(found) // 2] for found in axes]

    def _leading(self) -> list[Ranking]:
        """Return the rankings that lead the page."""
        return [ranking for name in LEADING if (ranking := self._middle(name)) is not None][:_MOST_LEADERS]

    def _middle(self, name: str) -> Ranking | None:
        """Return a figure's ranking at the middle one of its operating points along one axis."""
        found = [ranking for ranking in self.rankings if ranking.name == name]
        same = [ranking for ranking in found if list(ranking.at) == list(found[0].at)]
        return same[len(same) // 2] if same else None

    @staticmethod
    def _show(section: str, tables: Iterable[Table]) -> None:
        for table in tables:
            display(shown_table(table, section))
