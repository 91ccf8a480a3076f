"""What a build knows of the campaigns before it runs any: which are as an earlier build saw them."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

from benchproof.archive.manifest import Digests, Manifest, Seen
from benchproof.archive.steps import First, beside

if TYPE_CHECKING:
    from benchproof.archive.kept import Kept
    from benchproof.campaign.workspace import Workspace


class Reading:
    """The inputs as they are now, against what an earlier build saw.

    Parameters
    ----------
    workspace : Workspace
        Where.
    manifest : Manifest
        What the earlier build saw.
    software : str
        Digest of the software now.
    recheck : bool
        Trust nothing of the earlier build.
    """

    def __init__(self, workspace: Workspace, manifest: Manifest, software: str, *, recheck: bool) -> None:
        self.software = software
        self.names = workspace.campaign_names()
        self.digests = Digests(workspace.root, {} if recheck else manifest.files)
        self.archive = hashlib.sha256("\0".join(self.names).encode()).hexdigest()
        usable = not recheck and manifest.software == software
        self.seen = {n: s for n, s in manifest.campaigns.items() if usable and n in self.names}
        self.same_archive = manifest.archive == self.archive

    def passed_over(self, name: str, kept: Kept) -> First | None:
        """Return a campaign's first step where nothing it depends on has changed; None where it must be judged.

        A campaign whose page names others is judged again when a campaign came or went: a name may be one now.
        """
        seen = self.seen.get(name)
        if seen is None or (seen.refers_to and not self.same_archive):
            return None
        if not all(self.digests.same(file) for file in seen.files) or self.digests.over(seen.files) != seen.digest:
            return None
        if not kept.holds(name, seen.key):
            return None
        return First(name, "unchanged", seen.key, seen.refers_to, seen.compares, seen.traits)

    def judged(self, first: First) -> None:
        """Take in what a first step found."""
        self.digests.stamps.update(first.stamps)
        if first.state == "failed":
            self.forget(first.campaign)
        else:
            files = tuple(first.stamps)
            told = (first.refers_to, first.compares, first.traits)
            self.seen[first.campaign] = Seen(first.key, files, self.digests.over(files), *told)

    def forget(self, name: str) -> None:
        """Have a campaign judged anew by the next build, and tell the archive nothing until then."""
        self.seen.pop(name, None)

    def again(self, name: str) -> None:
        """Have a campaign judged anew by the next build; what it tells the archive stands."""
        if name in self.seen:
            self.seen[name] = replace(self.seen[name], digest="")

    def beside(self, name: str) -> str:
        """Return the digest of the files a campaign's page shows and its notebook does not read."""
        return self.digests.over(beside(name))

    def manifest(self) -> Manifest:
        """Return what this build saw, for the next."""
        names = {file for seen in self.seen.values() for file in seen.files}
        stamps = {**self.digests.known, **self.digests.stamps}
        return Manifest(self.software, self.archive, {n: stamps[n] for n in sorted(names) if n in stamps}, self.seen)
