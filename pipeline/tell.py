"""Summary of a run in words. In: a `Summary` or a finished database. Out: lines to print."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import show_text
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
        lines.append(f"to mend  {_count(summary.records_open, 'record')}: {listed}; 'firekpi quarantine' lists them")
    declared = [
        _count(number, noun)
        for number, noun in (
            (summary.cells_corrected, "cell"),
            (summary.records_set_aside, "record"),
            (summary.files_withdrawn, "file"),
        )
    ]
    if summary.cells_corrected or summary.records_set_aside or summary.files_withdrawn:
        lines.append(f"declared {declared[0]} corrected, {declared[1]} set aside, {declared[2]} withdrawn")
    if summary.absent:
        lines.append(f"no file gives: {', '.join(summary.absent)}")
    return lines + [f"note: {show_text(note)}" for note in summary.notes]


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def quarantine_lines(db: Path, most: int = 40) -> list[str]:
    """Each reason of each open row of the quarantine with file, line and reason; at most `most` of them, the rest counted."""
    with read_database(db) as con:
        rows = con.execute(
            "select path, line_no, record_no, table_name, reason from intake.quarantine as q join intake.file using (file_id) "
            "where q.superseded_by is null order by path, line_no, record_no, table_name, rule, column_name, value"
        ).fetchall()
    lines = [
        f"{show_text(path)}, line {line_no}, record {record_no} ({table}): {show_text(reason)}"
        for path, line_no, record_no, table, reason in rows[:most]
    ]
    if len(rows) > most:
        lines.append(f"... and {len(rows) - most:,} more")
    return lines
