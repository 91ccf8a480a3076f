"""Whether a notebook run by plain papermill shows the figures of results.json to the last printed digit."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from benchproof.archive.agreement import compare_figures
from benchproof.findings.scatter import POOLED
from benchproof.report.collect import results_of
from benchproof.report.records import Results


def main() -> None:
    folder, name = Path(sys.argv[1]), sys.argv[2]
    published = Results.model_validate_json((folder / "results.json").read_bytes())
    here = results_of(json.loads((folder / "out.ipynb").read_text(encoding="utf-8")))
    ours = Results.model_validate_json(json.dumps({**here, "claims": []}))
    told = {(f.name, tuple(f.at.items())) for f in published.quantities if f.campaign is None and POOLED in f.flags}
    alone = [
        [f for f in each.quantities if f.sample or (f.name, tuple(f.at.items())) not in told]
        for each in (published, ours)
    ]
    found = compare_figures(*alone, 0.0)  # what rests on the lab's other motors no notebook shows
    moved = [each for each in found if each.state != "identical"]
    for each in moved:
        print(f"{name}: {each.name}: {each.published} published, {each.here} by papermill {each.reason}")
    print(f"{name}: {len(found) - len(moved)} of {len(found)} figures the same by plain papermill")
    sys.exit(1 if moved or not found else 0)


if __name__ == "__main__":
    main()
