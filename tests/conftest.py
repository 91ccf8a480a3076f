"""What all tests share: the folder of published values, and a laboratory's trials."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchproof.trials.engine import Trials

HERE = Path(__file__).parent


def pytest_report_header() -> list[str]:
    from importlib.metadata import version

    packages = ("numpy", "scipy", "pydantic", "pint", "papermill", "pyarrow")
    return [", ".join(f"{name} {version(name)}" for name in packages)]


@pytest.fixture(scope="session")
def reference() -> Path:
    """Folder of published values."""
    return HERE / "reference"


@pytest.fixture
def trials() -> Trials:
    """A laboratory's trials."""
    return Trials(20260101, 20_000)
