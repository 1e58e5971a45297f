"""Rates of defects and how they are said.

In: rows of figure.defect_rate. Out: rates with their Garwood limits, counts alone where there are too few, and the chart of both.
"""

from __future__ import annotations

from typing import Any

from dashboards import rate_charts, words
from dashboards.blocks import Chart, Context, Count, Table, name_columns
from dashboards.pages.list_found import name_found

Row = Any


PERIOD = "last 12 months"


DIMENSIONS = ("imo_number", "component", "defect", "agent", "space_category", "maker", "provider")


RATES_SQL = """
    SELECT period, imo_number, component, defect, agent, space_category, maker, provider, findings, unit_years, per_100_unit_years, low, high,
        is_rated, reports, repeat_share, closed, days_to_close_median, inspections, per_100_inspections
    FROM figure.defect_rate WHERE imo_number = '*' OR (component = '*' AND defect = '*' AND period = 'last 12 months')
    ORDER BY period, findings DESC, imo_number, component, defect, agent, space_category, maker, provider"""


EMPTY = (
    "No finding is on record for these twelve months. If defects were found, load the findings "
    "(finding.csv, or a check list with a column per component)."
)


def pick_rows(rows: list[Row], *open_dimensions: str, period: str = PERIOD) -> list[Row]:
    """Rows of one period that are split by exactly these dimensions."""
    return [
        r for r in rows
        if r.period == period and all((getattr(r, d) != "*") == (d in open_dimensions) for d in DIMENSIONS)
    ]  # fmt: skip


def name_kind(row: Row) -> str:
    """'hose damaged', 'shell corrosion', and 'lining failed' without its lining twice."""
    if row.defect.startswith(f"{row.component}_"):
        return words.say_slug(row.defect)
    return f"{words.say_slug(row.component)} {words.say_slug(row.defect)}"


def read_rate(row: Row) -> tuple[float | None, float | None, float | None]:
    """Rate and limits, or nothing where there are too few to rate."""
    if not row.is_rated:
        return (None, None, None)
    return words.round_to(float(row.per_100_unit_years), 6), words.round_to(float(row.low), 6), words.round_to(float(row.high), 6)


def say_rate(row: Row) -> str:
    """The rate with its interval, or the count."""
    if not row.is_rated:
        return f"{words.say_number(row.findings)} found, too few to rate"
    return words.say_interval(row.per_100_unit_years, row.low, row.high)


def count_found(row: Row, context: Context) -> int | Count | None:
    """The number found, leading to their list: of the fleet in any period, of one value in the last twelve months."""
    split = {d: getattr(row, d) for d in DIMENSIONS if getattr(row, d) != "*"}
    if set(split) == {"component", "defect"}:
        split = {"kind": f"{row.component}|{row.defect}"}
    return context.count(row.findings, name_found("found", row.period, *next(iter(split.items()), ("*", "*"))))


def table_rates(name: str, heading: str, rows: list[Row], labels: list[str], context: Context) -> Table:
    """Counts and rates with their limits."""
    columns = name_columns(
        f"{name}={heading}; findings=Found:count; unit_years=Unit-years:number; "
        "per_100_unit_years=Per 100 unit-years (95 % interval):interval"
    )
    cells = tuple(
        (label, count_found(r, context), words.round_to(float(r.unit_years), 1), read_rate(r))
        for label, r in zip(labels, rows, strict=True)
    )
    few = "; too few to rate any" if rows and not any(r.is_rated for r in rows) else ""
    return Table(name, f"Distinct defects found, {PERIOD}{few}", columns, cells, empty=EMPTY)


def chart_rates(
    name: str, heading: str, rows: list[Row], labels: list[str], title: str, summary: str, context: Context
) -> Chart | Table:
    """Points with intervals, and the table of what is drawn; the table alone where nothing can be rated."""
    table = table_rates(name, heading, rows, labels, context)
    if rows and not any(r.is_rated for r in rows):
        return table
    figure = rate_charts.draw_intervals(
        labels, [read_rate(r) for r in rows], [say_rate(r) for r in rows], "defects found per 100 unit-years"
    )
    return Chart(name, title, summary, figure, table)


def compare_top(rows: list[Row], labels: list[str], plain: str) -> str:
    """A title that claims a first place only where the intervals allow it."""
    rated = [(r, label) for r, label in zip(rows, labels, strict=True) if r.is_rated]
    if not rated:
        return f"Too few found to rate {plain}"
    ranked = sorted(rated, key=lambda pair: -pair[0].per_100_unit_years)
    top = ranked[0]
    if len(ranked) == 1:
        return f"Only {top[1]} can be rated: too few found on the others"
    rivals = [label for r, label in ranked[1:] if r.high >= top[0].low]
    if not rivals:
        return f"{words.say_capital(top[1])} stands above all others: its interval touches none of theirs"
    as_what = "" if len(rivals) == len(ranked) - 1 else " as the highest"
    named = (
        words.say_list([top[1], *rivals]) if len(rivals) < 3
        else f"{top[1]} and {len(rivals)} others" if as_what
        else f"{plain.removeprefix('the ')} with enough found to rate"
    )  # fmt: skip
    return f"{words.say_capital(named)} can’t be told apart{as_what}: their intervals overlap"
