"""A reader's run of a bundle, with the spread of pieces that the report states."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchproof.campaign.checked import Checked
from benchproof.errors import BundleRefused
from benchproof.findings.archive_results import FromArchive
from benchproof.findings.entrants import Entrant
from benchproof.findings.model_figures import pooled_models, spreads_of
from benchproof.findings.spread import Pool
from benchproof.findings.stored import unpacked
from benchproof.report.collect import results_of
from benchproof.trials.engine import Trials

if TYPE_CHECKING:
    from benchproof.archive.running import Executed
    from benchproof.campaign.checked import CheckedComparison
    from benchproof.report.records import Results


def with_stated_spread(executed: Executed, checked: Checked | CheckedComparison, published: Results) -> FromArchive:
    """Return the model's figures with the spread of pieces that the report states.

    Raises
    ------
    BundleRefused
        If what was run hands out no trials of its figures.
    """
    if not published.pooled_models or not isinstance(checked, Checked):
        return FromArchive()
    stated = [each.model_dump(mode="json") for each in published.pooled_models]
    pool = Pool(spreads_of(stated), Trials(checked.lab.seed, checked.lab.trials))
    try:
        entries = results_of(executed.notebook)["quantities"]
        entrant = Entrant(checked.campaign, checked.rig, unpacked(entries, executed.trials))
        return FromArchive(pooled_models(entries, entrant, pool, checked.lab.coverage))
    except (ValueError, KeyError, TypeError):
        raise BundleRefused("the notebook that was run hands out no trials of its figures") from None  # noqa: EM101
