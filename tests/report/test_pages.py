"""Page contexts, and the templates that print them."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from jinja2 import nodes

from benchproof.errors import InputError
from benchproof.report import views
from benchproof.report.printing import print_figure
from benchproof.report.prose import prose
from benchproof.report.records import Figure
from benchproof.report.render import data_block, environment, templates_folder
from benchproof.report.words import anchor, visible


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
    records = [r for r in vars(views).values() if dataclasses.is_dataclass(r) and r.__module__ == views.__name__]
    fields = {f.name for record in records for f in dataclasses.fields(record)}
    outside = {"verdict", "rest", "plain", "value", "unit", "spread", "text", "reached", "also", "label"}
    unknown = used_names() - fields - outside - {"first", "last", "index", "index0"}
    assert not unknown, f"add {unknown} to the page's context, or take it out of the template"
    unused = fields - used_names() - {"key", "sample", "template"}
    assert not unused, f"print {unused}, or take it out of the context"


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


def test_templates_hold_no_arithmetic() -> None:
    for path in templates_folder().rglob("*.j2"):
        tree = environment().parse(path.read_text(encoding="utf-8"))
        sums = list(tree.find_all((nodes.Sub, nodes.Mul, nodes.Div, nodes.Pow)))
        assert not sums, path


def test_the_assets_lie_beside_the_templates() -> None:
    assert (templates_folder() / "assets" / "style.css").is_file()
    assert Path(templates_folder() / "assets" / "plotly" / "LICENSE").is_file()
