"""What becomes of rows kept out, as tables: what goes back to whom, what later files answered, what people declared.

In: `QualityData`. Out: tables and a note. The command names no folder and no dialect: names come from files, and a command that
people copy into a shell must hold nothing that somebody else wrote.
"""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Note, Section, Table, name_columns
from dashboards.pages import quality_data

SHOWN_ROWS = 40
HOW_TO_SEND = Markup(
    "<code>firekpi quarantine --export FOLDER</code> writes a sheet for each of these sources, in its own columns, with the reason "
    "beside each record; <code>--source DIALECT</code> writes one of them alone. Mended, the sheet goes into the folder of exports, its "
    "column ‘firekpi row’ as it was, and the next run reads it."
)


def say_answered(data: quality_data.QualityData) -> str:
    """'2 of these 60 records are answered by later files, 58 are open.' Nothing where no row was kept out."""
    every, still = data.records.records, data.records.open
    if not every:
        return ""
    if not still:
        return f"Later files answer {words.say_verb(every, 'it', f'all {words.say_number(every)} records')}."
    if still == every:
        return f"{words.say_capital(words.say_count(still, 'record'))} {words.say_verb(still, 'is', 'are')} open: no later file answers {words.say_verb(still, 'it', 'them')}."
    done = every - still
    return (
        f"Of {words.say_number(every)} such records {words.say_number(done)} {words.say_verb(done, 'is', 'are')} answered by later "
        f"files, {words.say_number(still)} {words.say_verb(still, 'is', 'are')} open."
    )


def list_sources(data: quality_data.QualityData) -> Table:
    """Open records of each source, the oldest first."""
    columns = name_columns(
        "folder=Folder:path; dialect=Dialect:path; records_open=Open records:count; files=In files:count; "
        "oldest_on=Oldest received:date; latest_on=Latest received:date"
    )
    rows = tuple((s.folder, s.dialect, s.records, s.files, s.oldest_on, s.latest_on) for s in data.sources)
    caption = f"{words.say_capital(words.say_count(data.records.open, 'open record'))} to send back, by source, the oldest received first"
    return Table("sources", caption, columns, rows, empty="Nothing is open, so nothing has to go back to its sender.", shown=100)


def tell_sending(data: quality_data.QualityData) -> Section:
    """What to send back to whom, and how."""
    how = (Note(HOW_TO_SEND),) if data.sources else ()
    remark = "A record is open until a later file answers it."
    return Section("sources", "To send back", (list_sources(data), *how), remark)


def list_answered(data: quality_data.QualityData) -> Table:
    """Rows that were kept out and that a later file answers."""
    columns = name_columns(
        "path=File and line:file_line; table_name=:text twin; column_name=Column:path; value=Value:value; rule=Rule:code; "
        "answered_by=Answered by:path; answered_on=On:date"
    )
    rows = tuple(
        ((r.path, r.line_no), r.table_name, r.column_name, r.value and r.value[:80], r.rule, r.answered_by, r.answered_on)
        for r in data.answered
    )
    caption = f"{words.say_capital(words.say_count(len(rows), 'reason'))} for keeping a row out that a later file or a declaration answers"
    return Table("answered", caption, columns, rows, shown=SHOWN_ROWS)


def say_declared(correction: Any) -> str:
    """'A. Name, 20 Oct 2026; corrections.csv, record 2'. The list lies in the folder of the file that it corrects."""
    who, day = words.cut_name(correction.who, words.MOST_NAME), words.say_date(correction.declared_on)
    return f"{who}, {day}; {correction.declared_in.rpartition('/')[2]}, record {correction.declared_record_no}"


def list_corrections(data: quality_data.QualityData) -> Table:
    """Single cells that are read otherwise than they came, and who says so."""
    columns = name_columns(
        "path=File:path; cell=Cell:page_text; from_value=As it came:value; to_value=Read as:value; why=Why:long; "
        "declared=Declared by, and where:page_text; record_no=:count twin; column_name=: twin; who=: twin; declared_on=:date twin; "
        "declared_in=: twin; declared_record_no=:count twin"
    )
    rows = tuple(
        (c.path, f"record {c.record_no}, {words.cut_name(c.column_name)}", c.from_value, c.to_value, c.why, say_declared(c))
        + (c.record_no, c.column_name, c.who, c.declared_on, c.declared_in, c.declared_record_no)
        for c in data.corrections
    )
    caption = f"{words.say_capital(words.say_count(len(rows), 'declaration'))} of a cell read otherwise than it came, or of a record set aside"
    return Table("corrections", caption, columns, rows, shown=SHOWN_ROWS)


def list_withdrawn(data: quality_data.QualityData) -> Table:
    """Files that were received and do not count."""
    columns = name_columns(
        "path=File:path; version=Version:count; received_on=Received:date; withdrawn_on=Withdrawn:date; why=Why:long; sha256=: twin"
    )
    rows = tuple((w.path, w.version, w.received_on, w.withdrawn_on, w.why, w.sha256) for w in data.withdrawn)
    caption = f"{words.say_capital(words.say_count(len(rows), 'file'))} received and then withdrawn"
    return Table("withdrawn", caption, columns, rows, shown=SHOWN_ROWS)


def tell_declared(data: quality_data.QualityData) -> list[Section]:
    """What later files answered and what people declared; only what there is."""
    made = (
        (
            list_answered(data),
            "Answered by later files or declarations",
            "What a later file says in their place is loaded, or is open there.",
        ),
        (
            list_corrections(data),
            "Declared corrections",
            "The files are kept as they came; each correction is read from the corrections.csv of their folder.",
        ),
        (list_withdrawn(data), "Withdrawn files", "They are kept, and count nowhere on this site."),
    )
    return [Section(table.name, heading, (table,), remark, is_wide=True) for table, heading, remark in made if table.rows]
