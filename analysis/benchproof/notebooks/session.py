"""What the notebooks call: the campaign opened from the notebook's parameters, one section a test.

The notebook holds the story; this module finds the workspace, checks the parameters and calls the methods. It
writes no file.
"""

from __future__ import annotations

import platform
from functools import cache, cached_property
from importlib.metadata import version
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, Final

from IPython.display import display

from benchproof.campaign.check import check_parameters
from benchproof.campaign.checked import Checked
from benchproof.campaign.models.base import required
from benchproof.campaign.workspace import Workspace
from benchproof.errors import Fault, InputError
from benchproof.findings.budget import budget_table, worth_a_budget
from benchproof.findings.differences import as_figured
from benchproof.findings.entrants import Entrant
from benchproof.findings.labels import label_table
from benchproof.findings.results import results
from benchproof.findings.samples import with_model
from benchproof.findings.stored import packed
from benchproof.findings.use import fits, use_table
from benchproof.methods import built_tests, known_choices, registry
from benchproof.methods.bench import Bench
from benchproof.methods.session_checks import check_remarks
from benchproof.notebooks.display import Shown, shown_chart, shown_method, shown_table
from benchproof.notebooks.hovering import Hovering
from benchproof.notebooks.losses import LossSection
from benchproof.notebooks.page import page_record
from benchproof.notebooks.tables import figures_table
from benchproof.trials.engine import Trials
from benchproof.trials.threads import single_threaded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.errors import Remark
    from benchproof.methods import MethodModule
    from benchproof.methods.method import Method
    from benchproof.methods.records import Figure, Reduction

PARAMETERS: Final = (
    "kind",
    "campaign",
    "title",
    "dates",
    "rig",
    "drive",
    "specimen",
    "tests",
    "choices",
    "claims",
    "reply",
    "text",
    "campaigns",
    "airframes",
)
"""The top-level keys of a campaign file, which are the variables of the parameters cell."""

SOFTWARE: Final = ("benchproof", "numpy", "scipy", "pyarrow", "pint", "pydantic", "papermill")
"""Packages whose version stands in results.json."""

_NOT_PARAMETERS: Final = frozenset({"In", "Out"})
_PLAIN: Final = (str, int, float, bool, type(None), list, dict, tuple)


def open_bench(namespace: Mapping[str, Any]) -> OpenBench:
    """Open the campaign a notebook's parameters describe.

    Parameters
    ----------
    namespace : Mapping
        The notebook's ``globals()``.

    Returns
    -------
    OpenBench
        The campaign, ready for its sections.

    Raises
    ------
    InputError
        If a parameter is misspelt or wrong, or the workspace lacks what the campaign names.
    """
    workspace = Workspace.find(Path.cwd())
    checked = check_parameters(workspace, given(namespace), built_tests=built_tests(), known_choices=known_choices())
    if not isinstance(checked, Checked):
        remedy = "Run it with the notebook of its kind."
        raise InputError(Fault("parameters", "kind", checked.campaign.kind, "motor", remedy))
    return OpenBench(workspace, checked)


def given(namespace: Mapping[str, Any]) -> dict[str, Any]:
    """Return the parameters a notebook was given.

    Raises
    ------
    InputError
        If one is misspelt.
    """
    _refuse_unknown(namespace)
    return {name: namespace[name] for name in PARAMETERS if namespace.get(name) is not None}


def _refuse_unknown(namespace: Mapping[str, Any]) -> None:
    """Refuse parameters that no campaign file has: papermill itself would run on without a word."""
    for name, value in namespace.items():
        if name.startswith("_") or name in PARAMETERS or name in _NOT_PARAMETERS:
            continue
        if isinstance(value, _PLAIN) and not isinstance(value, ModuleType):
            raise InputError(
                Fault(
                    file="parameters",
                    place=name,
                    found=f"the unknown key {name}",
                    expected="one of " + ", ".join(PARAMETERS),
                    remedy="Correct its spelling in the campaign file, or delete it.",
                )
            )


class OpenBench:
    """A campaign in a notebook.

    Parameters
    ----------
    workspace : Workspace
        Where it lies.
    checked : Checked
        Its files, read and judged.
    """

    def __init__(self, workspace: Workspace, checked: Checked) -> None:
        self.workspace = workspace
        self.checked = checked
        lab = checked.lab
        self.bench = Bench(
            lab=lab,
            rig=checked.rig,
            campaign=checked.campaign,
            trials=Trials(lab.seed, lab.trials),
            read_log=checked.log,
            read_table=checked.table,
            read_loadings=checked.loadings,
        )
        self._sections: dict[str, Section] = {}

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:
        """Show what the page's head needs to know."""
        return self.page()._repr_mimebundle_()

    def __repr__(self) -> str:
        campaign = self.bench.campaign
        return f"{campaign.campaign}: {campaign.title}"

    def page(self) -> Shown:
        """Return the facts around the figures: specimen, rig, conditions, exclusions, words."""
        return Shown("page", page_record(self.checked), repr(self))

    def section(self, key: str) -> Section:
        """Return the section of one kind of test; it is empty where the campaign has no such test."""
        if key not in self._sections:
            self._sections[key] = Section(registry()[key], self.bench)
        return self._sections[key]

    def sections(self) -> tuple[Section, ...]:
        """Return the sections of all tests the campaign has, in page order."""
        present = [self.section(key) for key in registry()]
        return tuple(section for section in present if section.present)

    @cached_property
    def figures(self) -> tuple[Figure, ...]:
        """Every figure: each sample's, then the model's."""
        found = [figure for section in self.sections() for figure in section.reduction.figures]
        return with_model(found, self.bench.campaign.campaign, self.bench.trials, golden=self.entrant_of(()).golden)

    def entrant_of(self, figures: tuple[Figure, ...]) -> Entrant:
        """Return the campaign as findings across figures see it."""
        return Entrant(self.bench.campaign, self.bench.rig, figures)

    def show_label(self) -> Shown | None:
        """Return what the seller states against what was found; nothing where nothing stated was measured."""
        table = label_table(self.entrant_of(self.figures), self.bench.lab.coverage)
        return shown_table(table, "label") if table is not None else None

    def show_use(self) -> None:
        """Show how the motor suits each airframe of the lab and of the campaign."""
        entrant, reader = self.entrant_of(self.figures), Hovering([self], as_figured)
        for name, airframe in self.checked.airframes.items():
            found = fits(airframe, [entrant], as_figured, reader)
            display(shown_table(use_table(name, airframe, found, self.bench.lab.coverage), "use"))

    @cached_property
    def losses(self) -> LossSection:
        """Where the watts go, for the samples whose tests can tell."""
        sweeps, free_runs = (self.section(key) for key in ("thrust_sweep", "no_load"))
        found = [figure for section in self.sections() for figure in section.reduction.figures]
        return LossSection(self.bench, found, sweeps.inputs, free_runs.inputs)

    def show_figures(self) -> Shown:
        """Return the table of all figures with their intervals."""
        return shown_table(figures_table(self.figures, self.bench.lab.coverage), "figures")

    def show_budgets(self) -> None:
        """Show the uncertainty budget of the model's first figure of each name."""
        for figure in worth_a_budget(self.figures):
            display(shown_table(budget_table(figure), "figures"))

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """Every warning: of the inputs, of the check weights, of the methods, of the loss budget."""
        found = (r for section in self.sections() for r in section.reduction.remarks)
        return (*self.checked.remarks, *check_remarks(self.bench), *found, *self.losses.remarks)

    def results(self) -> Shown:
        """Return results.json, without what looks at other campaigns."""
        record = results(
            self.bench.campaign.campaign,
            methods=[section.method for section in self.sections()],
            software=software(),
            inputs=self.checked.inputs,
            figures=self.figures,
            charts=[chart for section in self.sections() for chart in section.reduction.charts],
            remarks=self.remarks,
            coverage=self.bench.lab.coverage,
        )
        count = sum(q["value"] is not None for q in record["quantities"])
        return Shown("results", record, f"{count} figures of {self!r}")

    def trials(self) -> bytes:
        """Return the trials of all figures, packed, for what looks at several campaigns."""
        return packed(self.figures)


class Section:
    """One kind of test in a notebook.

    Parameters
    ----------
    module : MethodModule
        The method.
    bench : Bench
        The campaign.
    """

    def __init__(self, module: MethodModule, bench: Bench) -> None:
        self.module = module
        self.bench = bench

    @property
    def method(self) -> Method:
        """The method's description."""
        return self.module.METHOD

    @property
    def present(self) -> bool:
        """Whether the campaign has a test of this kind that counts."""
        return bool(self.bench.tests(self.method.key))

    @cached_property
    @single_threaded()
    def inputs(self) -> tuple[Any, ...]:
        """What goes into the method, one a test."""
        return tuple(self.module.gather(test, self.bench) for test in self.bench.tests(self.method.key))

    @cached_property
    @single_threaded()
    def reduction(self) -> Reduction:
        """What the method makes of it."""
        return self.module.reduce(self.inputs, self.bench)

    def about(self) -> Shown | None:
        """Return the method's description; nothing where the campaign has no such test."""
        return shown_method(self.method, self.bench.campaign.choices) if self.present else None

    def show(self, *names: str) -> None:
        """Show charts and tables by name, in that order; names the campaign's logs cannot give are passed over."""
        if not self.present:
            return
        samples = [sample.id for sample in required(self.bench.campaign.specimen).samples]
        found = {
            **{chart.name: shown_chart(chart, self.method.key, samples) for chart in self.reduction.charts},
            **{table.name: shown_table(table, self.method.key) for table in self.reduction.tables},
        }
        for name in names:
            if name in found:
                display(found[name])


@cache
def software() -> dict[str, str]:
    """Return the versions the figures came from."""
    return {"python": platform.python_version(), **{name: version(name) for name in SOFTWARE}}
