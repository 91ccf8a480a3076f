"""The words in a bundle: what is in it, how to check it, how to run it again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from benchproof.report.citing import NO_LICENCE, specimen_words, tested
from benchproof.report.words import visible

if TYPE_CHECKING:
    from benchproof.report.comparison_records import ComparisonPage
    from benchproof.report.records import Page

_INVENTED: Final = """
**Invented data.** Lab, makers, motors and readings do not exist. A simulator wrote them.
"""

_TEXT: Final = """\
# {title}

Everything that is needed to compute the figures of one bench report again: {specimen}, tested {tested} by {lab}.
Campaign `{campaign}`.
{invented}
## Check that the files are whole

    sha256sum -c SHA256SUMS

(macOS: `shasum -a 256 -c SHA256SUMS`.) This finds damage. It does not prove where the files came from: compare the
checksum of `bundle.zip` itself with the one that the lab's page prints.

## Run it again: one command

With benchproof installed, from your own copy or from the one in here (see below):

    benchproof verify bundle.zip

It unpacks into a scratch folder, checks every checksum, runs the analysis again with *your* installed benchproof and
*its* notebook, and prints every figure that does not come out the same. No code of the bundle is run. Exit code 0:
everything agrees; 1: something does not; 2: this is no bundle.

## Run it again: by hand

Two steps make the environment of the release (Python 3.11; the lock file names every package by version and hash), a
third runs the notebook:

    python3.11 -m venv .venv
    .venv/bin/pip install --require-hashes -r {lock}
    .venv/bin/pip install --no-deps ./{wheel}
    .venv/bin/papermill {notebook} out.ipynb -f runs/{campaign}/campaign.yaml

The last cell of `out.ipynb` shows what `results.json` holds: the same figures, all but claims and what rests on
the spread of the lab's other motors (`pooled_models`, and model entries with the flag `pooled_spread`), which
`benchproof build` adds. This way runs code that came in this file; `verify` with a benchproof
you trust does not.

## Change a choice, see what it is worth

Every method lists its choices with their defaults, on the page and in the notebook. Give another value:

    .venv/bin/papermill {notebook} out.ipynb -f runs/{campaign}/campaign.yaml -y "choices: {{air: as_tested}}"
    benchproof verify bundle.zip --choice air=as_tested

The second prints your figures against the published ones.

## What is in here

| | |
| --- | --- |
| `runs/` | inputs: lab, rig and campaign files, calibrations in force, raw logs as recorded, copies of photos |
| `{notebook}` | the notebook, not run |
| `{campaign}.ipynb` | the notebook as it ran for the report |
| `results.json`, `figures.csv`, `curves/` | what came out; `datapackage.json` describes the tables |
| `{wheel}` | the benchproof that made it |
| `{lock}` | every package it stands on, with hashes |
| `CITATION.cff`, `ro-crate-metadata.json` | how to cite it; what it is, for machines |

Photos are published without what a camera writes into them, so `results.json` states checksums of the originals.

## Licence

Data: {licence}
Software (`{wheel}`, `{notebook}`): MIT licence.
"""


def readme(page: Page | ComparisonPage, *, notebook: str, wheel: str) -> str:
    """Return a bundle's README.

    Parameters
    ----------
    page : Page or ComparisonPage
        What the report is about.
    notebook, wheel : str
        File names in the bundle.
    """
    return _TEXT.format(
        title=_line(page.title),
        specimen=_line(specimen_words(page)),
        tested=tested(page),
        lab=_line(page.lab.name),
        campaign=page.campaign,
        invented=_INVENTED if page.invented else "",
        lock="requirements.lock",
        notebook=notebook,
        wheel=wheel,
        licence=f"{_line(page.lab.data_license)}." if page.lab.data_license else NO_LICENCE,
    )


def _line(text: str) -> str:
    """Return outside text as one line that turns nothing and starts no markup."""
    return " ".join(visible(text).split()).replace("<", "&lt;").replace("`", "'")
