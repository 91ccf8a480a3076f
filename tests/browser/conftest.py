"""A headless Chromium for page tests; they are skipped where it is not installed."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@pytest.fixture(scope="session")
def browser(tmp_path_factory) -> Iterator[webdriver.Chrome]:
    driver, chromium = shutil.which("chromedriver"), shutil.which("chromium")
    if not driver or not chromium:
        pytest.skip("Chromium and its driver are not installed")
    options = Options()
    options.binary_location = chromium
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    made = webdriver.Chrome(options=options, service=Service(driver))
    yield made
    made.quit()


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Path:
    """The demo lab's preview, built afresh."""
    import subprocess
    import sys

    root = tmp_path_factory.mktemp("demo")
    shutil.copytree(Path(__file__).parents[2] / "runs", root / "runs")
    command = [str(Path(sys.executable).parent / "benchproof"), "--workspace", str(root), "build"]
    subprocess.run(command, check=True, capture_output=True)
    return root / "build" / "preview"
