"""Publishing: built reports into the site, with one more line in a campaign's record where figures or words changed.

The order makes a kill harmless. The new site is assembled beside the old one; then the records get their lines; then
the site is put in place whole. A kill before the lines leaves everything as it was. A kill after a line leaves a record
that is ahead of the site by a revision; the next publish finds nothing changed against it, adds nothing, and brings the
site up to it.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, Literal

from benchproof.archive.assembling import Materials
from benchproof.archive.build import Build, Manner
from benchproof.archive.kept import Kept
from benchproof.archive.lock import sole_use
from benchproof.archive.publication import Publication, summary, usable_reason
from benchproof.archive.record import (
    NAME,
    CampaignRecord,
    read_record,
    record_file,
    recorded_names,
    write_record,
)
from benchproof.archive.second_pass import archive_of
from benchproof.archive.steps import problems_of
from benchproof.archive.tree import exchange, heal, link_tree
from benchproof.errors import Fault, InputError, RequestError
from benchproof.report.changes import changes
from benchproof.report.history import Past, history
from benchproof.report.revision import Content, Revision
from benchproof.report.site import read_report
from benchproof.report.site_pages import assemble_earlier, assemble_from_record, assemble_site_pages

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import date

    from benchproof.archive.outcome import Outcome
    from benchproof.campaign.models.lab import Lab
    from benchproof.campaign.workspace import Workspace
    from benchproof.findings.archive import Archive
    from benchproof.report.collect import Collected, CollectedComparison


@dataclass(frozen=True, slots=True)
class Publishing:
    """A publication of some campaigns of a workspace.

    Parameters
    ----------
    workspace : Workspace
        Where.
    names : tuple of str
        Which campaigns.
    reason : str
        Why, in the lab's words; printed in history, errata and feed.
    today : date
        The date that new revisions get.
    named : bool
        Whether the campaigns were named; a withdrawn report is published again only when it is.
    withdraw : bool
        Withdraw them instead.
    manner : Manner
        How recorded reports are built that must be made again.
    """

    workspace: Workspace
    names: tuple[str, ...]
    reason: str
    today: date
    named: bool = True
    withdraw: bool = False
    manner: Manner = field(default_factory=Manner)
    _records: dict[str, CampaignRecord] = field(default_factory=dict, init=False, repr=False)
    _archive: list[Archive] = field(default_factory=list, init=False, repr=False)

    @property
    def site(self) -> Path:
        """Where the site is."""
        return self.workspace.root / "build" / "site"

    @property
    def kept(self) -> Kept:
        """Executed notebooks of earlier builds."""
        return Kept(self.workspace.root / "build" / "kept")

    @property
    def preview(self) -> Path:
        """Where reports are published from."""
        return self.workspace.root / "build" / "preview"

    def run(self, tell: Callable[[Publication], None]) -> tuple[Publication, ...]:
        """Publish, and put the new site in place.

        Parameters
        ----------
        tell : callable
            Hears of each campaign as soon as it is known.

        Returns
        -------
        tuple of Publication
            One a campaign. One that cannot be published stops no other, and keeps its published report.

        Raises
        ------
        InputError
            If the lab file cannot be used.
        RequestError
            If the reason cannot be used, or a build is at work.
        """
        lab = self.workspace.lab()
        reason = usable_reason(self.reason)
        remade = self._make_again()
        with sole_use(self.site.parent, "publish"):
            return self._run(lab, reason, remade, tell)

    def _run(
        self, lab: Lab, reason: str, remade: dict[str, Outcome], tell: Callable[[Publication], None]
    ) -> tuple[Publication, ...]:
        self._archive[:] = [archive_of(self.workspace, self.kept)]
        self._records.update((name, read_record(self.workspace, name)) for name in self._all_names())
        heal(self.site)
        fresh = Path(mkdtemp(prefix=".site-", dir=self.site.parent))
        try:
            done = []
            for name in sorted(self.names, key=self._is_comparison):  # after what they compare
                done.append(self._one(name, lab, reason, fresh, remade))
                tell(done[-1])
            changed = [self._records[each.campaign] for each in done if each.state in {"published", "revised"}]
            changed += [self._records[each.campaign] for each in done if each.state == "withdrawn" and self.withdraw]
            self._leave_standing(fresh, lab)
            assemble_site_pages(fresh, lab, {n: r.revisions for n, r in sorted(self._records.items()) if r.revisions})
            for record in changed:
                write_record(self.workspace, record)
            exchange(fresh, self.site)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
        return tuple(sorted(done, key=lambda each: each.campaign))

    def _is_comparison(self, name: str) -> bool:
        try:
            return bool(self.workspace.campaign_document(name).values.get("kind") == "comparison")
        except InputError:
            return False

    def _all_names(self) -> Iterable[str]:
        return sorted({*recorded_names(self.workspace), *self.names})

    def _make_again(self) -> dict[str, Outcome]:
        """Build the recorded reports that are not at hand, as on a machine that has the records alone."""
        missing = [name for name in self.names if not (self.preview / "reports" / name).is_dir()]
        missing = [name for name in missing if _in_force(read_record(self.workspace, name))]
        if self.withdraw or not missing:
            return {}
        outcomes = Build(self.workspace, tuple(missing), self.manner).run(lambda _: None, lambda _: None)
        return {outcome.campaign: outcome for outcome in outcomes}

    def _one(self, name: str, lab: Lab, reason: str, fresh: Path, remade: dict[str, Outcome]) -> Publication:
        """Publish one campaign into the fresh site; say what went wrong instead of raising."""
        target = fresh / "reports" / name
        try:
            record = self._sound(name)
            if self.withdraw:
                return self._withdrawn(record, reason)
            if record.latest is not None and record.latest.withdrawn and not self.named:
                return Publication(name, "withdrawn", record.latest.revision, "was withdrawn, and stays so")
            return self._published(record, lab, reason, target, remade.get(name))
        except Exception as error:  # noqa: BLE001 - one campaign must not stop the others
            shutil.rmtree(target, ignore_errors=True)
            return Publication(name, "failed", problems=problems_of(name, error))

    def _sound(self, name: str) -> CampaignRecord:
        """Return a record that can be added to: whole, of no later date, and holding all that the site holds."""
        record = self._records[name].sound()
        beside = self.site / "reports" / name / NAME
        published = beside.read_bytes() if beside.is_file() else b""
        if not record.data.startswith(published):
            known = published.count(b"\n")
            remedy = f"Put {record_file(name)} back from version control, or from build/site/reports/{name}/{NAME}."
            found = f"{len(record.lines)} lines that do not begin with those of the site"
            raise InputError(Fault(record_file(name), "", found, f"the {known} lines that were published", remedy))
        if record.latest is not None and self.today.isoformat() < record.latest.date:
            message = (
                f"{name}: today is {self.today}, but its last revision is of {record.latest.date}; set the clock of "
                "this machine right"
            )
            raise RequestError(message)
        return record

    def _withdrawn(self, record: CampaignRecord, reason: str) -> Publication:
        name, latest = record.campaign, record.latest
        if latest is None:
            message = f"{name}: never published, so there is nothing to withdraw"
            raise RequestError(message)
        if latest.withdrawn:
            return Publication(name, "unchanged", latest.revision, f"withdrawn on {latest.date} already")
        added = record.followed_by(self._revision(name, "withdrawn", reason, Content()))
        self._records[name] = added
        return Publication(name, "withdrawn", len(added.lines), "withdrawn")

    def _published(
        self, record: CampaignRecord, lab: Lab, reason: str, target: Path, remade: Outcome | None
    ) -> Publication:
        name = record.campaign
        if remade is not None and remade.state == "failed":
            return Publication(name, "failed", problems=remade.problems)
        previewed = self._previewed(name)
        materials = Materials.of(self.workspace, self.kept, name, self._archive[0])
        materials.refuse_stale()
        self._refuse_unpublished(materials)
        made: list[tuple[CampaignRecord, Publication]] = []

        def past(collected: Collected | CollectedComparison) -> Past:
            made.append(self._revised(record, materials.content(collected), reason, again=remade is not None))
            found = made[0][0]
            return Past(history(found.revisions), record=found.data)

        published = materials.assemble(target, past, preview=False)
        _refuse_unseen(published, previewed)
        found, publication = made[0]
        assemble_earlier(target, found.revisions, lab.lab)
        self._records[name] = found
        return publication

    def _revised(
        self, record: CampaignRecord, now: Content, reason: str, *, again: bool
    ) -> tuple[CampaignRecord, Publication]:
        """Return a record with a revision of what changed, if anything did, and what to say of it."""
        name, latest = record.campaign, record.latest
        if latest is None or latest.withdrawn:
            record = record.followed_by(self._revision(name, "published", reason, now))
            return record, Publication(name, "published", len(record.lines), f"{len(now.quantities)} figures")
        found = changes(latest, now)
        if not found:
            return record, Publication(name, "unchanged", len(record.lines), "as published")
        if again:
            message = (
                f"{name}: made again, its report does not agree with revision {len(record.lines)}: {summary(found)}. "
                f"`benchproof impact {name}` tells how; `benchproof publish` once more adds a revision"
            )
            raise RequestError(message)
        record = record.followed_by(self._revision(name, "published", reason, now))
        return record, Publication(name, "revised", len(record.lines), summary(found))

    def _refuse_unpublished(self, materials: Materials) -> None:
        """Refuse a comparison of campaigns of which readers could see nothing but that."""
        for name in materials.checked.campaign.campaigns:
            latest = self._records[name].latest if name in self._records else None
            if latest is None or latest.withdrawn:
                message = f"{materials.name}: compares {name}, which is not published; publish that first, or together"
                raise RequestError(message)

    def _previewed(self, name: str) -> Collected | CollectedComparison:
        folder = self.preview / "reports" / name
        if not folder.is_dir():
            message = f"{name}: not built yet; run `benchproof build {name}` and look at the preview first"
            raise RequestError(message)
        return read_report(folder)

    def _revision(self, name: str, state: Literal["published", "withdrawn"], reason: str, content: Content) -> Revision:
        heading = {"campaign": name, "revision": 1, "date": self.today.isoformat(), "state": state, "reason": reason}
        return Revision.model_validate({**dict(content), **heading})

    def _leave_standing(self, fresh: Path, lab: Lab) -> None:
        """Take over every other published report: as it is in the site, else as its record has it."""
        (fresh / "reports").mkdir(exist_ok=True)
        for name, record in self._records.items():
            target, earlier = fresh / "reports" / name, self.site / "reports" / name
            if target.exists():
                continue
            beside = earlier / NAME
            if beside.is_file() and (record.fault is not None or beside.read_bytes() == record.data):
                link_tree(earlier, target)
            elif record.revisions:
                assemble_from_record(target, record.revisions, lab.lab, record.data)
                assemble_earlier(target, record.revisions, lab.lab)


def _refuse_unseen(published: Collected | CollectedComparison, previewed: Collected | CollectedComparison) -> None:
    """Refuse to publish what nobody could have seen in the preview."""
    if published.results != previewed.results:
        name = published.page.campaign
        message = (
            f"{name}: a campaign that it is compared with, or the archive's spread of pieces, changed since; run "
            f"`benchproof build {name}` and look at the preview first"
        )
        raise RequestError(message)


def _in_force(record: CampaignRecord) -> bool:
    return record.fault is None and record.latest is not None and not record.latest.withdrawn
