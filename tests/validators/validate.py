"""Hold an unpacked bundle against validators that others wrote; offline, in the validators' own environment.

RO-Crate: the validator asks the network for JSON-LD contexts. Here the one that the `rocrate` package ships stands in
for every version of it, and any other context is empty. That finds what a change broke; it does not replace one check
online. A crate without its licence must fail, and so must a table whose column was renamed: a validator that lets
these through has not looked.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from pathlib import Path

import frictionless
import rdflib.plugins.shared.jsonld.context as jsonld
import rocrate
from rocrate_validator import models, services
from rocrate_validator.utils.http import HttpRequester

CONTEXT = json.loads((Path(rocrate.__file__).parent / "data" / "ro-crate.jsonld").read_text(encoding="utf-8"))
PROFILES = ("ro-crate-1.1", "process-run-crate-0.5")


class Answer:
    """What the network would say."""

    status_code = 200
    ok = True
    headers = {"Content-Type": "application/ld+json"}  # noqa: RUF012

    def __init__(self, url: str) -> None:
        self.data = CONTEXT if "ro/crate" in url else {"@context": {}}
        self.text = json.dumps(self.data)
        self.content = self.text.encode()

    def json(self) -> object:
        """Return the data."""
        return self.data


def stay_offline() -> None:
    """Answer every question to the network from here."""
    HttpRequester.get = lambda _self, url, **_: Answer(url)
    HttpRequester.head = lambda _self, url, **_: Answer(url)
    real = jsonld.source_to_json

    def read(source: object, *more: object, **keywords: object) -> object:
        if isinstance(source, str) and source.startswith("http"):
            return Answer(source).json(), None
        return real(source, *more, **keywords)

    jsonld.source_to_json = read


def crate_issues(folder: Path, profile: str) -> list[str]:
    """What an RO-Crate validator finds."""
    settings = models.ValidationSettings(
        rocrate_uri=str(folder), profile_identifier=profile, requirement_severity=models.Severity.REQUIRED
    )
    result = services.validate(settings)
    return [f"{issue.check.identifier}: {issue.message}" for issue in result.get_issues()]


def table_issues(folder: Path) -> list[str]:
    """What the Frictionless validator finds."""
    report = frictionless.validate(str(folder / "datapackage.json"))
    return [str(error) for error in report.flatten(["title", "message"])]


def without_licence(folder: Path) -> None:
    """Take the licence out of a crate."""
    path = folder / "ro-crate-metadata.json"
    record = json.loads(path.read_text(encoding="utf-8"))
    root = next(entity for entity in record["@graph"] if entity["@id"] == "./")
    del root["license"]
    path.write_text(json.dumps(record), encoding="utf-8")


def main() -> None:
    stay_offline()
    folder = Path(sys.argv[1])
    found = [f"{profile}: {issue}" for profile in PROFILES for issue in crate_issues(folder, profile)]
    found += [f"frictionless: {issue}" for issue in table_issues(folder)]
    with tempfile.TemporaryDirectory() as scratch:
        spoilt = Path(scratch) / "spoilt"
        shutil.copytree(folder, spoilt)
        without_licence(spoilt)
        if not any("licen" in issue.lower() for issue in crate_issues(spoilt, PROFILES[0])):
            found.append("the RO-Crate validator accepts a crate without licence")
        table = spoilt / "figures.csv"
        table.write_text(table.read_text(encoding="utf-8").replace("unit,value", "unit,worth", 1), encoding="utf-8")
        if not table_issues(spoilt):
            found.append("the Frictionless validator accepts a renamed column")
    for line in found:
        print(f"{folder.name}: {line}")
    print(
        f"{folder.name}: {'not valid' if found else 'RO-Crate 1.1, Process Run Crate 0.5 and Frictionless tables are valid'}"
    )
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
