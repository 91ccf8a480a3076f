"""The digest of the style rules that the chart library puts into a page, for the content security policy."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def chart_style_digest(assets: Path) -> str:
    """Return the digests of the rules, as the policy lists them.

    They were taken from a browser, which names the digest of any rule it refuses; a browser test holds them.
    """
    listed: list[str] = json.loads((assets / "plotly" / "style-digests.json").read_text(encoding="utf-8"))
    return " ".join(f"'{digest}'" for digest in listed)
