"""The tables of the Data quality page.

In: `QualityData`. Out: files, rows kept out or in doubt, checks, freshness.
"""

from __future__ import annotations

from dashboards import words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages import quality_data

MOST_ROWS = 100


SHOWN_ROWS = 40
STATED_SQL = """
    SELECT s.imo_number, s.unit_id, s.duty, s.done_on, s.stated_on, s.computed_on, s.difference_days, s.rule_id, f.path, s.line_no
    FROM figure.stated_vs_computed AS s LEFT JOIN intake.file AS f USING (file_id)
    ORDER BY abs(s.difference_days) DESC, s.imo_number, s.unit_id, s.duty"""


def list_files(data: quality_data.QualityData) -> Table:
    """Every file and what became of its rows."""
    columns = name_columns(
        "path=File:path; dialect=Dialect:path; received_on=Received:date; rows_read=Rows read:count; "
        "rows_loaded=Loaded:count; rows_quarantined=Quarantined:count; rows_duplicate=Duplicate:count; records_open=Open records:count; "
        "lines_skipped=Lines skipped:count"
    )
    rows = tuple(
        (f.path, f.dialect, f.received_on, f.rows_read, f.rows_loaded, f.rows_quarantined, f.rows_duplicate)
        + (f.records_open, f.lines_skipped)
        for f in data.files
    )
    return Table(
        "files",
        (
            "Rows read = loaded + quarantined + duplicate. A row is one line of a canonical table: a record that "
            "feeds two tables counts twice. Open records: those with a quarantined row that no later file answers. Lines skipped: those that the dialect says are no "
            "records: before the header row, after the last record, repeated header rows, sums"
        ),
        columns,
        rows,
        empty="No file received. Run firekpi on a folder of exports.",
        shown=200,
    )


def list_rows(name: str, what: str, rows: list, empty: str) -> Table:
    """Rows with where they stand and why."""
    columns = name_columns(
        "path=File and line:file_line; table_name=Table; column_name=Column:path; value=Value:value; rule=Rule:code; "
        "reason=Reason and what to do:long"
    )
    cells = tuple(
        ((r.path, r.line_no), r.table_name, r.column_name, r.value if r.value is None else r.value[:80], r.rule, r.reason)
        for r in rows
    )
    return Table(
        name, f"{words.say_capital(words.say_count(len(rows), 'reason'))} {what}", columns, cells, empty=empty, shown=SHOWN_ROWS
    )


def list_checks(data: quality_data.QualityData, is_failing: bool) -> Table:
    """The checks that found something, or those that found nothing."""
    columns = name_columns(
        "title=Check; table_name=Table; column_name=Column:path; rule=Rule:code; rows_checked=Rows checked:count; "
        "rows_failing=Failing:count; state=Result:state"
    )  # fmt: skip
    mine = [c for c in data.checks if bool(c.rows_failing) == is_failing]
    rows = tuple(
        (c.title, c.table_name, c.column_name, c.rule, c.rows_checked, c.rows_failing, "failed" if is_failing else "passed")
        for c in mine
    )
    if is_failing:
        return Table(
            "checks-failed",
            f"{words.say_capital(words.say_count(len(mine), 'check'))} with failing rows",
            columns,
            rows,
            empty="No check has a failing row.",
            shown=MOST_ROWS,
        )
    return Table(
        "checks-passed",
        f"{words.say_capital(words.say_count(len(mine), 'check'))} that every row passed",
        columns,
        rows,
        empty="No check was passed by every row.",
        is_folded=True,
    )


def list_flags(data: quality_data.QualityData) -> Table:
    """Doubts by rule."""
    return Table(
        "flag-rules",
        "Doubts about loaded rows, by rule",
        name_columns("rule=Rule:code; rows=Rows:count; files=In files:count"),
        tuple((r.rule, r.rows, r.files) for r in data.flag_rules),
        empty="No loaded row is in doubt.",
    )


def list_freshness(data: quality_data.QualityData, context: Context) -> Table:
    """The last record of each vessel."""
    columns = name_columns("vessel=Vessel:link; last_record_on=Last record:date; days_since=Days since:count; state=State:state")
    rows = tuple(
        (
            context.link_vessel(f.imo_number),
            f.last_record_on,
            f.days_since,
            "laid up" if context.by_imo[f.imo_number].is_laid_up else "quiet" if f.is_quiet else "fresh",
        )
        for f in data.fresh
        if f.imo_number in context.by_imo
    )
    quiet = f"; quiet after {words.say_count(data.fresh[0].quiet_after_days, 'day')}, those laid up apart" if rows else ""
    return Table(
        "freshness",
        "Last inspection, service, finding or count of spares of each vessel" + quiet,
        columns,
        rows,
        empty="No vessel in the fleet on this date.",
        shown=MOST_ROWS,
    )


def list_stated(rows: list, context: Context) -> Table:
    """Next due dates that the latest records state, where the rule in force gives another."""
    columns = name_columns(
        "unit=Unit:unit; duty=Duty; vessel=Vessel:link; done_on=Done on:date; stated_on=Stated:date; computed_on=By the rule:date; "
        "difference_days=Days later:count; path=File and line:file_line; imo_number=IMO number:code twin; rule_id=Rule:text twin"
    )
    cells = tuple(
        (context.link_unit(r.unit_id), context.book.name_duty(r.duty), context.link_vessel(r.imo_number), r.done_on, r.stated_on, r.computed_on,
         r.difference_days, (r.path, r.line_no), r.imo_number, r.rule_id)
        for r in rows if r.imo_number in context.by_imo
    )  # fmt: skip
    empty = "No latest record states another next date than the rule in force gives."
    return Table("stated", "Next due dates stated otherwise than the rule gives", columns, cells, empty=empty, shown=SHOWN_ROWS)
