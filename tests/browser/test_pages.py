"""The pages as a reader opens them: from disk, without a server, on a phone and on a desk."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
from selenium import webdriver

from workspaces import CAMPAIGN, LAB, write_workspace

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.browser
AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")


def open_page(browser: webdriver.Chrome, path: Path, width: int, *, dark: bool = False) -> None:
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    scheme = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get(path.as_uri())
    height = browser.execute_script("return document.documentElement.scrollHeight")
    for y in range(0, height, max(700, height // 40)):
        browser.execute_script(f"window.scrollTo(0, {y})")
        time.sleep(0.03)
    time.sleep(0.3)


def pages(demo: Path) -> list[Path]:
    return [demo / "index.html", *sorted(demo.glob("reports/*/index.html"))]


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1440, True)])
def test_the_demo_opens_from_disk_without_a_word_on_the_console(browser, demo: Path, width: int, dark: bool) -> None:
    assert len(pages(demo)) == 1 + len(list(ROOT.glob("runs/*/campaign.yaml")))
    for page in pages(demo):
        open_page(browser, page, width, dark=dark)
        assert browser.get_log("browser") == [], page
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width, page
        if page.parent != demo:
            drawn = browser.execute_script("return document.querySelectorAll('.drawn .main-svg').length")
            assert drawn > 0, page


def test_nothing_is_asked_of_another_host(browser, demo: Path) -> None:
    for page in pages(demo):
        open_page(browser, page, 1440)
        for entry in browser.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                url = message["params"]["request"]["url"]
                assert url.startswith("file:"), url


@pytest.mark.parametrize("width", [360, 1440])
@pytest.mark.parametrize("dark", [False, True])
def test_a_reader_without_eyes_or_mouse_finds_no_obstacle(browser, demo: Path, width: int, dark: bool) -> None:
    """axe-core, WCAG 2 A and AA rules."""
    for page in pages(demo)[:2]:
        open_page(browser, page, width, dark=dark)
        browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
        browser.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE})
        found = browser.execute_async_script(
            "const done = arguments[0];"
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag22aa']}).then(r => done(r.violations));"
        )
        assert [(v["id"], [n["html"][:120] for n in v["nodes"][:2]]) for v in found] == []


def test_charts_follow_the_samples_a_reader_picks(browser, demo: Path) -> None:
    open_page(browser, pages(demo)[1], 1440)
    count = "return document.querySelectorAll('.drawn')[0].querySelectorAll('.live .scatterlayer .trace').length"
    before = browser.execute_script(count)
    browser.execute_script("document.querySelector('.drawn .key').click()")
    time.sleep(0.3)
    assert browser.execute_script(count) < before


HOSTILE = '<script>window.ran = 1</script><img src=x onerror="window.ran = 2"> {{ 7 * 7 }} {% raw %} ${7*7} \\u202e'


def hostile(text: str) -> str:
    return json.dumps(text)


def test_hostile_words_are_shown_as_text(browser, tmp_path: Path) -> None:
    root = write_workspace(tmp_path)
    text = CAMPAIGN.format(name="2026-03-a")
    text = text.replace('"A test motor"', hostile(HOSTILE)).replace(
        "maker: Invented Works", f"maker: {hostile(HOSTILE)}"
    )
    text = text.replace("readings: [", f"exclude: {hostile(HOSTILE)}, readings: [", 1)
    text = text.replace(
        "text: |\n",
        f"reply: {hostile(HOSTILE)}\ntext: |\n"
        "  <script>window.ran = 3</script> <b onclick='x()'>b</b> [a](javascript:alert(1)) ![p](file:///etc/passwd)\n\n",
    ).replace('Weighs {{ quote("mass") }} and makes', "Makes")
    (root / "runs/2026-03-a/campaign.yaml").write_text(text)
    lab = LAB.replace("name: Test Bench", f'name: {hostile(HOSTILE)}, url: "javascript:alert(1)"')
    (root / "runs/lab.yaml").write_text(lab)
    log = root / "runs/2026-03-a/raw/sweep.csv"
    log.write_text(
        "# <script>window.ran = 4</script>\n"
        + log.read_text().replace("t_ms,", "t_ms,<script>x</script>,", 1).replace("\n0,", "\n0,{{7*7}},", 1)
    )
    fixed = [line if k < 2 else line.replace(",", ",x,", 1) for k, line in enumerate(log.read_text().splitlines())]
    fixed[2] = fixed[2].replace("{{7*7}},x", "{{7*7}}").replace("x,{{7*7}}", "{{7*7}}")
    log.write_text("\n".join(fixed) + "\n")
    command = [str(Path(sys.executable).parent / "benchproof"), "--workspace", str(root), "build"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    page = root / "build/preview/reports/2026-03-a/index.html"
    for each in (page, root / "build/preview/index.html"):
        open_page(browser, each, 1440)
        assert browser.execute_script("return window.ran === undefined")
        assert browser.get_log("browser") == []
    shown = browser.execute_script("return document.body.innerText")
    assert "<script>window.ran = 1</script>" in shown
    assert "{{ 7 * 7 }}" in shown
    source = page.read_text()
    assert "javascript:" not in source.replace("javascript:alert(1))", "")
    assert "/etc/passwd" not in source or 'src="file' not in source
