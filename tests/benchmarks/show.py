"""Results as text, JSON and a chart. In: what measure.summarize gives. Out: lines on the screen, two small files."""

from __future__ import annotations

import json
import math
from pathlib import Path

COLOURS = {
    "bare load": "#777777",
    "whole run": "#0b62a4",
    "a month more": "#2e8b57",
    "plain pandas": "#b5552b",
    "tuned pandas": "#c79a3a",
    "overdue alone": "#8a5aa8",
    "whole site": "#3d8b8b",
}
WIDTH, HEIGHT, LEFT, TOP, RIGHT, BOTTOM = 640, 380, 60, 20, 150, 40
LETTERS = 14  # the height of a line of text


def print_tables(results: dict) -> None:
    """What was measured, a fleet after the other."""
    for fleet in results["fleets"]:
        print(
            f"\n{fleet['vessels']:,} vessels, {fleet['bytes'] / 1e6:,.0f} MB, medians of {fleet['repeats']}, {results['cores']} cores"
        )
        for what, m in fleet["medians"].items():
            print(
                f"  {what:16s} {m['wall']:8.1f} s  {m['cpu']:8.1f} s processor  {m['memory']:7.0f} MiB  {m['rows']:>12,.0f} rows"
            )
            for name, seconds, cpu, memory in m.get("stages", []):
                print(f"    {name:36s} {seconds:7.1f} s  {cpu:8.1f} s processor  {memory:7.0f} MiB by then")
        for what, ratio in fleet["ratios"].items():
            print(f"  {what:32s} {ratio:6.2f}")
        if pages := fleet.get("pages"):
            print(
                f"  pages: {pages['ms_a_vessel']:.1f} ms a vessel, {pages['ms_a_unit_page']:.2f} ms for each of {pages['unit_pages']:,} units"
            )
    for step, growth in results["growth"].items():
        print(
            f"growth (exponent of processor time), {step} vessels: "
            + ", ".join(f"{what} {value:.2f}" for what, value in growth.items())
        )


def write_json(results: dict, path: Path) -> None:
    """Numbers to three digits after the point."""
    path.write_text(json.dumps(_round(results), indent=1) + "\n", encoding="utf-8")


def _round(value):
    if isinstance(value, dict):
        return {key: _round(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_round(item) for item in value]
    return round(value, 3) if isinstance(value, float) else value


def write_chart(results: dict, path: Path) -> None:
    """Seconds over vessels, both in logarithms: a line that rises as steeply as the grey one grows in line with the work."""
    lines = {
        what: [(fleet["vessels"], fleet["medians"][what]["wall"]) for fleet in results["fleets"] if what in fleet["medians"]]
        for what in COLOURS
    }
    points = [point for line in lines.values() for point in line]
    x_low, x_high = (edge(math.log10(x) for x, _ in points) for edge in (min, max))
    y_low, y_high = math.floor(min(math.log10(y) for _, y in points)), math.ceil(max(math.log10(y) for _, y in points))

    def place(x: float, y: float) -> tuple[float, float]:
        across = (math.log10(x) - x_low) / (x_high - x_low or 1)
        up = (math.log10(y) - y_low) / (y_high - y_low or 1)
        return LEFT + across * (WIDTH - LEFT - RIGHT), HEIGHT - BOTTOM - up * (HEIGHT - TOP - BOTTOM)

    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" font-size="12">']
    parts.append("<title>Seconds of a run by vessels</title>")
    parts.append(f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>')
    for power in range(y_low, y_high + 1):
        y = place(10**x_low, 10**power)[1]
        parts.append(f'<path d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}" stroke="#dddddd"/>')
        parts.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{10.0**power:g} s</text>')
    for vessels in sorted({x for x, _ in points}):
        x = place(vessels, 10**y_low)[0]
        parts.append(f'<text x="{x:.1f}" y="{HEIGHT - BOTTOM + 18}" text-anchor="middle">{vessels:,}</text>')
    parts.append(f'<text x="{(LEFT + WIDTH - RIGHT) / 2}" y="{HEIGHT - 6}" text-anchor="middle">vessels</text>')
    drawn = {what: [place(*point) for point in line] for what, line in lines.items() if line}
    names = _part_names({what: line[-1][1] for what, line in drawn.items()})
    parts += [_draw_line(what, line, names[what]) for what, line in drawn.items()]
    path.write_text("\n".join([*parts, "</svg>", ""]), encoding="utf-8")


def _part_names(ends: dict[str, float]) -> dict[str, float]:
    """How high each name is written: beside the end of its line, and a line of text below the name above it."""
    heights, above = {}, -LETTERS
    for what, end in sorted(ends.items(), key=lambda item: item[1]):
        heights[what] = above = max(end, above + LETTERS)
    return heights


def _draw_line(what: str, points: list[tuple[float, float]], height: float) -> str:
    through = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dots = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3"/>' for x, y in points)
    return (
        f'<g fill="{COLOURS[what]}"><polyline points="{through}" fill="none" stroke="{COLOURS[what]}" stroke-width="2"/>{dots}'
        f'<text x="{points[-1][0] + 8:.1f}" y="{height + 4:.1f}">{what}</text></g>'
    )
