"""JSON with line breaks: the bytes that the standard library gives."""

from __future__ import annotations

import json
from typing import Any

import pytest

from benchproof.report.indented import indented

DATA: Any = {
    "flat": [1, 2.5, None, True, 'größer\n"\\\u2028', -0.0, 1e300, 10**20],
    "tuple": (1, (2, ())),
    "empty": [{}, [], "", 0, False, None],
    "rows": [["a", "b"], ["c", "d"]],
    "nested": {"Ω\t": {"x": [[{"y": 1}]], "z": {}}},
}


@pytest.mark.parametrize("by", [1, 2])
@pytest.mark.parametrize("value", [DATA, [DATA], [], {}, (), "text", 1.5, None, True], ids=repr)
def test_it_is_what_the_standard_library_writes(value: Any, by: int) -> None:
    assert indented(value, by=by) == json.dumps(value, indent=by, ensure_ascii=False)


@pytest.mark.parametrize("place", [lambda x: x, lambda x: [x], lambda x: {"a": x}, lambda x: {"a": [{}, x]}])
def test_a_number_that_is_not_finite_is_refused_or_written_as_the_standard_library_does(place: Any) -> None:
    value = place(float("nan"))
    assert indented(value, by=1) == json.dumps(value, indent=1)
    with pytest.raises(ValueError, match="not JSON compliant"):
        indented(value, by=1, allow_nan=False)
