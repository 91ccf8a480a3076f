"""Inspection: words and pictures, no figure."""

from __future__ import annotations

from benchproof.methods.inspection import METHOD, Finding, reduce


def test_findings_become_a_table_and_no_figure() -> None:
    found = reduce([Finding("A1", "bell", "Runs true.", "photos/a.jpg"), Finding("A2", "", "Play.", "")], None)
    assert found.figures == ()
    assert found.tables[0].rows == (("A1", "bell", "Runs true.", "photos/a.jpg"), ("A2", "", "Play.", ""))
    assert METHOD.label == "inspection/1.0"
