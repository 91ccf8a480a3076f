"""A page on which everything from outside is hostile: it is shown as text, and nothing runs, loads or breaks out."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import shutil
import time
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from PIL import Image
from selenium import webdriver

from benchproof.campaign.models.lab import Lab
from benchproof.report.framing import POLICY
from benchproof.report.page import index_row
from benchproof.report.site import assemble_index, assemble_report
from benchproof.report.templates import templates_folder
from report.sample_notebook import CAMPAIGN, sample_claims, sample_notebook

pytestmark = pytest.mark.browser

SPITE = (
    '"><script>window.ran = 1</script><img src=x onerror="window.ran = 2"> </script> {{ 7 * 7 }} {% raw %} ${7*7} '
    "javascript:window.ran=3 &lt;b&gt; \u202egnp.exe\u202c \u05d0\u05d1 ../../../etc/passwd " + "unbroken" * 40
)
# Braces of template engines are refused in the reviewer's text before a page is made; everywhere else they are words.
_IN_PROSE = SPITE.replace("{{ 7 * 7 }} {% raw %}", "")
WORDS = (
    f"{_IN_PROSE}\n\n<svg onload='window.ran=4'></svg> [a](javascript:window.ran=5) ![b](http://elsewhere/b.png)\n\n"
    f"- {_IN_PROSE}"
)
FILES = (
    "raw/<img src=x onerror=window.ran=6>.csv",
    "raw/javascript:window.ran=7.csv",
    "raw/a b#c?d%20e&amp;.csv",
    "raw/\u202egpj.csv",
    "raw/" + "long" * 55 + ".csv",
)


def spiteful(text: str) -> str:
    return f"{text} {SPITE}"


@pytest.fixture(scope="module")
def hostile_site(tmp_path_factory) -> Path:
    root = tmp_path_factory.mktemp("hostile")
    source = root / "runs" / CAMPAIGN
    photo = "photos/'\"><script>window.ran=8<.jpg"
    buffer = io.BytesIO()
    Image.new("RGB", (3000, 40), "teal").save(buffer, "JPEG")
    declared = ("campaign.yaml", *FILES, photo)
    for name in declared:
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        (source / name).write_bytes(buffer.getvalue() if name == photo else b"<script>window.ran=9</script>")
    site = root / "site"
    notebook = json.dumps(sample_notebook(spiteful, text=WORDS, photo=photo))
    claims = sample_claims(spiteful)
    found = assemble_report(site / "reports" / CAMPAIGN, notebook, source, declared, preview=True, claims=claims)
    # The lab file's own checks already refuse letters that turn others.
    upright = SPITE.replace("\u202e", "").replace("\u202c", "")
    lab = Lab.model_validate({"lab": {"name": upright, "currency": "EUR", "disclosure": upright}, "seed": 1})
    assemble_index(site, lab, [index_row(found)], preview=True)
    return site


def opened(browser: webdriver.Chrome, path: Path, width: int = 1440, media: str = "screen") -> None:
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": []})
    browser.get("about:blank")
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get(path.as_uri())
    browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
    browser.execute_script("document.querySelectorAll('.chart').forEach(c => c.scrollIntoView())")
    time.sleep(1.0)


def pages(site: Path) -> list[Path]:
    return [site / "index.html", site / "reports" / CAMPAIGN / "index.html"]


@pytest.mark.parametrize("width", [360, 1440])
def test_nothing_runs_loads_or_spills_over(browser, hostile_site: Path, width: int) -> None:
    for page in pages(hostile_site):
        opened(browser, page, width)
        assert browser.execute_script("return window.ran === undefined")
        assert browser.get_log("browser") == []
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width
        for entry in browser.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                assert message["params"]["request"]["url"].startswith("file:")


def test_hostile_words_stand_on_the_page_as_words(browser, hostile_site: Path) -> None:
    opened(browser, pages(hostile_site)[1])
    shown = browser.execute_script("return document.body.innerText")
    for words in (
        "<script>window.ran = 1</script>",
        "{{ 7 * 7 }}",
        "{% raw %}",
        "${7*7}",
        "&lt;b&gt;",
        "[U+202E]gnp.exe",
    ):
        assert words in shown, words
    assert "\u202e" not in browser.page_source


def test_every_link_is_a_web_address_a_place_on_the_page_or_a_file_of_the_site(browser, hostile_site: Path) -> None:
    opened(browser, pages(hostile_site)[1])
    links = browser.execute_script("return [...document.querySelectorAll('[href], [src]')].map(e => e.href || e.src)")
    assert len(links) > 20
    for link in links:
        parts = urlsplit(link)
        assert parts.scheme in ("file", "https")
        if parts.scheme == "file":
            target = Path(unquote(parts.path))
            assert target.is_file(), link
            assert target.is_relative_to(hostile_site)


class Attributes(HTMLParser):
    """Every attribute of a page as it is written."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep the names."""
        self.names |= {name for name, _ in attrs}


def test_no_element_of_a_page_has_a_handler_or_a_style(hostile_site: Path) -> None:
    for page in pages(hostile_site):
        names = Attributes(page).names
        assert "href" in names
        assert not {name for name in names if name.startswith("on") or name in ("style", "srcdoc", "formaction")}


def test_the_still_stands_in_where_the_chart_library_is_missing(browser, hostile_site: Path, tmp_path: Path) -> None:
    site = tmp_path / "without"
    shutil.copytree(hostile_site, site)
    (site / "assets" / "plotly" / "plotly-basic.min.js").unlink()
    opened(browser, pages(site)[1])
    widths = browser.execute_script(
        "return [...document.querySelectorAll('.still')].map(i => i.naturalWidth * i.offsetWidth)"
    )
    assert widths
    assert all(width > 0 for width in widths)


def test_print_shows_the_stills(browser, hostile_site: Path) -> None:
    opened(browser, pages(hostile_site)[1], media="print")
    visible = "return [...document.querySelectorAll('{}')].filter(e => e.offsetWidth > 0).length"
    assert browser.execute_script(visible.format(".still")) == 2
    assert browser.execute_script(visible.format(".live")) == 0


def test_the_first_key_press_reaches_the_skip_link(browser, hostile_site: Path) -> None:
    opened(browser, pages(hostile_site)[1])
    browser.execute_script("window.scrollTo(0, 0); document.activeElement.blur()")
    for kind in ("keyDown", "keyUp"):
        browser.execute_cdp_cmd(
            "Input.dispatchKeyEvent", {"type": kind, "key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9}
        )
    assert browser.execute_script("return document.activeElement.className") == "skip"


def test_the_policy_lets_in_an_empty_style_and_no_other() -> None:
    empty = base64.b64encode(hashlib.sha256(b"").digest()).decode()
    assert re.findall(r"'sha256-(.*?)'", POLICY) == [empty]
    assert "unsafe" not in POLICY


def test_the_chart_library_is_the_one_its_note_names() -> None:
    folder = templates_folder() / "assets" / "plotly"
    digest = hashlib.sha256((folder / "plotly-basic.min.js").read_bytes()).hexdigest()
    assert digest in (folder / "NOTE").read_text(encoding="utf-8")


def test_the_chart_library_would_complain_without_that_digest(browser, hostile_site: Path, tmp_path: Path) -> None:
    """Derived anew: take the digest away, and the browser names the very digest it misses."""
    site = tmp_path / "stricter"
    shutil.copytree(hostile_site, site)
    page = pages(site)[1]
    digest = re.search(r"sha256-[^']*", POLICY)[0]
    text = page.read_text(encoding="utf-8")
    escaped = digest.replace("+", "&#43;")
    page.write_text(text.replace(f"&#39;{digest}&#39;", "").replace(f"&#39;{escaped}&#39;", ""), encoding="utf-8")
    opened(browser, page)
    messages = " ".join(entry["message"] for entry in browser.get_log("browser"))
    assert set(re.findall(r"sha256-[A-Za-z0-9+/=]{44}", messages)) == {digest}
