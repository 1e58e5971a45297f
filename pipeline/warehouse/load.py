"""Good rows into `record`, replaced ones into `history`, every row accounted for.

In: record.<table> as staged with `failed_<table>`. Out: record.<table> (the standing row of each key), history.<table> (rows that
a later file restated), intake.file and intake.file_table. Raises UserError rows-lost if the numbers don't add up.
"""

from __future__ import annotations

import duckdb

from pipeline.checks.context import readable_key_sql
from pipeline.contract import Table
from pipeline.errors import UserError


def load_table(con: duckdb.DuckDBPyConnection, table: Table) -> None:
    """Load one table. A row equal to the standing one of its key is a duplicate; a different one replaces it."""
    key, columns = ", ".join(table.key), ", ".join(table.column_names)
    _find_versions(con, table)
    con.execute(
        f"""
        create table history.{table.name} as
        select {columns}, file.file_id, record_no, line_no, later.file_id as replaced_by_file_id,
            next_record_no as replaced_by_record_no
        from version_{table.name} as version join stage_{table.name} as stage using (row_no)
        join stage_file as file using (file_no)
        join stage_file as later on later.file_no = version.next_file_no
        where not is_duplicate
        order by {key}, file.file_no"""
    )
    _count_rows(con, table)
    _keep_keys(con, table)
    con.execute(f"drop view stage_{table.name}")
    _keep_standing(con, table)
    for name in ("version", "failed", "repeated"):
        con.execute(f"drop table {name}_{table.name}")


def _keep_standing(con, table: Table) -> None:
    """Take out of record.<table> the rows that failed, are duplicates or were replaced, and the columns that only the checks need."""
    gone = f"""select row_no from failed_{table.name} union all
        select row_no from version_{table.name} where is_duplicate or next_file_no is not null"""
    if con.execute(f"select count(*) from ({gone})").fetchone()[0]:
        con.execute(f"delete from record.{table.name} where rowid in ({gone})")
    kept = {*table.column_names, "file_id", "record_no", "line_no"}
    for name, *_ in con.execute(f"describe record.{table.name}").fetchall():
        if name not in kept:
            con.execute(f'alter table record.{table.name} drop column "{name}"')


def _find_versions(con, table: Table) -> None:
    """`version_<table>`: the good rows whose key others have too (row_no), which are duplicates, and what replaces the others."""
    key, columns = ", ".join(table.key), ", ".join(table.column_names)
    con.execute(
        f"""
        create or replace table version_{table.name} as
        select row_no, is_duplicate, lead(file_no) over key_order as next_file_no, lead(record_no) over key_order as next_record_no
        from (
            select *, coalesce(content = lag(content) over key_order, false) as is_duplicate
            from (
                select row_no, file_no, record_no, item_no, hash({columns}, problems) as content, {key}
                from (select *, hash({key}) as key_hash from stage_{table.name})
                semi join repeated_{table.name} using (key_hash)
            )
            where row_no not in (select row_no from failed_{table.name})
            window key_order as (partition by {key} order by file_no, record_no, item_no)
        )
        window key_order as (partition by is_duplicate, {key} order by file_no, record_no, item_no)"""
    )


def _keep_keys(con, table: Table) -> None:
    """`row_key`: what later files restate, answer or leave out is told from it once all tables are loaded.

    A row is left out that none of these can speak of: it is good, its key stands nowhere else, and its file neither came again under
    its path nor is one of a source that lists all there is. That is nearly every row where files follow upon each other.
    """
    readable = readable_key_sql(table, "stage")
    key, columns = (", ".join(f"stage.{name}" for name in names) for names in (table.key, table.column_names))
    con.execute(
        f"""
        insert into row_key
        with compared as (
            select file_no from stage_file qualify count(*) over (partition by path) > 1
            union select file_no from stage_file semi join (
                select folder, dialect from stage_feed join stage_file using (file_no)
                where table_name = '{table.name}' and full_dump is not null) using (folder, dialect)
        )
        select '{table.name}', stage.file_no, stage.record_no, stage.line_no, stage.item_no, stage.imo_number,
            case when {readable} then hash({key}) end, hash({columns}, stage.problems),
            case when failed.row_no is not null then 'failed' when version.is_duplicate then 'duplicate'
                when version.next_file_no is null then 'standing' else 'replaced' end, stage.spelt
        from stage_{table.name} as stage left join version_{table.name} as version on version.row_no = stage.row_no
        left join failed_{table.name} as failed on failed.row_no = stage.row_no
        where failed.row_no is not null or stage.spelt is not null or stage.file_no in (from compared)
            or hash({key}) in (from repeated_{table.name})"""
    )


def _count_rows(con, table: Table) -> None:
    """intake.file_table: what became of each file's rows of this table; read is what the parser wrote, not what came."""
    con.execute(
        f"""
        insert into intake.file_table
        with fate as (
            select stage.file_no, failed.row_no is not null as is_failed, coalesce(version.is_duplicate, false) as is_duplicate
            from stage_{table.name} as stage
            left join version_{table.name} as version on version.row_no = stage.row_no
            left join failed_{table.name} as failed on failed.row_no = stage.row_no
        ),
        counted as (
            select file_no, count(*) filter (not is_failed and not is_duplicate) as loaded,
                count(*) filter (is_failed) as failed, count(*) filter (is_duplicate) as duplicate
            from fate group by file_no
        ),
        feed as (select file_no, sum(rows)::bigint as rows from stage_feed where table_name = '{table.name}' group by file_no),
        broken as (select file_no, count(*) as rows from stage_broken where table_name = '{table.name}' group by file_no)
        select file_id, '{table.name}', feed.rows + coalesce(broken.rows, 0), coalesce(loaded, 0),
            coalesce(failed, 0) + coalesce(broken.rows, 0), coalesce(duplicate, 0)
        from feed join stage_file using (file_no)
        left join counted using (file_no) left join broken using (file_no)"""
    )


def account_files(con: duckdb.DuckDBPyConnection) -> None:
    """Fill intake.file and prove that nothing was lost: read = loaded + quarantined + duplicate, per file and table."""
    con.execute(
        """
        insert into intake.file
        select * exclude (file_no) from (select file_no, file_id, path, sha256, bytes, received_at, dialect, encoding, delimiter, records,
            sum(rows_read)::bigint, sum(rows_loaded)::bigint, sum(rows_quarantined)::bigint, sum(rows_duplicate)::bigint,
            lines_skipped, (select max_by(later.file_id, later.file_no) from stage_file as later
             where later.path = file.path and later.file_no > file.file_no)
        from stage_file as file join intake.file_table using (file_id)
        group by all) order by path, file_no"""
    )
    lost = con.execute(
        "select path, table_name, t.rows_read, t.rows_loaded, t.rows_quarantined, t.rows_duplicate "
        "from intake.file_table as t join intake.file using (file_id) "
        "where t.rows_read <> t.rows_loaded + t.rows_quarantined + t.rows_duplicate order by path, table_name"
    ).fetchone()
    unseen = con.execute("select count(*) from stage_file where file_id not in (select file_id from intake.file)").fetchone()[0]
    if lost or unseen:
        path, table, read, loaded, quarantined, duplicate = lost or (f"{unseen} files", "any", "?", 0, 0, 0)
        raise UserError(
            "rows-lost", path=path, table=table, read=read, loaded=loaded, quarantined=quarantined, duplicate=duplicate
        )
