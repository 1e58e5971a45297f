"""Services done in time against the day-by-day reference, on small random fleets.

In: seeds (more of them under `slow`). Out: every count of figure.on_time_monthly and overdue_duration must equal the reference; rates,
limits and years must follow from the months.
"""

from pathlib import Path

import pytest

from pipeline.figures.statistics.lifetimes import find_quantile, kaplan_meier
from pipeline.figures.statistics.proportions import korn_graubard
from tests.property import figures_door as door
from tests.property.canonical import Fleet
from tests.property.pipeline_door import query, run_fleet
from tests.property.random_findings import make_full_batch
from tests.property.reference_on_time import OnTime, count_on_time, count_overdue, list_calls

FLEETS_PER_BATCH = 4
SEEDS = [*range(2), *(pytest.param(seed, marks=pytest.mark.slow) for seed in (*range(2, 8), *range(100, 130)))]


@pytest.fixture(scope="module", params=SEEDS)
def batch(request, tmp_path_factory) -> tuple[Fleet, Path]:
    fleet = make_full_batch(request.param, FLEETS_PER_BATCH)
    return fleet, run_fleet(fleet, tmp_path_factory.mktemp("batch"))


def test_months_equal_the_reference(batch):
    fleet, db = batch
    expected = count_on_time(fleet)
    assert sum(row[0] - row[1] for row in expected.values()) and sum(row[1] for row in expected.values())
    found = door.read_rows(db, "month_end, imo_number, duty", "fell_due, done_in_time, unknown", "figure.on_time_monthly")
    assert not door.list_differences(expected, found)


def test_items_overdue_equal_the_reference(batch):
    fleet, db = batch
    found = door.read_rows(db, "imo_number, duty", "items, still_open, stopped", "figure.overdue_duration")
    expected = {key: row[:3] for key, row in count_overdue(fleet).items()}
    assert expected and not door.list_differences(expected, found)


def test_medians_are_those_of_the_days_waited(batch):
    """Where there are enough items: the curve of the reference's own items."""
    fleet, db = batch
    items = [
        (f, min(fleet.as_of, f.stopped_on, f.done_on or fleet.as_of)) for f, is_in_time in OnTime(fleet).judge() if not is_in_time
    ]
    for duty, median in query(
        db, "SELECT duty, median_days FROM figure.overdue_duration WHERE imo_number = '*' AND duty <> '*' AND items >= 10"
    ):
        mine = [(f, end) for f, end in items if f.duty == duty]
        is_done = [end == f.done_on and end < f.stopped_on for f, end in mine]
        assert median == find_quantile(kaplan_meier(None, [(end - f.due_on).days for f, end in mine], is_done), 0.5)


def test_rates_and_limits_follow_from_the_counts(batch):
    _, db = batch
    rows = query(
        db, "SELECT month_end, imo_number, duty, fell_due, done_in_time, rate, low, high, clusters FROM figure.on_time_monthly"
    )
    by_vessel = {(row[0], row[2]): [r for r in rows if (r[0], r[2]) == (row[0], row[2]) and r[1] != "*"] for row in rows}
    for month_end, imo, duty, fell_due, done, rate, low, high, clusters in rows:
        assert rate == (pytest.approx(done / fell_due) if fell_due else None)
        parts = [r for r in by_vessel[month_end, duty] if r[3]]
        share = korn_graubard([r[4] for r in parts], [r[3] for r in parts])
        assert clusters == (len(parts) if imo == "*" else int(fell_due > 0))
        assert (low, high) == (
            (pytest.approx(share.low), pytest.approx(share.high)) if imo == "*" and share.low is not None else (None, None)
        )


def test_years_are_sums_of_months(batch):
    _, db = batch
    wrong = query(
        db,
        """
        SELECT year.imo_number, year.duty, year.period FROM figure.on_time_year AS year
        LEFT JOIN figure.on_time_monthly AS month ON month.imo_number = year.imo_number AND month.duty = year.duty
            AND month.month_end BETWEEN year.from_on AND year.to_on
        GROUP BY ALL HAVING any_value(year.fell_due) <> sum(month.fell_due) OR any_value(year.done_in_time) <> sum(month.done_in_time)""",
    )
    assert not wrong and query(db, "SELECT count(*) FROM figure.on_time_year")[0][0]


def test_years_count_the_calls_of_the_reference(batch):
    fleet, db = batch
    calls = list_calls(fleet)
    rows = query(
        db,
        "SELECT imo_number, duty, from_on, to_on, clusters, fell_due, done_in_time FROM figure.on_time_year WHERE imo_number <> '*'",
    )
    for imo, duty, from_on, to_on, clusters, fell_due, done in rows:
        mine = [[is_in_time for day, is_in_time in call if from_on <= day <= to_on] for call in calls[imo, duty].values()]
        assert (clusters, fell_due, done) == (sum(bool(c) for c in mine), sum(map(len, mine)), sum(map(sum, mine)))
    assert len(rows) > 3


def test_no_number_is_not_a_number(batch):
    for table in ("on_time_monthly", "on_time_year", "on_time_chart", "overdue_duration"):
        columns = [row[0] for row in query(batch[1], f"DESCRIBE figure.{table}") if row[1] == "DOUBLE"]
        for column in columns:
            assert not query(batch[1], f"SELECT {column} FROM figure.{table} WHERE isnan({column}) OR isinf({column})"), (
                table,
                column,
            )
