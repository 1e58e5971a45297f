"""Curves over age with the limits of the leading one, as a plotly figure. In: points. Out: a figure as charts.py makes them."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go  # type: ignore[import-untyped]

from dashboards import palette
from dashboards.charts import clean_numbers, find_top, make_axis, measure_tail, write_figure
from dashboards.time_charts import name_end, spread_labels

LIMIT_LINE = {"color": palette.ACCENT, "width": 0.9}


def name_ages(ages: Sequence[float]) -> list[str]:
    """As the table writes them; the axis is told that they are numbers."""
    return [f"{age:g}" for age in ages]


def draw_curves(lines: dict[str, list[tuple[float, float]]], limits: Sequence[tuple], axis: str, age_axis: str) -> dict:
    """Lines named at their ends, the first with its limits (age, low, high); ages and shares from zero."""
    top = find_top([p[1] for points in lines.values() for p in points], [p[2] for p in limits]) * 1.05
    reach = max(p[0] for points in lines.values() for p in points)
    ages = name_ages([p[0] for p in limits])
    traces = [
        go.Scatter(x=ages, y=clean_numbers([p[k] for p in limits]), mode="lines", line=LIMIT_LINE, hoverinfo="skip")
        for k in (1, 2)
    ]
    notes = []
    ends = [points[-1][1] for points in lines.values()]
    for n, ((name, points), place) in enumerate(zip(lines.items(), spread_labels(ends, top), strict=True)):
        colour, dash = palette.pick_series(n)
        # records tell of intervals: their curves are steps
        shape = "linear" if name == "corrected" else "hv"
        traces.append(
            go.Scatter(
                x=name_ages([p[0] for p in points]), y=clean_numbers([p[1] for p in points]), name=name, mode="lines",
                line={"color": colour, "dash": dash, "width": 2.5 if n == 0 else 1.8, "shape": shape},
                hovertemplate="%{fullData.name}, %{x} years: %{y:.0f} %<extra></extra>",
            )
        )  # fmt: skip
        notes.append(name_end(name, place, colour))
    layout = {
        "xaxis": make_axis(age_axis, reach, type="linear"),
        "yaxis": make_axis(axis, min(top, 104)),
        "annotations": notes,
        "margin": {"l": 8, "r": measure_tail(list(lines)), "t": 12, "b": 48},
    }
    return write_figure(traces, layout, 340, {"print_height": 260})
