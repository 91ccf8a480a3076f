"""Charts: one record, drawn live and still, in the units of pages."""

from __future__ import annotations

import json
import re

import pytest

from benchproof.nomenclature import unit_text
from benchproof.notebooks.drawing import SAMPLE_STROKES, in_shown_units, strokes, svg
from benchproof.report.charts import MOST_ROWS, chart_view
from benchproof.report.collect import DrawnChart, collect
from benchproof.report.drawings import inert_drawing
from benchproof.report.figures import Figure, figure_data
from benchproof.report.records import Chart
from report.sample_notebook import charts, sample_notebook


def hostile(text: str) -> str:
    return f'_$\\frac{{1}}$ {text}<b onclick="x()">%{{y}}</b>--\x00日本'


def record(number: int = 0, **more) -> Chart:
    return Chart.model_validate_json(json.dumps({**charts(str)[number], **more}))


def live(chart: Chart) -> dict[str, Figure]:
    return figure_data(in_shown_units(chart.model_dump()))


def test_a_still_has_the_same_bytes_each_time() -> None:
    chart = charts(str)[0]
    assert svg(chart) == svg(chart)
    assert "20" not in re.findall(r"<dc:date>(.*?)</dc:date>", svg(chart))


def test_hostile_names_are_drawn_as_letters() -> None:
    inert_drawing(svg(charts(hostile)[0]), place="x")


def test_a_live_figure_has_a_band_a_line_and_points_for_each_sample() -> None:
    data = live(record())["light"]["data"]
    assert [trace.get("fill") for trace in data].count("toself") == 2
    assert [trace["mode"] for trace in data].count("markers") == 2
    assert {trace["meta"] for trace in data} == {"A1", "A2"}


def test_samples_differ_by_more_than_colour() -> None:
    lines = [t for t in live(record())["light"]["data"] if t["mode"] == "lines" and "fill" not in t]
    assert len({line["line"]["dash"] for line in lines}) == len(lines)
    assert len({stroke.marker for stroke in SAMPLE_STROKES}) == len(SAMPLE_STROKES)


def test_a_sample_keeps_its_colour_where_another_is_missing() -> None:
    chart = charts(str)[0]
    alone = {**chart, "series": [one for one in chart["series"] if one["sample"] == "A2"]}
    assert strokes(alone)["A2"] == strokes(chart)["A2"]


def test_the_dark_figure_differs_in_colours_alone() -> None:
    both = live(record())
    text = json.dumps(both["dark"])
    assert '"x"' not in text
    assert '"y"' not in text
    assert SAMPLE_STROKES[0].dark in text


def test_pages_show_their_own_units_and_curves_keep_those_of_results() -> None:
    chart = record(1)
    shown = live(chart)["light"]
    assert "gf/W" in shown["layout"]["yaxis"]["title"]["text"]
    assert shown["data"][-1]["y"][0] == pytest.approx(chart.series[-1].y[0] / 9.80665e-3, rel=1e-5)


def test_an_axis_of_positive_values_has_no_negative_stretch() -> None:
    layout = live(record())["light"]["layout"]
    assert layout["xaxis"]["rangemode"] == "nonnegative"
    below = [{**one, "y": [-1.0, *one["y"][1:]]} for one in charts(str)[0]["series"]]
    assert live(record(series=below))["light"]["layout"]["yaxis"]["rangemode"] == "normal"


def test_labels_are_inert_for_the_chart_library_too() -> None:
    text = json.dumps(live(Chart.model_validate_json(json.dumps(charts(hostile)[0]))))
    assert "<b onclick" not in text
    assert "%{y}<" not in text.replace("%{y:", "")


def test_a_long_series_is_thinned_in_the_table_and_the_page_says_so() -> None:
    many = [float(k) for k in range(10 * MOST_ROWS)]
    series = [{"label": "log", "sample": "A1", "role": "line", "x": many, "y": many}]
    group = chart_view(DrawnChart(record(series=series), "", "cell")).points[0]
    assert len(group.rows) == MOST_ROWS
    assert "one point in 10" in group.note


def test_gaps_are_left_out_of_bands_and_kept_in_lines() -> None:
    series = [{"label": "a", "sample": None, "role": "band", "x": [1.0, 2.0, 3.0], "y": [1.0, None, 3.0],
               "low": [0.9, None, 2.9], "high": [1.1, None, 3.1]}]  # fmt: skip
    band, line = live(record(series=series))["light"]["data"]
    assert band["x"] == [1.0, 3.0, 3.0, 1.0]
    assert line["y"] == [1.0, None, 3.0]
    inert_drawing(svg(record(series=series).model_dump()), place="x")


def test_every_chart_has_words_for_those_who_do_not_see_it() -> None:
    for section in collect(sample_notebook()).sections:
        for chart in section.charts:
            assert chart_view(chart).alt == f"{chart.record.title}. {chart.record.caption}"


@pytest.mark.parametrize(
    ("unit", "printed"),
    [("N*m/W**0.5", "N·m/√W"), ("kg*m**2", "kg·m²"), ("mohm", "mΩ"), ("degC", "°C"), ("1", ""), ("rpm/V", "rpm/V")],
)
def test_units_are_printed_as_print_has_them(unit: str, printed: str) -> None:
    assert unit_text(unit) == printed
