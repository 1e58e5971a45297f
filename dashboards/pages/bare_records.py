"""Vessels of which no inspection and no service came at all: there "overdue" tells of records, not of extinguishers.

In: record.inspection, record.service, figure.unit_now. Out: IMO numbers ('*' where it is so of the whole fleet) and the sentence
that Fleet, Overdue and the vessel's page say of them. A unit that came from another vessel brings its records with it.
"""

from __future__ import annotations

import duckdb

from dashboards import words
from dashboards.blocks import Context
from dashboards.database import select_rows

MOST_NAMES = 3
BARE_SQL = """
    WITH seen AS (SELECT unit_id, imo_number FROM record.inspection UNION SELECT unit_id, imo_number FROM record.service)
    SELECT DISTINCT imo_number FROM figure.unit_now WHERE counted = 'in service' AND imo_number NOT IN (
        SELECT imo_number FROM seen WHERE imo_number IS NOT NULL
        UNION SELECT n.imo_number FROM seen JOIN figure.unit_now AS n USING (unit_id) WHERE n.imo_number IS NOT NULL)
    UNION ALL SELECT '*' WHERE NOT EXISTS (FROM seen)"""


def find_bare(con: duckdb.DuckDBPyConnection) -> frozenset[str]:
    """Vessels with units in service and not one inspection or service; '*' where there is none of any vessel."""
    return frozenset(row.imo_number for row in select_rows(con, BARE_SQL))


def say_bare(bare: frozenset[str], context: Context) -> str:
    """A sentence, with a space before it, for the fleet's pages; nothing where every vessel has records."""
    if "*" in bare:
        return say_bare_vessel()
    names = [vessel.name for vessel in context.vessels if vessel.imo_number in bare]
    if not names:
        return ""
    named = words.say_list(names) if len(names) <= MOST_NAMES else words.say_count(len(names), "vessel")
    return f" No inspection or service record was received for {named}: overdue there means that nothing is on record."


def say_bare_vessel() -> str:
    """The same where the page speaks of nothing else."""
    return " No inspection or service record was received: overdue here means that nothing is on record."
