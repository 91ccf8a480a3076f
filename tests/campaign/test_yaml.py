"""The checker and papermill read the same values; what YAML 1.1 bends is refused."""

from __future__ import annotations

import pytest
import yaml
from papermill.iorw import NoDatesSafeLoader

from benchproof.campaign.yaml import compose_text
from benchproof.errors import InputError

SAME = [
    "a: 1",
    "a: 1.5",
    "a: -0.25",
    "a: 2026-03-02",
    'a: "2026-03-02"',
    "a: '012'",
    'a: "no"',
    "a: true",
    "a: null",
    "a: ~",
    "a:",
    "a: 12 g",
    "a: 1e3x",
    "a: [1, 2, {b: 3}]",
    "a: &x {b: 1}\nc: *x",
    "a: &x {b: 1}\nc: {<<: *x, d: 2}",
    "a: |\n  two\n  lines\n",
    "a: >-\n  folded\n  text\n",
    "a: 'it''s {{ quote(\"mass\") }}'",
    "a: ünïcode",
    "a: .5",
    "a: 1.5e+3",
    "a: 1.5e3",
    "a: 1e3",
    "a: on_time",
    "\ufeffa: 1",
    "a: ! 12",
]

BENT = [
    "a: 012",
    "a: no",
    "a: off",
    "a: NO",
    "a: yes",
    "a: 1:30",
    "a: 0x1f",
    "a: 1_000",
    "a: 0b11",
    "a: !!str 12",
    "a: ! '12'",
    "! : 1",
    "a: b\n\ufeff",
    'a: "\\0"\nb: \x07',
    "a: .nan",
    "a: .inf",
    "a: 1\na: 2",
    "no: 1",
    "1: 2",
    "a: !!python/object:os.system x",
    "- a\n- b",
    "",
    "a: 1\n---\nb: 2",
    "a: [1, 2",
    "a:\n\t- 1",
    "a: *missing",
    "{" * 200 + "}" * 200,
    "a: &a [*a]",
    (
        "a: &a [x,x,x,x,x,x,x,x,x]\nb: &b [*a,*a,*a,*a,*a,*a,*a,*a]\nc: &c [*b,*b,*b,*b,*b,*b,*b,*b]\n"
        "d: &d [*c,*c,*c,*c,*c,*c,*c,*c]\ne: &e [*d,*d,*d,*d,*d,*d,*d,*d]\nf: [*e,*e,*e,*e,*e,*e]"
    ),
]


@pytest.mark.parametrize("text", SAME)
def test_values_are_those_of_papermills_own_loader(text: str) -> None:
    assert compose_text(text, "f.yaml").values == yaml.load(text, Loader=NoDatesSafeLoader)  # noqa: S506


@pytest.mark.parametrize("text", BENT)
def test_bent_scalars_and_doubles_are_refused_with_the_form_to_write(text: str) -> None:
    with pytest.raises(InputError) as caught:
        compose_text(text, "f.yaml")
    for fault in caught.value.faults:
        assert fault.file == "f.yaml"
        assert fault.found
        assert fault.expected
        assert fault.remedy


def test_a_fault_names_line_and_field() -> None:
    with pytest.raises(InputError) as caught:
        compose_text("a: 1\nb:\n  c: 012\n", "f.yaml")
    assert str(caught.value) == (
        "f.yaml:3: b.c: found 012, which YAML reads as 10; expected a plain decimal number of at most 18 digits. "
        'Write "012" in quotes if it is a name, or the plain number 12.'
    )


def test_places_know_the_line_of_every_field() -> None:
    document = compose_text("a: 1\nb:\n  - {c: 2}\n  - {c: 3}\n", "f.yaml")
    assert document.places.line(("b", 1, "c")) == 4
    assert document.places.line(("b", 1, "missing")) == 4
