"""The pages beside the reports, as a reader opens them: for sceptics, and the executed notebook."""

from __future__ import annotations

from pathlib import Path

import pytest

from browser.test_pages import AXE, open_page

pytestmark = pytest.mark.browser


def other_pages(demo: Path) -> list[Path]:
    return [demo / "sceptics.html", sorted(demo.glob("reports/*/notebook.html"))[-1]]


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1440, True)])
def test_they_fit_say_nothing_on_the_console_and_put_no_obstacle_in_the_way(
    browser, demo: Path, width: int, dark: bool
) -> None:
    for page in other_pages(demo):
        open_page(browser, page, width, dark=dark)
        assert browser.get_log("browser") == [], page
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width, page
        browser.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE})
        found = browser.execute_async_script(
            "const done = arguments[0];"
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag22aa']}).then(r => done(r.violations));"
        )
        assert [(v["id"], [n["html"][:120] for n in v["nodes"][:2]]) for v in found] == [], page
