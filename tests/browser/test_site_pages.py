"""The site's own pages in a browser: a revised and a withdrawn report, errata, and the impact page."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from selenium import webdriver

from archive.kept_reports import NAMES, apart, build, keep  # noqa: F401 - a fixture
from benchproof.archive.build import Manner
from benchproof.archive.impact import impact_of
from benchproof.archive.publishing import Publishing
from benchproof.campaign.workspace import Workspace
from benchproof.report.impact import write_impact
from browser.test_pages import AXE, open_page
from workspaces import write_workspace

pytestmark = pytest.mark.browser
A, B = NAMES


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    root = write_workspace(tmp_path_factory.mktemp("site") / "w", *NAMES)
    workspace = Workspace(root)

    def publish(*names: str, day: str, withdraw: bool = False) -> None:
        made = Publishing(workspace, names, "Because.", date.fromisoformat(day), withdraw=withdraw)
        assert not [line for each in made.run(lambda _: None) for line in each.problems]

    for name in NAMES:
        keep(root, name)
    build(root, *NAMES)
    publish(*NAMES, day="2026-03-10")
    keep(root, A, scale=1.01, version="1.1")
    found = impact_of(workspace, (A,), Manner(recheck=True), lambda _: None, lambda _: None)
    impact = write_impact(root / "build/preview", found, workspace.lab())
    publish(A, day="2026-04-01")
    publish(B, day="2026-04-02", withdraw=True)
    site = root / "build/site"
    reports = [site / "reports" / way / "index.html" for way in (A, B, f"{A}/rev/1")]
    return [impact, site / "errata.html", site / "index.html", *reports]


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1440, True)])
def test_they_fit_say_nothing_on_the_console_and_put_no_obstacle_in_the_way(
    browser: webdriver.Chrome, pages: list[Path], width: int, dark: bool
) -> None:
    for page in pages:
        open_page(browser, page, width, dark=dark)
        assert browser.get_log("browser") == [], page
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width, page
        browser.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE})
        found = browser.execute_async_script(
            "const done = arguments[0];"
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag22aa']}).then(r => done(r.violations));"
        )
        assert [(v["id"], [n["html"][:120] for n in v["nodes"][:2]]) for v in found] == [], page
