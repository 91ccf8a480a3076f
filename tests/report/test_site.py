"""A report's folder: whole, the same every time, with sums that check."""

from __future__ import annotations

import io
import json
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from benchproof.archive.kept import Kept
from benchproof.report.collect import collect
from benchproof.report.packing import sum_line
from benchproof.report.records import Chart
from benchproof.report.site import assemble_report, read_report
from benchproof.report.tabular import curve_csv
from report.sample_notebook import CAMPAIGN, charts, sample_claims, sample_notebook

DECLARED = ("campaign.yaml", "raw/a1.csv", "raw/a2-slip.csv", "photos/bell.jpg")
LOG = b"t_ms,thrust\r\n0,1\r\n\xff\x00 odd bytes stay"


@pytest.fixture
def campaign_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "runs" / CAMPAIGN
    for name in DECLARED:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(LOG)
    buffer = io.BytesIO()
    Image.new("RGB", (60, 40), "teal").save(buffer, "JPEG", comment=b"where it was taken")
    (folder / "photos/bell.jpg").write_bytes(buffer.getvalue())
    return folder


def assembled(target: Path, campaign_folder: Path) -> Path:
    notebook = json.dumps(sample_notebook(photo="photos/bell.jpg"))
    assemble_report(target, notebook, campaign_folder, DECLARED, preview=True, claims=sample_claims())
    return target


@pytest.fixture
def report(tmp_path: Path, campaign_folder: Path) -> Path:
    target = tmp_path / "preview" / "reports" / CAMPAIGN
    return assembled(target, campaign_folder)


def names(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


def test_everything_a_reader_may_want_stands_beside_the_page(report: Path) -> None:
    assert set(names(report)) == {
        "index.html", "results.json", f"{CAMPAIGN}.ipynb", "campaign.yaml", "SHA256SUMS", "raw/a1.csv", "raw/a2-slip.csv",
        "photos/bell.jpg", "charts/thrust_vs_electrical_power.svg", "charts/thrust_per_power_vs_electrical_power.svg",
        "notebook.html", "figures.csv", "figures.parquet", "datapackage.json",
        *(f"curves/{name}_vs_electrical_power--{s}.{kind}" for name in ("thrust", "thrust_per_power") for s in ("A1", "A2")
          for kind in ("csv", "parquet")),
    }  # fmt: skip


def test_two_assemblies_are_the_same_bytes(report: Path, tmp_path: Path, campaign_folder: Path) -> None:
    again = tmp_path / "again" / CAMPAIGN
    assembled(again, campaign_folder)
    assert names(again) == names(report)
    assert all((again / name).read_bytes() == (report / name).read_bytes() for name in names(report))


def test_the_sums_check_with_the_ordinary_tool_and_cover_every_other_file(report: Path) -> None:
    check = subprocess.run(["sha256sum", "-c", "--strict", "SHA256SUMS"], cwd=report, check=False, capture_output=True)
    assert check.returncode == 0, check.stderr
    listed = [line.split("  ", 1)[1] for line in (report / "SHA256SUMS").read_text().splitlines()]
    assert listed == sorted(set(names(report)) - {"SHA256SUMS"})


def test_a_name_that_needs_escapes_is_written_as_the_tool_reads_it(tmp_path: Path) -> None:
    name = "odd\\name\nof two lines"
    (tmp_path / name).write_bytes(b"")
    made = subprocess.run(["sha256sum", name], cwd=tmp_path, check=True, capture_output=True, text=True).stdout
    digest = made.lstrip("\\").split(" ", 1)[0]
    assert sum_line(name, digest) == made


def test_logs_are_copied_byte_for_byte_and_photos_without_their_comments(report: Path) -> None:
    assert (report / "raw/a1.csv").read_bytes() == LOG
    assert b"where it was taken" not in (report / "photos/bell.jpg").read_bytes()


def test_a_curve_file_has_the_header_people_rely_on_and_digits_that_read_back() -> None:
    chart = Chart.model_validate_json(json.dumps(charts(str)[0]))
    head, first, *_ = curve_csv(chart, chart.series[0]).splitlines()
    assert head == "electrical_power [W],thrust [N],thrust_low [N],thrust_high [N]"
    series = chart.series[0]
    assert [float(cell) for cell in first.split(",")] == [series.x[0], series.y[0], series.low[0], series.high[0]]


def test_a_report_can_be_listed_again_from_its_own_folder(report: Path) -> None:
    assert read_report(report) == collect(sample_notebook(photo="photos/bell.jpg"), sample_claims())


class Page(HTMLParser):
    """The ids, links and words of a page."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.words: list[str] = []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep ids and links."""
        for name, value in attrs:
            if name == "id":
                self.ids.append(str(value))
            if name in ("href", "src"):
                self.links.append(str(value))

    def handle_data(self, data: str) -> None:
        """Keep words."""
        self.words.append(data)

    @property
    def text(self) -> str:
        """Return the words with single spaces."""
        return " ".join(" ".join(self.words).split())


def test_every_anchor_is_there_once_and_every_link_leads_somewhere(report: Path) -> None:
    page = Page(report / "index.html")
    assert len(page.ids) == len(set(page.ids))
    for link in page.links:
        if link.startswith("#"):
            assert link[1:] in page.ids
        elif not link.startswith(("http", "../..")):
            path, _, anchor = link.partition("#")
            assert (report / path).is_file(), link
            assert not anchor or anchor in Page(report / path).ids


def test_figures_can_be_cited(report: Path) -> None:
    page = Page(report / "index.html")
    assert {"figure-mass", "figure-thrust-electrical_power-200-W", "figure-thrust-electrical_power-200-W-A1"} <= set(
        page.ids
    )


def test_the_page_says_what_a_reader_and_a_sceptic_ask(report: Path) -> None:
    text = Page(report / "index.html").text
    for said in (
        "Preview.", "Invented data.", "Bought.", "24.00 EUR plus 4.00 EUR shipping", "Bought with reader money.",
        "Light and honest. It weighs 31.412 g ± 0.020 g", "half the width of the 95 % coverage interval", "2 samples were tested",
        "not reached in the test", "referred to the lab's reference air", "offset 0.02 N, per run", "22.5 °C", "2026-08-10",
        "nut slipped", "We disagree.", "Kv at no load", "Spinning propellers", "local codes", "CC-BY-4.0", "sha256:000",
        "benchproof verify bundle.zip", "papermill motor.ipynb out.ipynb", "A gap of 0.8 s.", "the default is reference", "supported",
    ):  # fmt: skip
        assert said in text, said
    assert "Flywheels" not in text


def test_the_notebook_beside_a_report_is_the_one_that_is_kept(tmp_path: Path, campaign_folder: Path) -> None:
    kept, notebook = Kept(tmp_path / "kept"), sample_notebook(photo="photos/bell.jpg")
    kept.keep(CAMPAIGN, "0" * 64, notebook, b"{}")
    assert kept.notebook(CAMPAIGN) == notebook
    report = tmp_path / "report"
    assemble_report(report, kept.notebook_text(CAMPAIGN), campaign_folder, DECLARED, preview=True)
    published = (report / f"{CAMPAIGN}.ipynb").read_bytes()
    assert published == (json.dumps(notebook, indent=1, ensure_ascii=False) + "\n").encode()
    assert json.loads((tmp_path / "kept" / f"{CAMPAIGN}.notebook.json").read_bytes())["content"] == notebook
