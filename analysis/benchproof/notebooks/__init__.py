"""The analysis notebooks, and what they call: the opened bench and its display objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchproof.notebooks.comparing import OpenComparison, open_comparison
    from benchproof.notebooks.session import OpenBench, open_bench

__all__ = ["OpenBench", "OpenComparison", "open_bench", "open_comparison"]


def __getattr__(name: str) -> Any:
    """Import the session only when a notebook asks for it: listing notebooks must stay quick."""
    if name not in __all__:
        message = f"module {__name__} has no attribute {name}"
        raise AttributeError(message)
    from benchproof.notebooks import comparing, session

    return getattr(session if hasattr(session, name) else comparing, name)
