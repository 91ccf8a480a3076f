"""The order of a build's steps: first every campaign's figures, then, with what the archive comes to, the reports.

A build of some campaigns looks round for the others that tell of the spread of pieces, so that it gives what a build
of all would give.
"""

from __future__ import annotations

from collections import defaultdict, deque
from concurrent.futures import FIRST_COMPLETED, wait
from typing import TYPE_CHECKING, Final

from benchproof.archive.outcome import Outcome
from benchproof.archive.staleness import report_key
from benchproof.archive.steps import First, Second, assemble_step, problems_of, run_step
from benchproof.archive.tree import Placed
from benchproof.errors import InputError
from benchproof.findings.archive import Archive, Glance, Traits
from benchproof.findings.designs import design_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from concurrent.futures import Future
    from pathlib import Path

    from benchproof.archive.reading import Reading
    from benchproof.archive.steps import Place
    from benchproof.archive.tree import Linking
    from benchproof.archive.workers import Crew

_AHEAD: Final = 2
"""Steps handed to each worker ahead of time, so that none waits for the next; few, so that reports come as they can."""


class Schedule:
    """The steps of a build under way.

    Parameters
    ----------
    place : Place
        Where steps are carried out.
    crew : Crew
        By whom.
    reading : Reading
        What has changed.
    earlier : Mapping of str to Placed
        Reports that can be used again where their keys hold.
    folder : Path
        Where reports are written.
    linking : Linking
        Brings there what an earlier build left, while notebooks run.
    """

    def __init__(
        self,
        place: Place,
        crew: Crew,
        reading: Reading,
        earlier: Mapping[str, Placed],
        folder: Path,
        linking: Linking,
    ) -> None:
        self.place = place
        self.crew = crew
        self.reading = reading
        self.earlier = earlier
        self.folder = folder
        self.linking = linking
        self.placed: dict[str, Placed] = {}
        self.assembled = False
        self._outcomes: list[Outcome] = []
        self._first: dict[str, First] = {}
        self._keys: dict[str, str] = {}
        self._archive: Archive | None = None
        self._unrun: dict[str, Traits] = {}
        self._glances: dict[str, Glance] = {}
        self._others: dict[str, set[str]] = {}
        self._to_judge: deque[str] = deque()
        self._to_run: deque[str] = deque()
        self._to_assemble: deque[str] = deque()
        self._under_way: dict[Future[First | Second], str] = {}
        self._missing: dict[str, set[str]] = {}
        self._lookers: defaultdict[str, list[str]] = defaultdict(list)

    def run(self, names: Iterable[str], tell: Callable[[Outcome], None], note: Callable[[str], None]) -> list[Outcome]:
        """Carry out every step that is due for these campaigns and for those they look at; return their outcomes."""
        self._tell, self._note, self._noted = tell, note, {""}
        self._wanted = frozenset(names)
        self._begun = set(self._wanted)
        self._to_judge.extend(sorted(self._wanted))
        self._look_round()
        self._judge_all()
        if self._to_run:
            self.linking.start(name for name in self.earlier if name in self.reading.names and name in self._first)
        while True:
            self._judge_all()
            if self._archive is None and self._begun == self._first.keys():
                self._know_archive()
            if not (self._to_judge or self._to_run or self._to_assemble or self._under_way):
                return self._outcomes
            self._hand_out()
            done, _ = wait(self._under_way, return_when=FIRST_COMPLETED)
            for future in done:
                self._take_in(self._under_way.pop(future), future)

    def _look_round(self) -> None:
        """Take in what the campaigns that were not asked for tell the archive; run those that changed and tell of it.

        A campaign with one piece tells nothing of the spread, so it is left as it is.
        """
        for name in self.reading.names:
            if name in self._wanted:
                continue
            first = self.reading.passed_over(name, self.place.kept)
            if first is not None:
                self._begun.add(name)
                self._first_done(first)
                continue
            self.reading.forget(name)
            try:
                specimen = self.place.workspace.campaign(name).specimen
            except InputError:
                continue
            if specimen is not None and sum(not sample.golden for sample in specimen.samples) > 1:
                self._begin({name})
            elif specimen is not None:
                self._unrun[name] = Traits(design_of(specimen))

    def _judge_all(self) -> None:
        while self._to_judge:
            name = self._to_judge.popleft()
            first = self.reading.passed_over(name, self.place.kept)
            if first is None:
                self._to_run.append(name)
            else:
                self._first_done(first)

    def _hand_out(self) -> None:
        """Keep the workers supplied, assembling before running."""
        room = _AHEAD * max(1, self.crew.slots()) - len(self._under_way)
        submit = self.crew.executor.submit
        for _ in range(max(0, room)):
            if self._to_assemble:
                name = self._to_assemble.popleft()
                target, glance = str(self.folder / name), self._glances[name]
                self._under_way[submit(assemble_step, self.place, name, target, glance)] = name
            elif self._to_run:
                name = self._to_run.popleft()
                self._under_way[submit(run_step, self.place, name)] = name

    def _take_in(self, name: str, future: Future[First | Second]) -> None:
        try:
            done = future.result()
        except Exception as error:  # noqa: BLE001 - a worker was lost with it too often, or could not take it
            done = First(name, "failed", problems=problems_of(name, error))
        if isinstance(done, Second):
            self._second_done(done)
        else:
            if done.note not in self._noted:
                self._noted.add(done.note)
                self._note(f"kernels are started one by one: {done.note}")
            self.reading.judged(done)
            self._first_done(done)

    def _begin(self, names: set[str]) -> None:
        self._to_judge.extend(sorted(names - self._begun))
        self._begun |= names

    def _first_done(self, first: First) -> None:
        name = first.campaign
        self._first[name] = first
        self._begin(set(first.refers_to) if name in self._wanted else set())
        if name in self._wanted and first.state == "failed":
            self._say(Outcome(name, "failed", first.problems))
        for looker in self._lookers.pop(name, ()):
            self._missing[looker].discard(name)
            if not self._missing[looker]:
                self._due(looker)

    def _know_archive(self) -> None:
        """Say what the archive comes to, now that all that tell of it have their figures, and what reports need."""
        self.linking.stop()  # from here on reports are put where it works
        found = {name: first.traits for name, first in self._first.items() if first.state != "failed"}
        traits = {name: each for name, each in found.items() if each is not None}
        self._archive = Archive({**self._unrun, **traits})
        for name in sorted(self._wanted):
            if self._first[name].state != "failed":
                self._look(name, self._archive)

    def _look(self, name: str, archive: Archive) -> None:
        """Find out what a report looks at; it is due when all of that has its figures."""
        first = self._first[name]
        self._glances[name] = archive.of_comparison(first.compares) if first.compares else archive.of_motor(name)
        self._others[name] = {*first.refers_to, *self._glances[name].campaigns} - {name}
        self._begin(self._others[name])
        self._missing[name] = self._others[name] - self._first.keys()
        for other in self._missing[name]:
            self._lookers[other].append(name)
        if not self._missing[name]:
            self._due(name)

    def _due(self, name: str) -> None:
        """Assemble a report, unless the earlier one holds."""
        first = self._first[name]
        others = {other: self._first[other].key for other in self._others[name]}
        self._keys[name] = report_key(first.key, others, self._glances[name].key, self.reading.beside(name))
        earlier = self.earlier.get(name)
        if earlier is not None and earlier.key == self._keys[name]:
            self.placed[name] = earlier
            self._say(Outcome(name, first.state, warnings=earlier.warnings))
        else:
            self._to_assemble.append(name)

    def _second_done(self, second: Second) -> None:
        name = second.campaign
        if second.row is None:
            self.reading.again(name)
            self._say(Outcome(name, "failed", second.problems))
            return
        self.placed[name] = Placed(self._keys[name], second.warnings, second.row)
        self.assembled = True
        self._say(Outcome(name, self._first[name].state, warnings=second.warnings))

    def _say(self, outcome: Outcome) -> None:
        self._outcomes.append(outcome)
        self._tell(outcome)
