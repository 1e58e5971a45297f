"""Charts with limits, as plotly figures: a course over time and a funnel.

In: `Series` and points. Out: a figure as charts.py makes them, value axis from zero; what lies outside is filled and named, so that no
colour says it alone.
"""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go  # type: ignore[import-untyped]

from dashboards import palette
from dashboards.charts import Series, clean_labels, clean_numbers, make_axis, write_figure

MOST_LETTERS = 18  # of a name beside a mark, so that it fits on a phone
LIMIT_LINE = {"color": palette.LIMIT, "width": 1.2, "dash": "dash"}


def draw_line(x: Sequence, y: Sequence, line: dict, **more: object) -> go.Scatter:
    """A line that only guides the eye."""
    return go.Scatter(x=list(x), y=clean_numbers(y), mode="lines", line=line, hoverinfo="skip", **more)


def draw_level(y: float, dash: str = "dash") -> dict:
    """A level across the chart."""
    line = {"color": palette.LIMIT, "width": 1, "dash": dash}
    return {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": y, "y1": y, "line": line, "layer": "below"}


def note(text: str, x: object, y: float | None, **more: object) -> dict:
    """A word at a place of the chart."""
    return {"text": text, "x": x, "y": y, "showarrow": False, "font": {"color": palette.LIMIT}, **more}


def draw_marks(outside: Sequence[bool], large: int, small: int) -> dict:
    """Larger diamonds for what lies outside, circles for the rest: no meaning by colour alone."""
    return {
        "size": [large if is_outside else small for is_outside in outside],
        "symbol": ["diamond" if is_outside else "circle" for is_outside in outside],
        "color": palette.ACCENT,
    }


def draw_limits(series: Series, centre: float | None, outside: Sequence[bool], axis: str) -> dict:
    """A share in per cent over months, its limits as steps and its centre; months outside are larger and filled."""
    days = [d.isoformat() for d in series.x]
    traces, notes, shapes = [], [], []
    if centre is not None:
        step = {"color": palette.LIMIT, "width": 1, "shape": "hvh"}
        traces += [draw_line(days, series.low, step), draw_line(days, series.high, step)]
        shapes.append(draw_level(centre))
        notes.append(note(f"{centre:.1f} %", 1, centre, xref="paper", xanchor="left", xshift=4))
    traces.append(
        go.Scatter(
            x=days,
            y=clean_numbers(series.y),
            mode="lines+markers",
            line={"color": palette.ACCENT, "width": 1.6},
            marker=draw_marks(outside, 11, 5),
            hovertemplate="%{x|%b %Y}: %{y:.1f} %<extra></extra>",
        )
    )
    layout = {
        "xaxis": make_axis(type="date", tickformat="%b<br>%Y", nticks=8, showgrid=False, ticklabelstandoff=7),
        "yaxis": make_axis(axis, 104),
        "annotations": notes,
        "shapes": shapes,
        "margin": {"l": 8, "r": 52, "t": 12, "b": 48},
    }
    return write_figure(traces, layout, 320, {"print_height": 250})


def draw_funnel(names: Sequence[str], sizes: Sequence[float], shares: Sequence[float], marked: Sequence[bool],
                curves: dict[str, tuple[Sequence[float], Sequence[float], Sequence[float]]], centre: float, axes: tuple[str, str]) -> dict:  # fmt: skip
    """Points by size and share in per cent between curves of limits; marked points are diamonds with their name.

    The size's axis shows the sizes there are; the value's starts at zero.
    """
    traces, notes = [], []
    left, right = 0.9 * min(sizes), 1.1 * max(sizes)
    for n, (said, (x, low, high)) in enumerate(curves.items()):
        line = LIMIT_LINE | {"dash": "dash" if n else "dot"}
        traces += [draw_line(x, low, line), draw_line(x, high, line)]
        notes.append(note(said, x[-1], low[-1], xanchor="left", xshift=6))
    # beside the plot, where no mark can lie under it
    notes.append(note(f"fleet<br>{centre:.1f} %", 1, centre, xref="paper", xanchor="left", xshift=4, align="left"))
    labels = clean_labels(names, MOST_LETTERS)
    middle = (min(sizes) + max(sizes)) / 2
    traces.append(
        go.Scatter(
            x=clean_numbers(sizes),
            y=clean_numbers(shares),
            mode="markers+text",
            text=[name if m else "" for name, m in zip(labels, marked, strict=True)],
            textposition=["middle left" if size > middle else "middle right" for size in sizes],
            textfont={"color": palette.INK},
            customdata=labels,
            marker=draw_marks(marked, 12, 9),
            hovertemplate="%{customdata}: %{y:.1f} %<extra></extra>",
        )
    )
    layout = {
        "xaxis": make_axis(axes[0], right, tickformat=",~r") | {"range": [left, right], "zeroline": False},
        "yaxis": make_axis(axes[1], 104),
        "annotations": notes,
        "shapes": [draw_level(centre, "solid")],
        "margin": {"l": 8, "r": 52, "t": 12, "b": 52},
    }
    return write_figure(traces, layout, 340, {"print_height": 260})
