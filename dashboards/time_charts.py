"""Courses over time and small multiples, as plotly figures.

In: `Series`. Out: a figure as charts.py makes them, every value axis from zero, panels on one scale.
"""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go  # type: ignore[import-untyped]

from dashboards import palette
from dashboards.charts import (
    Series,
    clean_labels,
    clean_numbers,
    escape_texts,
    find_top,
    make_axis,
    measure_tail,
    subtract_numbers,
    write_figure,
)

PANEL_NAME = 26  # letters of a panel's name that fit above it
ZERO_GAP = 7  # pixels between the value axis's 0 and the first date below it
LABEL_GAP = 0.075  # least distance of two line labels, as a part of the axis


def spread_labels(ends: Sequence[float], top: float) -> list[float]:
    """Push the labels of line ends apart so that none covers another, keeping their order."""
    gap, placed = top * LABEL_GAP, [0.0] * len(ends)
    last = -gap
    for i in sorted(range(len(ends)), key=lambda k: (ends[k], -k)):
        last = placed[i] = max(ends[i], last + gap)
    return placed


def name_end(name: str, place: float, colour: str) -> dict:
    """A line's name beside its end, in its colour."""
    return {
        "x": 1,
        "xref": "paper",
        "xanchor": "left",
        "xshift": 6,
        "y": place,
        "text": name,
        "showarrow": False,
        "font": {"color": colour},
    }


def draw_lines(series: Sequence[Series], axis: str, suffix: str = "") -> dict:
    """Lines over months from zero, each named at its end."""
    top = find_top(*(s.y for s in series)) * 1.12
    traces, notes = [], []
    ends = [next((float(v) for v in reversed(s.y) if v is not None), 0.0) for s in series]
    for i, (s, place) in enumerate(zip(series, spread_labels(ends, top), strict=True)):
        colour, dash = palette.pick_series(i)
        traces.append(
            go.Scatter(
                x=[d.isoformat() for d in s.x],
                y=clean_numbers(s.y),
                name=escape_texts([s.name])[0],
                mode="lines+markers" if len(s.x) < 3 else "lines",
                line={"color": colour, "dash": dash, "width": 2.5 if i == 0 else 1.8},
                hovertemplate=f"%{{fullData.name}}, %{{x|%b %Y}}: %{{y:.1f}}{suffix}<extra></extra>",
            )
        )
        notes.append(name_end(escape_texts([s.name])[0], place, colour))
    layout = {
        "xaxis": make_axis(type="date", tickformat="%b<br>%Y", nticks=8, showgrid=False, ticklabelstandoff=ZERO_GAP),
        "yaxis": make_axis(axis, top),
        "annotations": notes,
        "margin": {"l": 8, "r": measure_tail([s.name for s in series]), "t": 12, "b": 48},
    }
    return write_figure(traces, layout, 320, {"print_height": 250})


def make_error_bars(series: Series) -> dict | None:
    """The limits of a series as error bars, where it has any."""
    if not series.low:
        return None
    look = {"type": "data", "symmetric": False, "width": 3, "thickness": 1.4, "color": palette.ACCENT}
    return look | {"array": subtract_numbers(series.high, series.y), "arrayminus": subtract_numbers(series.y, series.low)}


def draw_panel(series: Series, axis_no: str, is_dated: bool, suffix: str) -> go.Scatter:
    """One panel: a line over months, or points with limits. Those aren't joined: bands of age are not a course."""
    bars = make_error_bars(series)
    return go.Scatter(
        x=[d.isoformat() for d in series.x] if is_dated else list(series.x),
        y=clean_numbers(series.y),
        error_y=bars,
        name=clean_labels([series.name])[0],
        xaxis=f"x{axis_no}",
        yaxis=f"y{axis_no}",
        mode="markers" if bars else "lines+markers" if len(series.x) < 3 else "lines",
        line={"color": palette.ACCENT, "width": 1.8},
        marker={"size": 6},
        hovertemplate=("%{x|%b %Y}" if is_dated else "%{x}") + f": %{{y:.1f}}{suffix}<extra></extra>",
    )


def draw_panels(series: Sequence[Series], is_dated: bool, suffix: str = "", floor: float = 0.0) -> dict:
    """Small multiples on one scale, one panel each; site.js lays them out for the width it finds."""
    top = max(find_top(*(s.y for s in series), *(s.high for s in series)) * 1.1, floor)
    layout: dict = {"annotations": [], "margin": {"l": 4, "r": 4, "t": 22, "b": 34}}
    dated = {"type": "date", "tickformat": "%b \u2019%y", "nticks": 4} if is_dated else {"type": "category"}
    frame = {"automargin": False, "showline": True, "linecolor": "var(--grid)", "tickangle": 0, "ticklabelstandoff": ZERO_GAP - 2}
    title = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom", "showarrow": False, "x": 0, "y": 1}
    traces = []
    for i, s in enumerate(series, start=1):
        n = "" if i == 1 else str(i)
        traces.append(draw_panel(s, n, is_dated, suffix))
        layout[f"xaxis{n}"] = make_axis(**dated) | frame | {"anchor": f"y{n}"}
        layout[f"yaxis{n}"] = make_axis("", top) | {"nticks": 4, "automargin": False, "anchor": f"x{n}", "ticksuffix": suffix}
        layout["annotations"].append(title | {"text": clean_labels([s.name], PANEL_NAME)[0], "font": {"color": palette.INK}})
    return write_figure(traces, layout, 200, {"panels": len(series)})
