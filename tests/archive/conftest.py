"""What tests of the archive share."""

from __future__ import annotations

import pytest


@pytest.fixture
def in_this_process(monkeypatch) -> None:
    """Carry a build's steps out in this process, where they can be patched, instead of in processes of their own."""
    monkeypatch.setattr("benchproof.archive.workers.forked_worker", lambda: None)
