-- What came and what was declared between the two moments. In: change.receipt, schemas `older` and `newer`.

-- change.file: one row is a file that came between the two moments, with what became of its rows; a list of corrections has none
create table change.file as
select path, version, received_at, rows_loaded, rows_quarantined, rows_duplicate, withdrawn_now_why as withdrawn_why
from change.receipt left join newer.intake.file using (file_id, path, received_at) where is_between order by received_at, path, version;

-- change.correction: one row is a cell that was corrected, or a correction that was taken back, by what holds at either moment
create table change.correction as
with then_held as (select path, correction.* from older.intake.correction join older.intake.file using (file_id)),
now_held as (select path, correction.* from newer.intake.correction join newer.intake.file using (file_id))
select 'declared' as what, * from (
    from now_held anti join then_held using (path, record_no, column_name, from_value, to_value)
)
union all
select 'taken back', * from (
    from then_held anti join now_held using (path, record_no, column_name, from_value, to_value)
)
order by path, record_no, column_name, what;

-- change.set_aside: one row is a reason for keeping a row out that holds at one of the two moments and not at the other
create table change.set_aside as
with then_out as (select path, q.* exclude (superseded_by, raw) from older.intake.quarantine as q join older.intake.file using (file_id)),
now_out as (select path, q.* exclude (superseded_by, raw) from newer.intake.quarantine as q join newer.intake.file using (file_id))
select 'set aside' as what, * from (
    from now_out anti join then_out using (file_id, record_no, table_name, rule)
)
union all
select 'no longer set aside', * from (
    from then_out anti join now_out using (file_id, record_no, table_name, rule)
)
order by path, record_no, table_name, rule, column_name, what;
