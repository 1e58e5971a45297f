"""Due dates in SQL against dateutil's relativedelta: every day of eight years, every interval of 1 to 144 months.

In: the macro due_date(basis, months) of pipeline/duties/macros.sql.
Out: no day may differ. A missing day clamps to the month's end, and months are added in one step.
"""

from datetime import date, timedelta
from pathlib import Path

import duckdb
import pytest
from dateutil.relativedelta import relativedelta

MACROS_FILE = Path(__file__).parents[2] / "pipeline" / "duties" / "macros.sql"
FIRST, LAST, MOST_MONTHS = date(2019, 1, 1), date(2026, 12, 31), 144  # two leap days: 2020 and 2024

# Worked by hand; a day that is missing in the month it falls in becomes the month's last.
WORKED = [
    ("2024-01-31", 1, "2024-02-29"),
    ("2023-01-31", 1, "2023-02-28"),
    ("2024-02-29", 12, "2025-02-28"),
    ("2023-02-28", 12, "2024-02-28"),
    ("2020-02-29", 60, "2025-02-28"),
    ("2016-02-29", 120, "2026-02-28"),
    ("2025-08-31", 6, "2026-02-28"),
    ("2025-01-31", 2, "2025-03-31"),  # in one step: by way of 28 February it would be the 28th
    ("2023-06-01", 12, "2024-06-01"),  # 365 days would give 31 May
    ("2015-06-01", 120, "2025-06-01"),
    ("2024-12-31", 2, "2025-02-28"),
]


@pytest.fixture
def connection():
    with duckdb.connect() as connection:
        connection.execute(MACROS_FILE.read_text(encoding="utf-8"))
        yield connection


@pytest.mark.parametrize(("basis", "months", "due_on"), WORKED)
def test_worked_due_dates(connection, basis, months, due_on):
    found = connection.execute("SELECT due_date(?::date, ?::integer)", [basis, months]).fetchone()[0]
    assert found == date.fromisoformat(due_on)
    assert date.fromisoformat(basis) + relativedelta(months=months) == found


def test_every_day_of_eight_years(connection):
    rows = connection.execute(
        "SELECT basis::date AS basis, list(due_date(basis::date, n::integer) ORDER BY n)"
        " FROM range(?::date, ?::date + 1, INTERVAL 1 DAY) AS days(basis), range(1, ? + 1) AS months(n)"
        " GROUP BY basis ORDER BY basis",
        [FIRST, LAST, MOST_MONTHS],
    ).fetchall()
    days = [FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 1)]
    assert [basis for basis, _ in rows] == days
    steps = [relativedelta(months=n) for n in range(1, MOST_MONTHS + 1)]
    wrong = [(basis, due) for basis, due in rows if due != [basis + step for step in steps]]
    assert not wrong, f"{len(wrong)} of {len(days)} days differ, the first: {wrong[0]}"


def test_due_date_is_a_date_and_keeps_null(connection):
    kind, empty = connection.execute("SELECT typeof(due_date(DATE '2024-01-31', 1)), due_date(NULL::date, 1)").fetchone()
    assert (kind, empty) == ("DATE", None)
