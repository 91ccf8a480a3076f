"""Page contexts, and the templates that print them."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest
from jinja2 import nodes

from benchproof.errors import InputError
from benchproof.report import views
from benchproof.report.printing import Printed, print_figure
from benchproof.report.prose import Prose, prose
from benchproof.report.records import Figure, Price
from benchproof.report.render import data_block, environment
from benchproof.report.templates import templates_folder
from benchproof.report.words import Fact, anchor, not_measured, price_words, slug, value_words, visible


def figure(value: float | None, low: float = 0.0, high: float = 0.0, **more) -> Figure:
    interval = None if value is None else (low, high)
    at = more.pop("at", {})
    flags = more.pop("flags", ())
    return Figure(
        name=more.pop("name", "mass"), at=at, sample=more.pop("sample", None), unit=more.pop("unit", "kg"), value=value,
        standard_uncertainty=None, degrees_of_freedom=None, interval=interval, coverage=0.95, method="m/1", flags=flags,
    )  # fmt: skip


def used_names() -> set[str]:
    """Every attribute that any template asks for."""
    names = set()
    for path in templates_folder().rglob("*.j2"):
        tree = environment().parse(path.read_text(encoding="utf-8"))
        names |= {node.attr for node in tree.find_all(nodes.Getattr)}
    return names


def test_templates_print_every_field_of_the_contexts_and_no_other() -> None:
    records = [getattr(views, name) for name in views.__all__]
    fields = {f.name for record in (*records, Printed, Prose, Fact) for f in dataclasses.fields(record)}
    unknown = used_names() - fields - {"first", "last", "index"}
    assert not unknown, f"add {unknown} to the page's context, or take it out of the template"
    told_to_the_code = {"key", "plain"}
    unused = fields - used_names() - told_to_the_code
    assert not unused, f"print {unused}, or take it out of the context"


def test_every_field_of_a_context_is_documented() -> None:
    for name in views.__all__:
        record = getattr(views, name)
        documented = re.findall(r"^    (\w[\w, ]*) : ", record.__doc__, re.MULTILINE)
        listed = [field for line in documented for field in line.split(", ")]
        assert listed == [field.name for field in dataclasses.fields(record)], name


def test_a_figure_is_rounded_by_its_interval() -> None:
    assert print_figure(figure(0.031412, 0.031392, 0.031432)).text == "31.412 g ± 0.020 g"
    assert print_figure(figure(1.0, 0.5, 3.0, unit="N", name="thrust")).text == "1.0 N (0.5 N to 3.0 N)"
    assert "not reached" in print_figure(figure(None, flags=("not_reached",))).text


def test_the_reviewers_words_are_tamed_and_figures_put_in() -> None:
    found = prose(
        'Weighs {{ quote("mass") }}. <script>x</script> [a](javascript:alert(1)) ![p](http://elsewhere/p.png)\n\nMore.',
        [figure(0.031412, 0.031392, 0.031432)],
        campaign="c",
    )
    assert '<span class="figure">31.412 g ± 0.020 g</span>' in found.verdict
    assert "<script" not in found.verdict
    assert "href" not in found.verdict
    assert "<img" not in found.verdict
    assert "More." in found.rest


def test_a_quote_without_a_figure_names_what_there_is() -> None:
    with pytest.raises(InputError) as caught:
        prose('{{ quote("mass", part="bell") }}', [figure(0.03, 0.02, 0.04)], campaign="c")
    assert 'quote("mass")' in caught.value.faults[0].expected


def test_data_in_a_script_element_cannot_end_it() -> None:
    assert "</script" not in data_block({"a": "</script><script>x</script>&"})


def test_letters_that_turn_other_text_are_shown() -> None:
    assert visible("a\u202eb\x07") == "a[U+202E]b[U+0007]"


def test_anchors_are_stable() -> None:
    assert anchor("thrust", {"electrical_power": "200 W"}) == "figure-thrust-electrical_power-200-W"


def test_anchors_tell_scripts_apart() -> None:
    assert slug("日1") != slug("月1")
    assert slug("A+1") != slug("A-1")


def test_a_withheld_figure_says_why() -> None:
    assert print_figure(figure(None, flags=("withheld:too_hot",))).text == "withheld: too hot"


def test_very_small_numbers_raise_their_power_of_ten() -> None:
    assert (
        print_figure(figure(1.23456e-9, 1.22456e-9, 1.24456e-9, unit="x", name="y")).text
        == "1.235 × 10⁻⁹ x ± 0.010 × 10⁻⁹ x"
    )


def test_values_of_files_are_printed_as_print_has_them() -> None:
    assert value_words({"per": "run", "k": "2", "scale": "0.5 %"}) == "scale 0.5 %, k 2, per run"
    assert value_words("5.0e-5 kg*m**2") == "5.0e-5 kg·m²"
    assert value_words("N52 arc") == "N52 arc"


def test_a_price_says_whether_the_lab_paid_it() -> None:
    price = Price(amount=24.0, currency="EUR", channel="retail", seen="2026-02-20")
    assert price_words(price, bought=True) == "Price of one: 24.00 EUR, in a shop, seen 2026-02-20."
    assert price_words(price, bought=False) == "It sells at 24.00 EUR, in a shop, seen 2026-02-20."


def test_what_was_not_measured_leaves_packs_out() -> None:
    titles = not_measured(["mass"])
    assert "Thrust" in titles
    assert "Mass" not in titles
    assert "Capacity" not in titles


@pytest.mark.parametrize(
    "text",
    [
        "[a](//elsewhere/x) [b](file:///etc/passwd) [c](../../x) [d](data:text/html,x) [e](JaVaScRiPt:x)",
        "<iframe src='http://elsewhere'></iframe>",
        "<style>@import 'http://elsewhere'</style>",
        "![p](photos/x.jpg 'onerror=x()')",
        "[![p](http://elsewhere/p.png)](javascript:x())",
    ],
)
def test_the_reviewers_markdown_links_nowhere_it_should_not(text: str) -> None:
    found = prose(f"First.\n\n{text}", [], campaign="c")
    assert not re.search(r"<[^>]*(href|src)=|<(iframe|style|img|script)", found.rest)


def test_links_out_are_kept_and_followed_by_nobody_in_the_labs_name() -> None:
    found = prose("See [this](https://example.org 'it').", [], campaign="c")
    assert 'rel="nofollow noopener"' in found.verdict


def test_a_quote_inside_a_link_stays_whole() -> None:
    text = '[Weighs {{ quote("mass") }}](https://example.org "{{ quote("mass") }}") <'
    found = prose(text, [figure(0.031412, 0.031392, 0.031432)], campaign="c").verdict
    assert found.count("31.412 g ± 0.020 g") == 2
    assert found.count('<span class="figure">') == 1
    assert 'title="31.412 g ± 0.020 g"' in found


def test_a_quote_of_what_was_not_reached_says_so() -> None:
    found = prose('{{ quote("mass") }}', [figure(None, flags=("not_reached",))], campaign="c")
    assert found.plain == "not reached in the test"


def test_quotes_that_look_elsewhere_are_left_to_the_second_pass() -> None:
    text = '{{ quote("mass", than="2026-01-b") }}'
    assert prose(text, [], campaign="c", compare=lambda quote: f"<1 g> less than {quote.than}").verdict == (
        '<span class="figure">&lt;1 g&gt; less than 2026-01-b</span>'
    )


def test_the_verdict_is_the_first_paragraph_and_headings_stand_under_the_pages_own() -> None:
    found = prose("# Big\n\nFirst.\n\n## Next\n\nSecond.", [], campaign="c")
    assert found.verdict.strip() == "First."
    assert "<h3>Big</h3>" in found.rest
    assert "<h1" not in found.rest


def test_templates_hold_no_arithmetic() -> None:
    for path in templates_folder().rglob("*.j2"):
        tree = environment().parse(path.read_text(encoding="utf-8"))
        sums = list(tree.find_all((nodes.Sub, nodes.Mul, nodes.Div, nodes.Pow)))
        assert not sums, path


def test_the_assets_lie_beside_the_templates() -> None:
    assert (templates_folder() / "assets" / "style.css").is_file()
    assert Path(templates_folder() / "assets" / "plotly" / "LICENSE").is_file()
