"""One campaign's report out of what is kept: for the preview, or for the site with the record it stands in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchproof.archive.bundled import bundle_sources
from benchproof.archive.manifest import Digests
from benchproof.archive.record import read_record
from benchproof.archive.second_pass import Addition, glance_of, second_pass
from benchproof.archive.staleness import run_key
from benchproof.campaign.check import check_campaign
from benchproof.campaign.quoting import Quote, parse
from benchproof.errors import RequestError
from benchproof.methods import built_tests, known_choices
from benchproof.report.collect import collect
from benchproof.report.history import Past, history, standing
from benchproof.report.page import index_row
from benchproof.report.revision import content_of, measured_digest
from benchproof.report.site import assemble_report

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from benchproof.archive.kept import Kept
    from benchproof.campaign.checked import Checked, CheckedComparison
    from benchproof.campaign.workspace import Workspace
    from benchproof.findings.archive import Archive, Glance
    from benchproof.report.collect import Collected, CollectedComparison
    from benchproof.report.revision import Content
    from benchproof.report.views import IndexRow


def checked_files(workspace: Workspace, name: str) -> Checked | CheckedComparison:
    """Return a campaign's files, judged; its logs are judged where they are read, in the notebook."""
    return check_campaign(workspace, name, built_tests=built_tests(), known_choices=known_choices(), logs=False)


@dataclass(frozen=True, slots=True)
class Materials:
    """What one campaign's report is made of.

    Parameters
    ----------
    workspace : Workspace
        Where.
    kept : Kept
        Executed notebooks.
    checked : Checked or CheckedComparison
        The campaign.
    addition : Addition
        What the second pass makes of it.
    """

    workspace: Workspace
    kept: Kept
    checked: Checked | CheckedComparison
    addition: Addition

    @classmethod
    def of(cls, workspace: Workspace, kept: Kept, name: str, archive: Archive) -> Materials:
        """Read a campaign's files, and look at the archive and at the campaigns it is held against."""
        checked = checked_files(workspace, name)
        return cls(workspace, kept, checked, second_pass(checked, kept, glance_of(archive, checked.campaign)))

    @property
    def name(self) -> str:
        """The campaign."""
        return self.checked.campaign.campaign

    def refuse_stale(self) -> None:
        """Make sure that what is kept is what the files and the software would give now.

        Raises
        ------
        RequestError
            If it is stale, or was never built.
        """
        inputs = Digests(self.workspace.root, {}).by_file(self.checked.files())
        if not self.kept.whole(self.name, run_key(inputs, self.checked.values)):
            message = (
                f"{self.name}: not built as its files and the software are now; run `benchproof build {self.name}` and "
                "look at the preview first"
            )
            raise RequestError(message)

    def content(self, collected: Collected | CollectedComparison) -> Content:
        """Return what a revision would keep of the report."""
        return content_of(
            collected,
            trials=self.checked.lab.trials,
            measured=measured_digest(self.checked.values),
            compared=self._compared(),
        )

    def content_now(self) -> Content:
        """Return what a revision would keep of the report, without assembling it."""
        return self.content(collect(self.kept.notebook(self.name), self.addition.claims, self.addition.archive))

    def assemble(
        self, folder: Path, past: Callable[[Collected | CollectedComparison], Past], *, preview: bool
    ) -> Collected | CollectedComparison:
        """Write the report into a folder.

        Parameters
        ----------
        folder : Path
            The report's folder; made.
        past : callable
            Takes what the report shows and says what was published of it.
        preview : bool
            Whether it is a preview.
        """
        inside = f"{self.checked.folder}/"
        declared = [path.removeprefix(inside) for path in self.checked.files() if path.startswith(inside)]
        return assemble_report(
            folder,
            self.kept.notebook_text(self.name),
            self.workspace.root / self.checked.folder,
            declared,
            preview=preview,
            claims=self.addition.claims,
            archive=self.addition.archive,
            compare=self.addition.compare,
            past=past,
            sources=bundle_sources(self.checked),
        )

    def _compared(self) -> tuple[str, ...]:
        """Return the answers to the text's quotes that look at other campaigns."""
        compare = self.addition.compare
        quotes = [piece for piece in parse(self.checked.campaign.text or "") if isinstance(piece, Quote)]
        return () if compare is None else tuple(compare(quote) for quote in quotes if quote.than is not None)


def previewed(
    workspace: Workspace, kept: Kept, name: str, glance: Glance, folder: Path
) -> tuple[Collected | CollectedComparison, IndexRow]:
    """Write one campaign's report for the preview; return what it shows, and its row with where it stands."""
    checked = checked_files(workspace, name)
    materials = Materials(workspace, kept, checked, second_pass(checked, kept, glance))
    revisions = read_record(workspace, name).revisions
    marks: list[str] = []

    def past(collected: Collected | CollectedComparison) -> Past:
        now = materials.content(collected)
        stands = standing(now, revisions)
        marks.append(stands.mark)
        return Past(history(revisions, pending=now), stands.sentence)

    collected = materials.assemble(folder, past, preview=True)
    return collected, index_row(collected, *marks)
