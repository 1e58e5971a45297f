"""The few chart forms of the site, as plotly figures in plain JSON.

In: labels, numbers, an axis title with its unit. Out: a dict for site.js (no template, no arrays in base64, rounded
numbers, colours as CSS variables). Every form starts its value axis at zero, has no title (the page states it) and no
toolbar; intervals are always drawn where a rate is. `meta` tells site.js what depends on the width it finds: "panels" (how
many to lay out), "texts" (the trace whose words go above their row where it is narrow), "ticks" (long and short tick words,
of columns whose numbers on top take one size that fits), "print_height" (a lower one for paper).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import plotly.graph_objects as go  # type: ignore[import-untyped]

from dashboards import palette, words

Number = float | int | None
MOST_LABEL = 40
YEAR_TICKS = 3  # months that a year takes below its first


@dataclass(frozen=True)
class Series:
    """One line, panel or stack part: its name, its places along x and its numbers, with limits where it has any."""

    name: str
    x: tuple
    y: tuple[Number, ...]
    low: tuple[Number, ...] = ()
    high: tuple[Number, ...] = ()
    slug: str = ""


def clean_numbers(values: Sequence[Number]) -> list[Number]:
    """Four decimals are more than a screen can show, and keep the pages small."""
    return [None if v is None else v if isinstance(v, int) else round(float(v), 4) for v in values]


def subtract_numbers(ones: Sequence[Number], others: Sequence[Number]) -> list[Number]:
    """Pairwise differences, cleaned; nothing where either is missing."""
    return clean_numbers([None if a is None or b is None else a - b for a, b in zip(ones, others, strict=True)])


def clean_labels(labels: Sequence[str], most: int = MOST_LABEL) -> list[str]:
    """plotly reads a little markup in labels: a name is text, never markup. Long names are cut; two alike stay two rows."""
    cut, seen = [], set()
    for label in labels:
        name, number = words.cut_name(str(label), most), 2
        while name in seen:
            name, number = f"{words.cut_name(str(label), most)} ({number})", number + 1
        seen.add(name)
        cut.append(name)
    return escape_texts(cut)


def escape_texts(texts: Sequence[str]) -> list[str]:
    """Words beside marks: whole, and never markup."""
    return [str(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") for text in texts]


def measure_tail(texts: Sequence[str]) -> int:
    """Pixels to keep free at the right for the words beside bars and intervals."""
    return 18 + 7 * max((len(text) for text in texts), default=0)


def find_top(*groups: Sequence[Number]) -> float:
    """The upper edge of a value axis that starts at zero."""
    return max((float(v) for group in groups for v in group if v is not None), default=0.0) or 1.0


def load_forms() -> None:
    """plotly loads its parts when they are first asked for: now, before processes fork that would each do so."""
    write_figure([{"type": "bar"}, {"type": "scatter"}], {"xaxis": make_axis("", 1)}, 100)


def write_figure(traces: list, layout: dict, height: int, meta: dict | None = None) -> dict:
    """Check the figure against plotly's own schema and drop what site.js supplies."""
    base = {
        "template": "none",
        "height": height,
        "showlegend": False,
        "dragmode": False,
        "margin": {"l": 8, "r": 16, "t": 8, "b": 48},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "meta": meta or {},
    }
    figure = go.Figure(data=traces, layout=base | layout).to_plotly_json()
    del figure["layout"]["template"]
    return figure


def make_axis(title: str = "", top: float | None = None, **more: object) -> dict:
    """An axis that can't be dragged; with `top` it is a value axis from zero."""
    axis: dict = {"fixedrange": True, "automargin": True, "gridcolor": "var(--grid)", "zeroline": False, "ticks": ""}
    if title:
        axis["title"] = {"text": title, "standoff": 10, "font": {"size": 12, "color": "var(--muted)"}}
    if top is None:
        axis |= {"showgrid": False, "showline": False}
    else:
        axis |= {"range": [0, top], "zeroline": True, "zerolinecolor": "var(--limit)", "nticks": 6}
    return axis | more


def draw_bars(
    labels: Sequence[str], values: Sequence[Number], axis: str, texts: Sequence[str], marked: Sequence[bool] = ()
) -> dict:
    """Lying bars from zero with their number beside them; `marked` bars wear the accent."""
    colours = [palette.ACCENT if m else palette.QUIET for m in marked] or palette.ACCENT
    bar = go.Bar(
        x=clean_numbers(values), y=clean_labels(labels), text=escape_texts(texts), orientation="h", width=0.62,
        textposition="outside", cliponaxis=False, marker={"color": colours}, hovertemplate="%{y}: %{text}<extra></extra>",
    )  # fmt: skip
    layout = {
        "xaxis": make_axis(axis, find_top(values), tickformat=",~r"),
        "yaxis": make_axis(autorange="reversed", ticklabelstandoff=6),
        "margin": {"l": 8, "r": measure_tail(texts), "t": 8, "b": 48},
    }
    return write_figure([bar], layout, 64 + 34 * max(len(labels), 1))


def name_ticks(days: Sequence[date]) -> dict[str, list[str]]:
    """Month names for ticks, in full and by their first letter, the year below each January and the first month."""
    # A year needs the width of three months: below the first month it would run into that of a January close by.
    is_close = any(day.month == 1 for day in days[1:YEAR_TICKS])
    years = [f"<br>{day.year}" if day.month == 1 or (i == 0 and not is_close) else "" for i, day in enumerate(days)]
    names = [words.MONTHS[day.month - 1] for day in days]
    return {
        "long": [name + year for name, year in zip(names, years, strict=True)],
        "short": [name[0] + year for name, year in zip(names, years, strict=True)],
    }


def draw_columns(labels: Sequence[str], days: Sequence[date], values: Sequence[Number], axis: str) -> dict:
    """Standing bars from zero, one for each month, with their number on top."""
    names = clean_labels(labels)
    bar = go.Bar(
        x=names, y=clean_numbers(values), text=[f"{v:,}" if v else "" for v in values], width=0.7, textposition="outside",
        cliponaxis=False, textangle=0, constraintext="none", marker={"color": palette.ACCENT},
        hovertemplate="%{x}: %{y}<extra></extra>",
    )  # fmt: skip
    ticks = name_ticks(days)
    layout = {
        "xaxis": make_axis(type="category", tickmode="array", tickvals=names, ticktext=ticks["long"], tickangle=0),
        "yaxis": make_axis(axis, find_top(values) * 1.15, tickformat=",~r"),
        "margin": {"l": 8, "r": 8, "t": 8, "b": 40},
    }
    return write_figure([bar], layout, 280, {"ticks": ticks, "print_height": 230})


def draw_stack(labels: Sequence[str], series: Sequence[Series], axis: str) -> dict:
    """Lying bars made of agents, in the agents' own colours, outlined, with the count inside each part."""
    names, traces = clean_labels(labels), []
    for s in series:
        traces.append(
            go.Bar(
                x=clean_numbers(s.y),
                y=names,
                name=escape_texts([s.name])[0],
                orientation="h",
                width=0.62,
                text=[str(v) if v else "" for v in s.y],
                textposition="inside",
                insidetextanchor="middle",
                textangle=0,
                constraintext="none",
                insidetextfont={"color": palette.pick_agent_ink(s.slug)},
                marker={"color": palette.pick_agent_colour(s.slug), "line": {"color": palette.OUTLINE, "width": 1}},
                hovertemplate="%{y}, %{fullData.name}: %{x}<extra></extra>",
            )
        )
    totals = [sum(s.y[i] or 0 for s in series) for i in range(len(names))]
    layout = {
        "barmode": "stack",
        "showlegend": True,
        "legend": {
            "orientation": "h",
            "x": 0,
            "y": 1,
            "yanchor": "bottom",
            "traceorder": "normal",
            "itemclick": False,
            "itemdoubleclick": False,
        },
        "xaxis": make_axis(axis, find_top(totals) * 1.02, tickformat=",~r"),
        "yaxis": make_axis(autorange="reversed", ticklabelstandoff=6),
        "margin": {"l": 8, "r": 16, "t": 44, "b": 48},
    }
    return write_figure(traces, layout, 120 + 32 * max(len(names), 1))


def draw_agents(labels: Sequence[str], agents: Sequence[str], values: Sequence[int], axis: str, texts: Sequence[str]) -> dict:
    """Lying bars from zero, one for each agent, in the agent's colour and outlined."""
    figure = draw_bars(labels, values, axis, texts)
    figure["data"][0]["marker"] = {
        "color": [palette.pick_agent_colour(agent) for agent in agents],
        "line": {"color": palette.OUTLINE, "width": 1},
    }
    return figure
