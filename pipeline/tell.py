"""Summary of a run in words. In: a `Summary`. Out: lines to print."""

from __future__ import annotations

from pipeline.errors import show_text
from pipeline.warehouse.summary import Summary


def summary_lines(summary: Summary) -> list[str]:
    """The run in a few lines: files, rows, quarantined, units, overdue."""
    lines = [
        f"as of    {summary.as_of}",
        f"files    {summary.files:,}",
        f"rows     {summary.rows_read:,} read = {summary.rows_loaded:,} loaded + {summary.rows_quarantined:,} quarantined "
        f"+ {say_count(summary.rows_duplicate, 'exact duplicate')}; {say_count(summary.flags, 'doubt')} flagged",
        f"units    {summary.units:,} in service on {say_count(summary.vessels, 'vessel')}",
        f"overdue  {say_count(summary.overdue, 'unit')} on at least one duty",
    ]
    if summary.reasons:
        listed = ", ".join(f"{rule} {count:,}" for rule, count in summary.reasons)
        lines.append(f"to mend  {say_count(summary.records_open, 'record')}: {listed}; 'firekpi quarantine' lists them")
    declared = [
        say_count(number, noun)
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


def say_count(number: int, noun: str) -> str:
    """1 record, 2 records."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"
