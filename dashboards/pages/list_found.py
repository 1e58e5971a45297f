"""Lists of the defects that the Defects page counts: each once, however often it was reported while open.

In: figure.defect_report, figure.defect_lasting. Out: lines of lists, each citing the first report of the defect.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows
from dashboards.pages.list_book import MOST_LINES, Named
from dashboards.pages.list_units import make_entry
from dashboards.pages.unit_names import name_safely

Row = Any
YEAR, EVER = "last 12 months", "all"  # periods, as figure.defect_rate names them; the others are calendar years
# The last twelve months are split as the page splits them, other periods are not.
FOUND_SQL = """
    WITH found AS (
        SELECT d.imo_number, d.unit_id, d.found_on, d.component, d.defect, coalesce(l.severity, 'not stated') AS severity, d.agent,
            d.space_category, d.maker, d.provider, l.closed_on, d.file_id, d.line_no
        FROM figure.defect_report AS d LEFT JOIN figure.defect_lasting AS l USING (unit_id, component, defect, defect_no)
        WHERE d.is_counted AND NOT d.is_same_defect AND d.found_on <= $day),
    split AS (
        SELECT *, 'last 12 months' AS period, unnest(['*', 'component', 'kind', 'space_category', 'agent', 'maker', 'provider', 'severity', 'vessel'])
            AS dimension, unnest(['*', component, concat(component, '|', defect), space_category, agent, maker, provider, severity, imo_number]) AS value
        FROM found WHERE found_on >= ($day::DATE + 1 - to_months(12))::DATE
        UNION ALL SELECT *, unnest(['all', year(found_on)::TEXT]), '*', '*' FROM found),
    listed AS (
        SELECT split.*, list FROM split JOIN (VALUES ('found'), ('closed-same-day'), ('still-open')) AS s (list)
            ON list = 'found' OR (period = 'last 12 months' AND dimension IN ('*', 'severity', 'vessel')
                AND if(list = 'still-open', closed_on IS NULL, closed_on = found_on))
        QUALIFY count(*) OVER (PARTITION BY list, period, dimension, value) <= $most)
    SELECT listed.*, NULL AS position_no, NULL AS space_name, f.path FROM listed LEFT JOIN intake.file AS f USING (file_id)
    ORDER BY list, period, dimension, value, found_on DESC, imo_number, unit_id, component, defect"""
TITLES = {
    "found": "Defects found",
    "closed-same-day": "Defects found and closed the same day",
    "still-open": "Defects found and still open",
}


def name_found(list_: str, period: str, dimension: str = "*", value: str = "*") -> str:
    """The list of a period and, of the last twelve months, of a value of a dimension."""
    return f"{list_}-{name_safely('|'.join((period, dimension, value)))}"


def say_of(row: Row, context: Context) -> str:
    """', last 12 months: Vellamora'."""
    when = {YEAR: ", last 12 months", EVER: ""}.get(row.period, f" in {row.period}")
    named = (
        context.name_vessel(row.value)
        if row.dimension == "vessel"
        else " ".join(words.say_slug(part) for part in row.value.split("|"))
    )
    return when if row.dimension == "*" else f"{when}: {named}"


def list_found(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Named]:
    """The latest first."""
    for row in select_rows(con, FOUND_SQL, day=context.as_of, most=MOST_LINES):
        closed = f"closed {words.say_date(row.closed_on)}" if row.closed_on else "still open"
        what = words.say_capital(f"{words.say_slug(row.component)} {words.say_slug(row.defect)}")
        entry = make_entry(
            row, f"{what}, {words.say_slug(row.severity)} at worst, found {words.say_date(row.found_on)}, {closed}"
        )
        yield name_found(row.list, row.period, row.dimension, row.value), f"{TITLES[row.list]}{say_of(row, context)}", entry
