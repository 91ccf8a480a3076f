"""Quotes in the reviewer's text: a closed form, matched literally."""

from __future__ import annotations

import pytest

from benchproof.campaign.quoting import Quote, parse
from benchproof.errors import InputError


def test_text_and_quotes_come_in_order() -> None:
    text = 'Weighs {{ quote("mass", sample="A1", part="bell") }} and no more.'
    assert parse(text) == ("Weighs ", Quote("mass", sample="A1", part="bell", at={}), " and no more.")


def test_an_operating_point_and_a_campaign_to_compare_with() -> None:
    (quote,) = parse('{{quote("thrust",electrical_power="200 W",than="2026-01-alder-2306")}}')
    assert isinstance(quote, Quote)
    assert (quote.name, quote.than, dict(quote.at)) == (
        "thrust",
        "2026-01-alder-2306",
        {"electrical_power": "200 W"},
    )


@pytest.mark.parametrize(
    "text",
    [
        "{{ 7 * 7 }}",
        "{{ quote(mass) }}",
        "{{ quote('mass') }}",
        '{{ quote("mass"); }}',
        '{{ quote("mass") | safe }}',
        '{{ quote("mass").__class__ }}',
        '{{ quote("mass", sample=A1) }}',
        '{{ quote("mass", sample="A1", sample="A2") }}',
        '{{ quote("mass", smaple="A1") }}',
        '{{ quote("weight") }}',
        '{{ quote("mass") }',
        "{{ open",
        "close }}",
        '{{ {{ quote("mass") }} }}',
    ],
)
def test_anything_else_between_double_braces_is_refused(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(f"first line\n{text}", file="runs/c/campaign.yaml", line=10)
    fault = caught.value.faults[0]
    assert (fault.file, fault.place, fault.line) == ("runs/c/campaign.yaml", "text", 11)
    assert fault.found
    assert fault.expected
    assert fault.remedy


def test_the_nearest_figure_is_named() -> None:
    with pytest.raises(InputError, match=r"expected a figure of the nomenclature, not thurst\. Write thrust\."):
        parse('{{ quote("thurst") }}')
