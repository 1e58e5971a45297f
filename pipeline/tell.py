"""Summary of a run in words. In: a `Summary` or a finished database. Out: lines to print."""

from __future__ import annotations

from pathlib import Path

from pipeline.warehouse.build import read_database
from pipeline.warehouse.summary import Summary


def summary_lines(summary: Summary) -> list[str]:
    """The run in a few lines: files, rows, quarantined, units, overdue."""
    lines = [
        f"as of    {summary.as_of}",
        f"files    {summary.files:,}",
        f"rows     {summary.rows_read:,} read = {summary.rows_loaded:,} loaded + {summary.rows_quarantined:,} quarantined "
        f"+ {_count(summary.rows_duplicate, 'exact duplicate')}; {_count(summary.flags, 'doubt')} flagged",
        f"units    {summary.units:,} in service on {_count(summary.vessels, 'vessel')}",
        f"overdue  {_count(summary.overdue, 'unit')} on at least one duty",
    ]
    if summary.reasons:
        listed = ", ".join(f"{rule} {count:,}" for rule, count in summary.reasons)
        lines.append(f"quarantined, by rule: {listed}")
    if summary.absent:
        lines.append(f"no file gives: {', '.join(summary.absent)}")
    return lines + [f"note: {note}" for note in summary.notes]


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def quarantine_lines(db: Path, most: int = 40) -> list[str]:
    """Each reason of each quarantined row with file, line and reason; at most `most` of them, the rest counted."""
    with read_database(db) as con:
        rows = con.execute(
            "select path, line_no, table_name, reason from intake.quarantine join intake.file using (file_id) "
            "order by path, line_no, record_no, table_name, rule, column_name, value"
        ).fetchall()
    lines = [f"{path}, line {line_no} ({table}): {reason}" for path, line_no, table, reason in rows[:most]]
    if len(rows) > most:
        lines.append(f"... and {len(rows) - most:,} more")
    return lines
