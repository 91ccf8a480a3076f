"""`verify`: a reader's check of a bundle, with the reader's own benchproof, in a scratch folder.

Checksums first; then the bundle held against itself; then the analysis run again and every figure and curve compared.
Claims are not judged again. How pieces of one model scatter over all the lab's motors no bundle can show: figures of
the model that rest on it are formed again with the spread that the report states, and the check says so. No code of the
bundle runs unless the reader asks for it in so many words.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from benchproof.archive.agreement import Agreement, compare_curves, compare_figures, noise_of
from benchproof.archive.running import Executed, Run, execute
from benchproof.archive.scratch import scratch_workspace
from benchproof.archive.stated_spread import with_stated_spread
from benchproof.archive.suspicion import contradictions, input_problems, is_own, is_own_notebook, packed_software
from benchproof.archive.unpacking import sum_problems, unpack
from benchproof.campaign.check import check_campaign
from benchproof.campaign.workspace import Workspace
from benchproof.errors import BenchproofError, BundleRefused, NotebookFailed, RequestError
from benchproof.methods import built_tests, known_choices
from benchproof.report.collect import collect
from benchproof.report.records import Results
from benchproof.report.tabular import curve_csv, curve_files
from benchproof.report.words import visible

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from benchproof.archive.suspicion import Packed
    from benchproof.campaign.checked import Checked, CheckedComparison
    from benchproof.report.collect import Collected, CollectedComparison
    from benchproof.report.records import Figure

RESULTS: Final = "results.json"


@dataclass(frozen=True, slots=True)
class Version:
    """A version that is not the report's.

    Parameters
    ----------
    name : str
        What of.
    published, here : str
        The report's, the reader's; empty where there is none.
    """

    name: str
    published: str
    here: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What a check of a bundle found.

    Parameters
    ----------
    campaign : str
        The campaign; empty where the bundle does not say.
    problems : tuple of str
        What was tampered with, is missing, or could not be run; a sentence each.
    agreements : tuple of Agreement
        How every figure and curve came out.
    versions : tuple of Version
        What differs in the software.
    choices : Mapping
        Choices of the reader that replaced the campaign's.
    pooled : int
        How many figures of the model rest on the spread of pieces that the report states.
    """

    campaign: str
    problems: tuple[str, ...] = ()
    agreements: tuple[Agreement, ...] = ()
    versions: tuple[Version, ...] = ()
    choices: Mapping[str, str] = field(default_factory=dict)
    pooled: int = 0

    @property
    def differing(self) -> tuple[Agreement, ...]:
        """What did not come out again."""
        return tuple(each for each in self.agreements if each.state == "differs")

    @property
    def ok(self) -> bool:
        """Whether all is well; with choices of the reader's own, differences are what was asked for."""
        return not self.problems and (bool(self.choices) or not self.differing)

    def record(self) -> dict[str, Any]:
        """Return it as plain data for ``--json``."""
        return {
            "ok": self.ok,
            "campaign": self.campaign,
            "problems": list(self.problems),
            "choices": dict(self.choices),
            "with_the_stated_spread": self.pooled,
            "versions": [{"name": v.name, "published": v.published, "here": v.here} for v in self.versions],
            "agreements": [each.record() for each in self.agreements],
        }


def verify(bundle: Path, choices: Mapping[str, str], *, bundled_notebook: bool = False) -> Verification:
    """Check a bundle.

    Parameters
    ----------
    bundle : Path
        The file.
    choices : Mapping of str to str
        Choices that replace the campaign's.
    bundled_notebook : bool
        Run the notebook that came in the bundle: this is code of whoever made it.

    Raises
    ------
    RequestError
        If it is not a bundle, or a choice is not one.
    """
    _refuse_choices(choices)
    with TemporaryDirectory(prefix="benchproof-verify-") as folder:
        scratch = Path(folder)
        try:
            unpack(bundle, scratch / "bundle")
            return _Check(scratch, choices, bundled_notebook).run()
        except BundleRefused as error:
            return Verification("", error.reasons, choices=choices)


def _refuse_choices(choices: Mapping[str, str]) -> None:
    known = known_choices()
    for name, value in choices.items():
        if name not in known:
            message = f"no choice {name!r}; there are {', '.join(sorted(known))}"
            raise RequestError(message)
        if expected := known[name](value):
            message = f"the choice {name} cannot be {value!r}; expected {expected}"
            raise RequestError(message)


@dataclass(frozen=True, slots=True)
class _Check:
    """One check of an unpacked bundle."""

    scratch: Path
    choices: Mapping[str, str]
    bundled_notebook: bool

    @property
    def root(self) -> Path:
        return self.scratch / "bundle"

    def run(self) -> Verification:
        """Check sums and contradictions, run again, compare."""
        problems = sum_problems(self.root)
        try:
            published = self._published()
            checked = self._checked(published.campaign)
        except BenchproofError as error:
            return Verification("", (*problems, *str(error).splitlines()), choices=self.choices)
        kind = checked.campaign.kind
        packed = packed_software(self.root, kind)
        problems += contradictions(self.root, published, packed, kind)
        problems += input_problems(published, checked.inputs)
        found = Verification(published.campaign, tuple(problems), choices=self.choices)
        try:
            here = self._here(checked, published)
        except BenchproofError as error:
            said = str(error) if not isinstance(error, NotebookFailed) else f"{error.cell}: {error.error}"
            return replace(found, problems=(*problems, *(f"the analysis does not run: {x}" for x in said.splitlines())))
        return self._compared(found, published, here, checked, packed)

    def _published(self) -> Results:
        """Return the bundle's results.

        Raises
        ------
        BundleRefused
            If there are none that can be read.
        """
        try:
            return Results.model_validate_json((self.root / RESULTS).read_bytes())
        except (OSError, ValidationError, RecursionError):
            raise BundleRefused(f"{RESULTS} is missing, or is no results of a campaign") from None  # noqa: EM102

    def _checked(self, name: str) -> Checked | CheckedComparison:
        return check_campaign(
            Workspace(self.root), name, built_tests=built_tests(), known_choices=known_choices(), logs=False
        )

    def _here(self, checked: Checked | CheckedComparison, published: Results) -> Collected | CollectedComparison:
        """Run the campaign again, and let its samples speak for the model with the spread that the report states."""
        values = dict(checked.values)
        if self.choices:
            values["choices"] = {**(values.get("choices") or {}), **self.choices}
        kind = checked.campaign.kind
        notebook = self.root / f"{kind}.ipynb" if self.bundled_notebook else None
        run = Run(checked.campaign.campaign, kind, values, checked.sections, kernels="plain", notebook=notebook)
        with scratch_workspace(self.root, self.scratch / "runs", checked.inputs) as place:
            executed = self._executed(run, place)
        return collect(executed.notebook, archive=with_stated_spread(executed, checked, published))

    def _executed(self, run: Run, place: Path) -> Executed:
        """Run a notebook; one of a stranger's that is no notebook at all is refused in words."""
        try:
            return execute(run, place, self.scratch / "failed")
        except BenchproofError:
            raise
        except Exception as error:
            if run.notebook is None:
                raise
            message = f"{run.notebook.name} of the bundle is no notebook that can be run ({type(error).__name__})"
            raise BundleRefused(message) from error

    def _compared(
        self,
        found: Verification,
        published: Results,
        here: Collected | CollectedComparison,
        checked: Checked | CheckedComparison,
        packed: Packed,
    ) -> Verification:
        versions = tuple(_versions(published, here.results))
        if not is_own(packed):
            versions += (Version("benchproof's files", "the wheel in the bundle", "the installed copy"),)
        noise = noise_of(checked.lab.trials, same_versions=not versions)
        if not is_own_notebook(self.root, checked.campaign.kind):
            told = "run, as asked for" if self.bundled_notebook else "not run"
            versions += (Version("notebook", f"the bundle's, {told}", "the installed one"),)
        charts = [chart.record for section in (*here.sections, *here.unsorted) for chart in section.charts]
        curves = {name: curve_csv(*each) for name, each in curve_files(charts).items()}
        agreements = (
            *compare_figures(_figures(published), _figures(here.results), noise),
            *compare_curves(self._published_curves(published), curves, noise),
        )
        pooled = len(published.pooled_models)
        return replace(found, agreements=agreements, versions=versions, pooled=pooled)

    def _published_curves(self, published: Results) -> dict[str, str]:
        there = {path.relative_to(self.root).as_posix(): path for path in self.root.glob("curves/*.csv")}
        listed = {curve.file for curve in published.curves}
        texts = {name: path.read_text(encoding="utf-8", errors="replace") for name, path in there.items()}
        return {name: texts.get(name, "") for name in sorted(listed | there.keys())}


def _figures(results: Results) -> tuple[Figure, ...]:
    """Return all figures, and what the samples tell of the model with the stated spread of pieces."""
    return (*results.quantities, *(each.figure("with the stated spread") for each in results.pooled_models))


def _versions(published: Results, here: Results) -> Iterator[Version]:
    """Yield the versions that differ, of software and of methods."""
    for what, theirs, ours in (
        ("", published.software, here.software),
        ("method ", published.methods, here.methods),
    ):
        for name in {**theirs, **ours}:
            if theirs.get(name) != ours.get(name):
                yield Version(f"{what}{name}", str(theirs.get(name, "")), str(ours.get(name, "")))


def in_words(found: Verification) -> Sequence[str]:
    """Return a check as lines for a terminal: counts, what differs, which versions, the verdict."""
    return [visible(line) for line in _lines(found)]


def _lines(found: Verification) -> Iterator[str]:
    yield f"campaign   {found.campaign or 'unknown'}"
    for problem in found.problems:
        yield f"PROBLEM    {problem}"
    for kind in ("figure", "curve"):
        its = [each.state for each in found.agreements if each.kind == kind]
        if its:
            noise, apart = its.count("within trial noise"), its.count("differs")
            told = (
                f"{its.count('identical')} identical to the printed digits, {noise} within trial noise, {apart} differ"
            )
            yield f"{kind + 's':10} {told}"
    if found.pooled:
        yield f"spread     {found.pooled} figures of the model formed with the spread of pieces that the report states"
    for each in found.agreements:
        if each.state != "identical":
            yield f"{each.state.split(' ')[0]:10} {_spoken(each)}"
    for version in found.versions:
        yield f"version    {version.name}: the report's {version.published or 'none'}, here {version.here or 'none'}"
    for name, value in found.choices.items():
        yield f"choice     {name}: {value}, yours; differences follow from it"
    yield _verdict(found)


def _spoken(each: Agreement) -> str:
    by = each.reason or ("" if each.uncertainties is None else f"{each.uncertainties:.2g} standard uncertainties")
    both = (
        f": {each.published or 'nothing'} in the report, {each.here or 'nothing'} here"
        if each.published or each.here
        else ""
    )
    return f"{each.name}{both}{f' ({by})' if by else ''}"


def _verdict(found: Verification) -> str:
    if found.problems:
        return "This bundle is not as it was published, or cannot be run again: see above."
    if found.choices:
        return "Run again with your choices; every figure that moved stands above."
    if found.differing:
        return "Some of it does not come out again: see above."
    return "Everything comes out again."
