"""Rates with their intervals, as plotly figures.

In: labels, (rate, low, high), words. Out: a figure as charts.py makes them; a rate never stands without its interval.
"""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go  # type: ignore[import-untyped]

from dashboards import palette
from dashboards.charts import (
    Number,
    clean_labels,
    clean_numbers,
    find_top,
    make_axis,
    measure_tail,
    subtract_numbers,
    write_figure,
)


def draw_dots(names: list[str], points: Sequence[tuple[Number, Number, Number]], texts: Sequence[str]) -> list[go.Scatter]:
    """The points with their intervals, and the words beside them; a row without a rate has its words at zero."""
    rated = [i for i, p in enumerate(points) if p[0] is not None]
    few = [i for i, p in enumerate(points) if p[0] is None]
    mid, low, high = ([points[i][k] for i in rated] for k in range(3))
    up, down = subtract_numbers(high, mid), subtract_numbers(mid, low)
    bars = {
        "type": "data",
        "symmetric": False,
        "array": up,
        "arrayminus": down,
        "width": 4,
        "thickness": 1.5,
        "color": palette.ACCENT,
    }
    dots = go.Scatter(
        x=clean_numbers(mid),
        y=[names[i] for i in rated],
        mode="markers",
        marker={"color": palette.ACCENT, "size": 10},
        error_x=bars,
        customdata=[texts[i] for i in rated],
        hovertemplate="%{y}: %{customdata}<extra></extra>",
    )
    said = go.Scatter(
        x=clean_numbers(high) + [0] * len(few), y=[names[i] for i in [*rated, *few]], mode="text",
        text=["  " + texts[i] for i in [*rated, *few]], textposition="middle right", hoverinfo="skip", cliponaxis=False,
        textfont={"color": palette.INK},
    )  # fmt: skip
    return [dots, said]


def draw_intervals(
    labels: Sequence[str],
    points: Sequence[tuple[Number, Number, Number]],
    texts: Sequence[str],
    axis: str,
    reference: tuple[float, str] | None = None,
) -> dict:
    """A point and its 95 % interval on each row; a row without a rate says so in words at zero."""
    names = clean_labels(labels)
    top = find_top([p[2] for p in points], [reference[0]] if reference else [])
    rows: dict = {
        "categoryorder": "array",
        "categoryarray": names[::-1],
        "range": [-0.6, len(names) - 0.4],
        "ticklabelstandoff": 6,
    }
    layout: dict = {
        "xaxis": make_axis(axis, round(top * 1.02, 4), tickformat=",~r"),
        "yaxis": make_axis(type="category", **rows),
        "margin": {"l": 8, "r": measure_tail(texts), "t": 26 if reference else 8, "b": 48},
    }
    if reference:
        line = {"color": palette.LIMIT, "width": 1, "dash": "dash"}
        layout["shapes"] = [
            {
                "type": "line",
                "x0": reference[0],
                "x1": reference[0],
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "line": line,
                "layer": "below",
            }
        ]
        layout["annotations"] = [
            {"x": reference[0], "y": 1, "yref": "paper", "yanchor": "bottom", "showarrow": False, "text": reference[1],
             "font": {"color": palette.LIMIT}}
        ]  # fmt: skip
    return write_figure(draw_dots(names, points, texts), layout, 90 + 32 * max(len(names), 1), {"texts": 1})
